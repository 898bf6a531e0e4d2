"""A formula with its figures put in: symbols, numbers, result, unit, source."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from solarcalc.basis.quantity import figure

Quantity = float
"""In the unit of its symbol."""
_PLACE = re.compile(r"<(\w+)>")


@dataclass(frozen=True, kw_only=True)
class Symbol:
    """A quantity in a formula.

    Parameters
    ----------
    tex, words : str
        How it is written, and what it is.
    value : float
    unit : str
        As printed; empty for none.
    digits : int
        Significant digits shown.
    """

    tex: str
    words: str
    value: Quantity
    unit: str = ""
    digits: int = 4

    @property
    def shown(self) -> str:
        """The value as printed."""
        return figure(float(f"{self.value:.{self.digits}g}"))

    @property
    def in_words(self) -> str:
        """Symbol, meaning, value and unit, for the line under a formula."""
        sign = re.sub(r"\\(?:mathrm|text)?\{?|[{}]", "", self.tex)
        return f"{_GREEK.get(sign, sign)} {self.words} {self.shown} {self.unit}".rstrip()


_GREEK = {"rho": "ρ", "alpha": "α", "beta": "β", "pi": "π", "gamma": "γ", "delta": "δ"}


@dataclass(frozen=True, kw_only=True)
class Worked:
    """A formula with figures.

    Parameters
    ----------
    right : str
        The right side in TeX, symbols by name in angle brackets: ``r"\\frac{<rho>}{2\\pi <l>}"``.
    symbols : dict of str to Symbol
    result : Symbol
        What the package has for it: it is printed, and never worked out from rounded figures.
    source : str
    """

    right: str
    symbols: dict[str, Symbol]
    result: Symbol
    source: str

    @property
    def symbolic(self) -> str:
        """The formula in symbols."""
        return f"{self.result.tex} = {self._with(lambda one: one.tex)}"

    @property
    def numeric(self) -> str:
        """The same with the figures put in, and the result with its unit."""
        unit = rf"\ \mathrm{{{_tex(self.result.unit)}}}" if self.result.unit else ""
        return (f"{self.result.tex} = {self._with(lambda one: _number(one.shown))}"
                f" = {_number(self.result.shown)}{unit}")

    def _with(self, shown: Callable[[Symbol], str]) -> str:
        return _PLACE.sub(lambda found: shown(self.symbols[found[1]]), self.right)

    @property
    def note(self) -> str:
        """What the symbols stand for, with the result and where the formula is from."""
        parts = [one.in_words for one in (self.result, *self.symbols.values())]
        return f"{'; '.join(parts)}. Source: {self.source}."


def _number(shown: str) -> str:
    """A printed number within TeX; a negative one in brackets."""
    plain = shown.replace("\u202f", r"\,")
    return rf"\left(-{plain[1:]}\right)" if plain[:1] in ("−", "-") else plain


def _tex(unit: str) -> str:
    return unit.replace("%", r"\%").replace("²", "^2").replace("Ω", r"\Omega ").replace("·", r"\,")
