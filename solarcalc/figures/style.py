"""The look of every picture: inks that differ in grey as well, one style, an empty sheet."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import TYPE_CHECKING, Any, ParamSpec, cast

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG, RendererSVG
from matplotlib.figure import Figure
from PIL import Image

from solarcalc.basis.no_answer import or_why

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.transforms import Bbox

INK = "#1f2a33"
PALE = "#e6e9ec"
DARK, MID, LIGHT, WARM = "#23395b", "#5b8aa6", "#b9cdd8", "#c2571a"
"""One dark, one middle, one light blue and a warm accent; their greys differ as well."""

P = ParamSpec("P")

_STYLE: Any = {
    "font.size": 9.0,
    "axes.titlesize": 10.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.axisbelow": True,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.parse_math": False,
    "axes.titley": 1.0,
    "svg.hashsalt": "solarcalc",
}


def sheet(width: float, height: float, columns: int = 1, **grid: Any) -> tuple[Figure, list[Axes]]:
    """An empty figure [inch] and its axes, in our style, without pyplot's hidden state."""
    figure = Figure(figsize=(width, height), layout="constrained")
    axes = figure.subplots(1, columns, squeeze=False, **grid)
    return figure, list(axes.ravel())


def styled(function: Callable[P, Figure]) -> Callable[P, Figure]:
    """Draw in our own style whatever the reader's settings are.

    Given why there is no answer in place of what to draw, it gives that on: see `page`.
    """

    @wraps(function)
    def draw(*args: P.args, **kwargs: P.kwargs) -> Figure:
        with rc_context(_STYLE):
            figure = function(*args, **kwargs)
            _let_titles_give_way(figure)
            return figure

    return cast("Callable[P, Figure]", or_why(draw))


_OVER_A_POWER_POINTS = 17.0


def _let_titles_give_way(figure: Figure) -> None:
    """Move a title up where a power of ten will stand over the axis at its left.

    Nothing else is ever in the way of a title; to look for it takes all tick labels of each axis,
    several times a picture.
    """
    for axes in figure.axes:
        numbers = axes.yaxis.get_major_formatter()
        numbers.format_ticks(list(axes.get_yticks()))
        if numbers.get_offset():
            axes.set_title(axes.get_title(loc="left"), pad=_OVER_A_POWER_POINTS)


def titles_of(figure: Figure) -> str:
    """What the titles of a figure say, in one line, that over all of it first; may be empty."""
    said = [figure.get_suptitle(), *(axes.get_title(loc=side) for axes in figure.axes
                                     for side in ("left", "center", "right"))]  # fmt: skip
    return "; ".join(" ".join(one.split()) for one in said if one.strip()).replace(",; ", ", ")


_UNSEEN = re.compile(r"<metadata>.*?</metadata>|<style[^>]*>.*?</style>", re.DOTALL)
_FRAME = re.compile(r' width="[^"]*" height="[^"]*" viewBox="[^"]*"')
_MARGIN_INCH = 0.1
_POINTS, _IMAGE_DPI = 72.0, 100.0
"""Points in an inch; dots in an inch of a picture within a drawing."""
_SQUEEZE = 3
"""Of zlib, 0 to 9: its usual 6 takes half as long again for a tenth less."""


def svg_of(figure: Figure) -> str:
    """A figure as a drawing that can stand within a page: its own style and nothing about it."""
    held = io.StringIO()
    with (rc_context(_STYLE),
          _once(figure, _POINTS, lambda: _SvgCanvas(figure, held)) as (renderer, box)):
        left, low, right, top = _POINTS * np.array(box.extents)
        wide, high = _POINTS * figure.get_size_inches()
        ground = figure.patch.get_bbox().bounds
        figure.patch.set_bounds(left / wide, low / high, (right - left) / wide, (top - low) / high)
        figure.draw(renderer)
        figure.patch.set_bounds(*ground)
        renderer.finalize()
    wide, tall = right - left, top - low
    frame = (f' width="{wide:.6f}pt" height="{tall:.6f}pt"'
             f' viewBox="{left:.6f} {high - top:.6f} {wide:.6f} {tall:.6f}"')  # fmt: skip
    text = _UNSEEN.sub("", held.getvalue())
    return _FRAME.sub(frame, text[text.index("<svg"):].replace(
        "<svg", '<svg stroke-linejoin="round"', 1), count=1)  # fmt: skip


def png_of(figure: Figure, *, dpi: int = 130) -> bytes:
    """A figure as a picture of modest size, for maps of very many cells."""
    with rc_context(_STYLE):
        return pixels_of(figure, dpi=dpi)


