"""No finding of safety reaches a French crew in English: by every rule's words, and by designs.

Sites are invented.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from itertools import product
from pathlib import Path

import pytest

from solarcalc.basis.check import Check
from solarcalc.basis.files import data_folder
from solarcalc.basis.messages import messages
from solarcalc.basis.phrases import phrase, phrases, plain, untranslated
from solarcalc.basis.quantity import with_unit
from solarcalc.design import open_design
from solarcalc.documents.facts import trade_words
from solarcalc.followup.answer import FOLLOWUP_CAUTION
from solarcalc.followup.daily import ITEMS, LIMITS
from solarcalc.followup.logger import COLUMN_WORDS
from solarcalc.views import followup as views

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
    return check.item, f"{check.found_words}; {check.limit_words}", check.remedy


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
                if field in ("found", "limit"):
                    unit = entry.get("unit", "").replace("{current}", "d.c.")
                    text = with_unit(text, PLACE.sub("1.5", unit))
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


NAMED = ("2026-01-01", "2026-01-01, 2026-01-02, 2026-01-03, 2026-01-04 and 3 more")
DATED, AT = ("2026-01-01",), ("2026-01-01 12:30",)
FILLED: dict[str, tuple[object, ...]] = {
    "s": ("", "s"), "side": ("before", "after"), "half_days": ("afternoons", "mornings"),
    "column": tuple(COLUMN_WORDS.values()), "began": ("", ", 90 % when the record began"),
    "planes": ("1 and 2",), "cell": ("1",), "named": NAMED, "until": DATED,
    "clock_hours": ("09:00 to 11:30",),
}  # fmt: skip
"""What the words of a finding are filled with; any other place takes a number."""


def english_words(texts: Iterable[str]) -> set[str]:
    """What stays English in a workbook, where keys of the site file keep their names."""
    return {left for text in texts for left in untranslated(text, "fr")}


def findings_said() -> dict[str, set[str]]:
    """Each text of a finding of the logger's file, filled in every way, by its key."""
    table = tomllib.loads((data_folder() / "words" / "followup.toml").read_text(encoding="utf-8"))
    said = dict[str, set[str]]()
    for key, entry in table.items():
        if "kind" not in entry:
            continue
        first = AT if key in ("gaps", "total-fell", "standing-still") else DATED
        for text in (entry["said"], entry.get("remedy", "")):
            names = [*dict.fromkeys(re.findall(r"\{(\w+)", text))]
            ways = product(*({"first": first, **FILLED}.get(name, (1.5,)) for name in names))
            said.setdefault(key, set()).update(
                text.format(**dict(zip(names, way, strict=True))) for way in ways)
    return said


def test_every_finding_of_a_loggers_file_can_be_said_in_french() -> None:
    said = findings_said()
    assert len(said) > 25
    left = {key: english_words(texts) - {"# and #"} for key, texts in said.items()}
    assert {key: texts for key, texts in left.items() if texts} == {}
    assert english_words([*ITEMS.values(), *LIMITS.values(), FOLLOWUP_CAUTION]) == set()


@pytest.mark.parametrize("stem", ["plateau-school", "ridge-clinic"])
def test_a_french_office_reads_what_was_found_in_french(stem: str) -> None:
    """Findings, losses and advice, heads and cells; the figures are those of the English ones."""
    designs = [open_design(stem, {"firm": {"language": tongue}}) for tongue in ("en", "fr")]
    for told in (views.findings, views.losses):
        rows = [told(one, found) for one in designs if (found := views.found_of(one)) is not None]
        assert len(rows) == 2
        assert len(rows[0]) == len(rows[1]) > 2
        for ours, theirs in zip(*rows, strict=True):
            texts = [text for text in (*ours, *ours.values()) if isinstance(text, str) and text]
            assert english_words(texts) == set()
            assert [*ours] != [*theirs]
            for one, other in zip(ours.values(), theirs.values(), strict=True):
                same = isinstance(one, str) and isinstance(other, str)
                figures = [re.findall(r"\d+", text) for text in (str(one), str(other))]
                assert figures[0] == figures[1] if same else one == other
    lines = [views.advice(one, found) for one in designs if (found := views.found_of(one))]
    assert english_words(lines[0]) == set()
    assert len(lines[0]) == len(lines[1])


BANKS_APART = {"supply": {"layout": "separate-banks", "essential_bank_frac": 0.5},
               "controller": {"count": 2}}  # fmt: skip


@pytest.mark.parametrize(("stem", "changes"), [
    ("coral-pharmacy", {}), ("plateau-school", {}), ("valley-workshop", {}),
    ("coral-pharmacy", CHANGES["one-inverter"]), ("plateau-school", CHANGES["one-inverter"]),
    ("ridge-clinic", BANKS_APART),
])  # fmt: skip
def test_every_line_of_a_test_sheet_is_french_and_a_battery_has_no_chaine(
    stem: str, changes: dict[str, object]
) -> None:
    """A string of modules is *chaîne*, one of battery units *branche*: not to be taken for it."""
    own = open_design(stem, changes)
    planes = {one.plane for one in own.planes}  # names of the site
    for line in own.test_lines:
        texts = (line.what, line.where, line.how, line.expected, line.instrument, line.caution)
        assert english(texts) <= planes, line.id
        if line.id.startswith("B"):
            assert "chaîne" not in phrase(line.where, "fr")


def test_french_phrases_are_typeset_alike() -> None:
    """One apostrophe, as `data/messages` has it, and no sign that a line's end may set off."""
    said = phrases("fr").values()
    assert [text for text in said if re.search(r"\w'\w| [;:!?%]", text)] == []
    assert re.search(r"\w'\w", "".join(messages("fr").texts.values())) is None
