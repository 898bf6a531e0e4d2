"""The look of every picture: inks that differ in grey as well, one style, an empty sheet."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING, Any, ParamSpec, cast

from matplotlib import rc_context
from matplotlib.figure import Figure

from solarcalc.basis.no_answer import or_why

if TYPE_CHECKING:
    from matplotlib.axes import Axes

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
            return function(*args, **kwargs)

    return cast("Callable[P, Figure]", or_why(draw))


_UNSEEN = re.compile(r"<metadata>.*?</metadata>|<style[^>]*>.*?</style>", re.DOTALL)


def svg_of(figure: Figure) -> str:
    """A figure as a drawing that can stand within a page: its own style and nothing about it."""
    held = io.StringIO()
    with rc_context(_STYLE):
        figure.savefig(held, format="svg", bbox_inches="tight", metadata={"Date": None})
    text = _UNSEEN.sub("", held.getvalue())
    return text[text.index("<svg"):].replace("<svg", '<svg stroke-linejoin="round"', 1)


def png_of(figure: Figure, *, dpi: int = 130) -> bytes:
    """A figure as a picture of modest size, for maps of very many cells."""
    held = io.BytesIO()
    with rc_context(_STYLE):
        figure.savefig(held, format="png", dpi=dpi, bbox_inches="tight", facecolor="white")
    return held.getvalue()
