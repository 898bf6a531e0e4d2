"""Formulas with figures: the printed figures give the printed result, the TeX can be drawn."""

from __future__ import annotations

import math
import re

import pytest

from solarcalc.basis.files import data_folder
from solarcalc.basis.worked import Symbol, Worked
from solarcalc.design import open_design
from solarcalc.report.maths import maths_svg
from solarcalc.views import followup, worked

SITES = sorted(path.stem for path in (data_folder() / "sites").glob("*.toml"))


def all_of(site: str) -> list[Worked]:
    design = open_design(site)
    planes = [one for plane in design.planes for one in worked.rows_worked(plane)]
    found = followup.found_of(design)
    visit = worked.followup_worked(design, found) if found else []
    return [*worked.yields_worked(design), worked.cold_string_worked(design),
            worked.rod_worked(design), worked.string_current_worked(design), *planes,
            *worked.offer_worked(design), worked.price_worked(design),
            *worked.economics_worked(design), *visit]


def reckoned(tex: str) -> float:
    """What the right side of a formula with figures comes to, read from its print alone."""
    text = tex.replace(r"\,", "").replace(r"\left", "").replace(r"\right", "")
    text = re.sub(r"\\(cos|sin|tan)\(([^()]*)\^\\circ\)", r"\1_deg(\2)", text)
    text = text.replace(r"\cdot", "*").replace(r"\ln", "math.log").replace(r"2\pi", "2*math.pi")
    while found := re.search(r"\\frac\{([^{}]*)\}\{([^{}]*)\}", text):
        text = text.replace(found[0], f"(({found[1]})/({found[2]}))")
    text = re.sub(r"math\.log\s*(\(\(.*?\)/\(.*?\)\))", r"math.log(\1)", text)
    text = re.sub(r"(?<=[\d)])\s*\((?!\))", " * (", text)
    text = text.replace("math.log * (", "math.log(")
    of_degrees = {f"{one.__name__}_deg": lambda angle, one=one: one(math.radians(angle))
                  for one in (math.cos, math.sin, math.tan)}  # fmt: skip
    return float(eval(text, {"math": math, "__builtins__": {}, **of_degrees}))


@pytest.mark.parametrize("site", SITES)
def test_printed_figures_give_the_printed_result(site: str) -> None:
    for one in all_of(site):
        _, right, result = one.numeric.split(" = ")
        printed = float(result.partition(r"\ ")[0].replace(r"\,", ""))
        assert reckoned(right) == pytest.approx(printed, rel=2e-3), one.numeric


def test_it_can_be_drawn_and_says_its_units_and_source() -> None:
    for one in all_of("ridge-clinic"):
        assert "<svg" in maths_svg(one.symbolic, display=True)
        assert "<svg" in maths_svg(one.numeric, display=True)
        assert "Source: " in one.note
        for symbol in one.symbols.values():
            assert f"{symbol.shown} {symbol.unit}".strip() in one.note
        assert "<" not in one.numeric


def test_a_negative_figure_stands_in_brackets() -> None:
    one = Worked(right="<a> - 25", symbols={"a": Symbol(tex="T", words="air", value=-18.0)},
                 result=Symbol(tex="d", words="difference", value=-43.0, unit="K"), source="none")
    assert one.numeric == r"d = \left(-18\right) - 25 = \left(-43\right)\ \mathrm{K}"
