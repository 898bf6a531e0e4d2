"""Pictures as they are saved: what `Figure.savefig` gives, drawn once; titles and powers of ten."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from solarcalc.figures import style
from solarcalc.figures.style import (
    DARK,
    INK,
    LIGHT,
    MID,
    WARM,
    pixels_of,
    sheet,
    styled,
    svg_of,
)


@styled
def _picture(top: float = 3.0, *, beyond: bool = False) -> Figure:
    figure, axes = sheet(5.0, 2.5, 2)
    for number, axis in enumerate(axes):
        axis.plot([0.0, 1.0, 2.0], [0.0, 0.4 * top, top])
        axis.set(title=f"Part {number}", xlabel="length [m]", ylabel="width [mm]",
                 xticks=[0.0, 1.0, 2.0], yticks=[0.0, 0.5 * top, top])
    if beyond:
        axes[1].text(1.6, 0.5, "a note that leaves the sheet at its right end")
    return figure


def _pixels(content: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(content)).convert("L"), dtype=float)


def _as_savefig(figure: Figure) -> np.ndarray:
    held = io.BytesIO()
    with rc_context({"text.hinting": "none"}):
        figure.savefig(held, format="png", dpi=144, bbox_inches="tight", facecolor="white")
    return _pixels(held.getvalue())


def _blurred(pixels: np.ndarray) -> np.ndarray:
    """Blocks of 8 x 8: edges may stand half a pixel elsewhere."""
    high, wide = (size // 8 * 8 for size in pixels.shape)
    return pixels[:high, :wide].reshape(high // 8, 8, wide // 8, 8).mean(axis=(1, 3))


@pytest.mark.parametrize("beyond", [False, True])
def test_pixels_are_those_of_savefig(beyond):
    ours, theirs = _pixels(pixels_of(_picture(beyond=beyond), dpi=144)), _as_savefig(
        _picture(beyond=beyond))  # fmt: skip
    assert ours.shape == pytest.approx(theirs.shape, abs=1)
    high, wide = np.minimum(ours.shape, theirs.shape)
    off = np.abs(_blurred(ours[:high, :wide]) - _blurred(theirs[:high, :wide]))
    assert off.mean() < 1.5  # of 255 greys
    assert (ours < 128.0).sum() == pytest.approx((theirs < 128.0).sum(), rel=0.15)
    assert (ours[0] == 255.0).all()
    assert (ours[:, -1] == 255.0).all()


def test_a_drawing_shows_all_that_savefig_shows():
    held, figure = io.StringIO(), _picture(beyond=True)
    figure.savefig(held, format="svg", bbox_inches="tight")
    theirs, ours = held.getvalue(), svg_of(_picture(beyond=True))
    size = re.compile(r'<svg[^>]*? width="([\d.]+)pt" height="([\d.]+)pt" viewBox="([^"]*)"')
    wide, high = map(float, size.search(theirs).group(1, 2))
    left, top, *own = map(float, size.search(ours)[3].split())
    assert own == pytest.approx([wide, high], abs=0.5)
    assert (float(size.search(ours)[1]), float(size.search(ours)[2])) == pytest.approx(own)
    assert left > -10.0
    assert top > -10.0
    assert [*map(ours.count, ("<path", "<use"))] == [*map(theirs.count, ("<path", "<use"))]
    ground = re.search(r'<path d="M ([-\d.]+) ([-\d.]+)', ours)
    assert [float(ground[1]), float(ground[2])] == pytest.approx([left, top + own[1]], abs=0.01)


def test_a_saved_figure_is_as_it_was():
    figure = _picture()
    engine, dpi, canvas = figure.get_layout_engine(), figure.dpi, figure.canvas
    first = pixels_of(figure, dpi=144)
    assert figure.get_layout_engine() is engine
    assert (figure.dpi, figure.canvas) == (dpi, canvas)
    assert pixels_of(figure, dpi=144) == first
    drawing = svg_of(figure)  # laid out for other letters: to a hundredth of a point the same
    numbers, own = (np.array(re.findall(r"-?\d+\.\d+", text), float)
                    for text in (drawing, svg_of(_picture())))
    np.testing.assert_allclose(numbers, own, rtol=0.0, atol=0.01)


@pytest.mark.parametrize(("top", "powers"), [(3.0, ""), (3.0e7, "1e7")])
def test_a_title_stands_over_a_power_of_ten(top, powers):
    with rc_context():
        figure = _picture(top)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        axis, renderer = figure.axes[0], canvas.get_renderer()
        over = axis.yaxis.get_offset_text()
        assert over.get_text() == powers
        (title,) = [text for text in axis.findobj(lambda one: hasattr(one, "get_text"))
                    if text.get_text() == "Part 0"]
        low = title.get_window_extent(renderer).ymin
        assert low > axis.get_window_extent(renderer).ymax
        if powers:
            assert low >= over.get_window_extent(renderer).ymax


@pytest.mark.parametrize("ink", [INK, DARK, MID, LIGHT, WARM])
def test_a_picture_keeps_its_inks_and_the_colours_of_its_maps(ink, monkeypatch):
    ours = _colours(ink)
    monkeypatch.setattr(style, "_with_palette", lambda picture: picture)
    theirs = _colours(ink)
    assert ours.shape == theirs.shape
    for own in ("#ffffff", ink):
        colour = [int(own[at : at + 2], 16) for at in (1, 3, 5)]
        area = (theirs == colour).all(axis=2)
        assert area.sum() > 10_000
        assert (ours[area] == colour).all(axis=1).mean() > 0.99
    assert np.abs(ours - theirs).max() <= 32  # an eighth of each of red, green and blue
    assert np.abs(ours - theirs).mean() < 1.5


def _colours(ink: str) -> np.ndarray:
    """A picture of a map beside a ground of one ink."""
    figure, (left, right) = sheet(5.0, 2.5, 2)
    left.imshow(np.arange(256.0).reshape(16, 16), cmap="cividis")
    left.set_title("tiles")
    right.set(facecolor=ink, title="one ink")
    return np.asarray(Image.open(io.BytesIO(pixels_of(figure, dpi=144))).convert("RGB"), int)