def pixels_of(figure: Figure, *, dpi: int) -> bytes:
    """A figure of anyone on white: the pixels of what is drawn upon, and a margin; as PNG."""
    held = io.BytesIO()
    with (rc_context({"text.hinting": "none"}),  # letters as in a drawing; takes less time
          _once(figure, dpi, lambda: FigureCanvasAgg(figure)) as (renderer, box)):
        _with_palette(_painted(figure, dpi, renderer, box)).save(
            held, "png", dpi=(dpi, dpi), compress_level=_SQUEEZE)  # fmt: skip
    return held.getvalue()


def _painted(figure: Figure, dpi: int, renderer: Any, box: Bbox) -> Image.Image:
    """What of a figure lies in a box [inch], on white."""
    left, low, right, top = (dpi * np.array(box.extents)).round().astype(int)
    if (box.p0 < figure.bbox_inches.p0 - _MARGIN_INCH).any():  # left of the sheet, or below it
        held = io.BytesIO()
        figure.savefig(held, format="png", dpi=dpi, bbox_inches=box, facecolor="white",
                       pil_kwargs={"compress_level": 0})  # fmt: skip
        return Image.open(held).convert("RGB")
    ground, (wide, high) = figure.patch.get_bbox().bounds, dpi * figure.get_size_inches()
    if (box.p1 > figure.bbox_inches.p1 + _MARGIN_INCH).any():  # a legend at its right, say
        renderer = RendererAgg(  # type: ignore[no-untyped-call]
            max(right, wide), max(top, high), dpi)
    figure.patch.set(facecolor="white", bounds=(0.0, 0.0, renderer.width / wide,
                                                renderer.height / high))  # fmt: skip
    figure.draw(renderer)
    figure.patch.set_bounds(*ground)
    pixels = np.asarray(renderer.buffer_rgba())
    picture = Image.new("RGB", (right - left, top - low), "white")
    picture.paste(Image.fromarray(pixels).convert("RGB"), (-left, top - len(pixels)))
    return picture


_NEAR_AN_INK = 8
_INKS = np.array([[int(ink[at : at + 2], 16) for at in (1, 3, 5)]
                  for ink in ("#ffffff", INK, PALE, DARK, MID, LIGHT, WARM)])  # fmt: skip


def _with_palette(picture: Image.Image) -> Image.Image:
    """A picture of at most 256 colours, our inks among them: a third of the bytes, half the time.

    Edges of letters have more of them, that no eye tells apart.
    """
    few = picture.quantize(method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    colours = np.array(few.getpalette()).reshape(-1, 3)
    off = np.abs(colours[:, None] - _INKS).max(axis=2)
    near = off.min(axis=1) <= _NEAR_AN_INK
    colours[near] = _INKS[off.argmin(axis=1)[near]]
    few.putpalette(colours.ravel().tolist())
    return few


class _SvgCanvas(FigureCanvasSVG):
    """A canvas with a renderer to lay out with, as one of pixels has."""

    def __init__(self, figure: Figure, held: io.StringIO) -> None:
        super().__init__(figure)
        wide, high = _POINTS * figure.get_size_inches()
        self.renderer = RendererSVG(  # type: ignore[no-untyped-call]
            wide, high, held, image_dpi=_IMAGE_DPI, metadata={"Date": None})

    def get_renderer(self) -> RendererSVG:
        """The renderer that draws."""
        return self.renderer


def _hold_labels(figure: Figure) -> None:
    """Keep what axes are called where it is: drawing would ask all tick labels for it again."""
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            place = axis.label.get_transform() - axes.transAxes
            axis.set_label_coords(*place.transform(axis.label.get_position()))


@contextmanager
def _once(
    figure: Figure, dpi: float, canvas: Callable[[], Any]
) -> Iterator[tuple[Any, Bbox]]:
    """A renderer that has laid the figure out, and what is drawn upon with a margin [inch].

    `Figure.savefig` lays out, measures and draws with a renderer each, and each measures all words
    anew: it takes half as long again.
    """
    before, engine, own_dpi = figure.canvas, figure.get_layout_engine(), figure.dpi
    figure.set_dpi(dpi)
    try:
        renderer = canvas().get_renderer()
        if engine is not None:
            engine.execute(figure)
            figure.set_layout_engine("none")
        box = figure.get_tightbbox(renderer)
        _hold_labels(figure)
        yield renderer, box.padded(_MARGIN_INCH)
    finally:
        if engine is not None:
            figure.set_layout_engine(engine)
        figure.set_dpi(own_dpi)
        figure.set_canvas(before)
