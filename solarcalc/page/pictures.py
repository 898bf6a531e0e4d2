"""Figures on the page, each with its words for a reader who cannot see it."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING

from solarcalc.basis.errors import InputError
from solarcalc.page.publish import fault, publish

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FIGURE_DPI = 144
"""Dots per inch of figures: twice the 72 of a screen point, sharp on screen and in print."""


def show_figure(fig: Figure, alt: str) -> None:
    """Show a figure as one picture with its text alternative, and close it.

    Parameters
    ----------
    fig : matplotlib.figure.Figure
        As returned by a ``draw_...`` function.
    alt : str
        What the picture says, in a sentence, for a reader who cannot see it.

    Raises
    ------
    InputError
        When the text alternative is empty.
    """
    if not alt.strip():
        raise InputError(fault("show_figure: alt", alt, "a sentence that says what is seen"))
    buffer = io.BytesIO()
    fig.savefig(buffer, format="png", dpi=FIGURE_DPI, bbox_inches="tight", facecolor="white")
    _close(fig)
    picture = base64.b64encode(buffer.getvalue()).decode("ascii")
    publish({"image/png": picture, "text/plain": f"[figure] {alt}"}, {"image/png": {"alt": alt}})


def _close(fig: Figure) -> None:
    from matplotlib import pyplot as plt

    plt.close(fig)
