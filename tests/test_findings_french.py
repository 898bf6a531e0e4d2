"""No finding of safety reaches a French crew in English: by every rule's words, and by designs.

Sites are invented.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from pathlib import Path

import pytest

from solarcalc.basis.check import Check
from solarcalc.basis.files import data_folder
from solarcalc.basis.phrases import phrase, plain, untranslated
from solarcalc.design import open_design
from solarcalc.documents.facts import trade_words

HERE = Path(__file__).parent
NEVER_ON_SITE = ("commissioning", "sitefile", "followup", "quote", "survey", "weather")
"""Words of tests have a paper of their own; these others are no findings of a design."""
GLUED = re.compile(r"(?<=[\w.])\{\w+\}|\{\w+\}(?=\w)|^\{\w+\}(?=[a-z])")
PLACE = re.compile(r"\{[^{}]*\}")
CHANGES: dict[str, dict[str, object]] = {
    "pole-earthed": {"battery": {"pole_earthed": "negative"}},
    "outside": {"room": {"inverters_inside": False}},
    "no-changeover": {"protection": {"changeover": "none"}, "grid": {"kind": "random"}},
    "charged-by-grid": {"grid": {"kind": "random", "charge_below_frac": 0.8}},
    "generator": {"generator": {"power_w": 3000.0, "place": "battery room"}},
    "small-room": {"room": {"length_m": 1.8, "depth_m": 1.5}},
    "long-strings": {"array": {"modules_in_series": 9, "module_count": 9, "rows": 1}},
    "awg": {"cables": {"sizes": "awg"}},
    "it": {"protection": {"system": "IT"}},
    "at-grid": {"protection": {"neutral_earth_bond": "at-grid"}},
    "three-phases": {"loads": {"phases": 3}},
    "one-inverter": {"supply": {"layout": "one-inverter"}},
    "more-strings": {"battery": {"units_in_parallel": 6}},
    "thin": {"runs": {"battery_inverter": {"size_mm2": 6.0}}},
    "weak-floor": {"room": {"floor_kg_per_m2": 100.0, "extinguisher": "CO2"}},
    "no-alarm": {"room": {"extinguisher": "none", "smoke_alarm": False}},
}


def said(check: Check) -> tuple[str, str, str]:
    """A check as the box of the site pack says it."""
    found = f"{check.found}{f' {check.unit}' * bool(check.unit)}; {check.limit}"
    return check.item, found, check.remedy


def english(texts: Iterable[str]) -> set[str]:
    return {left for text in texts for left in untranslated(plain(trade_words(text)), "fr")}


def test_the_words_of_every_rule_of_safety_have_a_french_row() -> None:
    counted, left = 0, dict[str, str]()
    for path in sorted((data_folder() / "words").glob("*.toml")):
        if path.stem in NEVER_ON_SITE:
            continue
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        shared = table.pop("shared", {})
        for key, entry in table.items():
            if entry.get("class") != "safety":
                continue
            counted += 1
            for field in ("item", "found", "limit", "remedy"):
                text = entry.get(field, "")
                for name, words in shared.items():
                    text = text.replace(f"{{{name}}}", words)
                text = PLACE.sub("1.5", GLUED.sub("", text))
                left |= dict.fromkeys(english([text]), f"{path.stem}/{key}.{field}")
    assert counted > 70
    assert left == {}


@pytest.mark.parametrize("stem", ["coral-pharmacy", "cove-cannery", "orchard-shop",
                                  "plateau-school", "ridge-clinic"])  # fmt: skip
@pytest.mark.parametrize("frozen", [False, True])
def test_no_finding_of_a_site_stays_english(stem: str, frozen: bool) -> None:
    design = open_design(HERE / "frozen" / f"{stem}.toml" if frozen else stem)
    names = {word for one in design.site.status.signed for word in (one.name, *one.name.split())}
    checks = [check for check in design.all_checks if check.kind == "safety"]
    assert len(checks) > 50
    assert english(text for check in checks for text in said(check)) - names == set()


@pytest.mark.slow
@pytest.mark.parametrize("stem", ["coral-pharmacy", "plateau-school"])
@pytest.mark.parametrize("name", CHANGES)
def test_no_finding_of_a_changed_design_stays_english(stem: str, name: str) -> None:
    design = open_design(stem, CHANGES[name])
    names = {word for one in design.site.status.signed for word in (one.name, *one.name.split())}
    checks = [check for stage in (design.electrical_checks, design.ground_checks,
                                  design.roof_checks)
              for check in stage if check.kind == "safety"]  # fmt: skip
    assert english(text for check in checks for text in said(check)) - names == set()


def test_a_day_is_said_behind_what_is_said_of_it() -> None:
    assert phrase("not after Tue 2 Mar 2027", "fr") == "pas après mar. 2 mars 2027"
