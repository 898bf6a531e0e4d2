"""Formulas as SVG; each is drawn once on a machine and kept."""

from __future__ import annotations

import hashlib
import threading
import warnings
from contextlib import suppress
from functools import cache, lru_cache
from importlib.metadata import version
from pathlib import Path
from xml.etree import ElementTree as Tree

from markupsafe import Markup

from solarcalc.basis.files import user_cache, write_whole
from solarcalc.basis.sealed import sealed, unsealed
from solarcalc.report.findings import ReportError

_LOCK = threading.Lock()
_SIZE_PX = 16.0
"""Height of an em the formula is drawn at; it is then scaled with the text around it."""


@lru_cache(maxsize=512)
def maths_svg(tex: str, *, display: bool) -> Markup:
    r"""Formula as inline SVG, with its TeX as the text alternative.

    Parameters
    ----------
    tex : str
        Without dollar signs, such as ``\frac{a}{b}``.
    display : bool
        On a line of its own, or within text.

    Raises
    ------
    ReportError
        When the TeX cannot be drawn.
    """
    key = f"{_drawer()}\n{display}\n{tex.strip()}"
    path = user_cache("formulas") / f"{hashlib.sha256(key.encode()).hexdigest()[:32]}.svg"
    with suppress(OSError, ValueError):  # none there, or not whole: it is drawn again
        return Markup(unsealed(path.read_bytes(), path.name).decode())
    drawn = _drawn(tex, display)
    with suppress(OSError):  # a full disk or a closed folder keeps nothing
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, sealed(drawn.encode(), path.name))
    return drawn


@cache
def _drawer() -> str:
    """What a kept formula follows from beside its TeX: this file and the libraries."""
    libraries = [version(name) for name in ("ziamath", "ziafont", "latex2mathml")]
    return f"{libraries} {hashlib.sha256(Path(__file__).read_bytes()).hexdigest()}"


def _drawn(tex: str, display: bool) -> Markup:
    with _LOCK, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library calls what its own host has deprecated
        from ziafont.config import config
        from ziamath.zmath import Latex

        config.svg2 = False  # outlines in place: no ids that could clash in one page
        try:
            drawn = Latex(tex.strip(), size=_SIZE_PX, inline=not display,
                          color="currentColor")
            picture, drop_px = drawn.svgxml(), float(drawn.getyofst())
        except Exception as error:  # the library raises many kinds for TeX it cannot read
            raise ReportError(f"formula cannot be drawn: {tex.strip()} ({error})") from error
    return _framed(picture, tex.strip(), 0.0 if display else drop_px, display)


def _framed(picture: Tree.Element, tex: str, drop_px: float, display: bool) -> Markup:
    width_px, height_px = (float(picture.attrib.pop(key)) for key in ("width", "height"))
    for name in [key for key in picture.attrib if key.startswith("xmlns")]:
        del picture.attrib[name]  # not needed inside HTML
    picture.set("role", "img")
    picture.set("aria-label", tex)
    picture.set("class", "maths-display" if display else "maths")
    picture.set("style", f"width:{width_px / _SIZE_PX:.3f}em;height:{height_px / _SIZE_PX:.3f}em"
                + ("" if display else f";vertical-align:{drop_px / _SIZE_PX:.3f}em"))
    title = Tree.Element("title")
    title.text = tex
    picture.insert(0, title)
    return Markup(Tree.tostring(picture, encoding="unicode"))
