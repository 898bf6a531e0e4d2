"""Readings that the rule allows and the design did not reckon with; order and signal words."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path

import pytest

from solarcalc.basis.files import data_rows, demo_sites
from solarcalc.commissioning.line import plain_number
from solarcalc.commissioning.sheet import sheet_of
from solarcalc.design import open_design
from solarcalc.views.commissioning import sheet_of_site

CASES = runpy.run_path(str(Path(__file__).with_name("commissioning_cases.py")))
facts_with, clean_sheet = CASES["facts_with"], CASES["clean_sheet"]


def standing(report, line_id: str) -> str:
    return next(each.standing for each in report.lines if each.line.id == line_id)


@pytest.mark.parametrize(("value", "wanted"), [(29.0, "pass"), (50.0, "review"), (600.0, "fail")])
def test_an_electrode_above_the_design_is_looked_at(tmp_path, value, wanted):
    """Designed for 30.1 ohm in the worst season; IEC 60364-4-41 would allow more."""
    facts = replace(facts_with(), electrode_assumed_ohm=30.1)
    report = clean_sheet(facts).put("E01", value=value).checked(tmp_path)
    assert standing(report, "E01") == wanted
    if wanted == "review":
        assert [cause.key for cause in report.causes] == ["electrode-assumed"]


@pytest.mark.parametrize(("value", "wanted"), [(8.0, "review"), (12.0, "pass"), (45.0, "fail")])
def test_a_short_delay_has_a_lower_limit(tmp_path, value, wanted):
    """Type G: at least 10 ms at any residual current, at most 40 ms at 5 times (from memory)."""
    facts = replace(facts_with(), short_delay=True)
    (line_id, *_) = (line.id for line in sheet_of(facts) if "5 ×" in line.what)
    report = clean_sheet(facts).put(line_id, value=value).checked(tmp_path)
    assert standing(report, line_id) == wanted


def test_without_short_delay_no_lower_limit(tmp_path):
    facts = facts_with()
    (line_id, *_) = (line.id for line in sheet_of(facts) if "5 ×" in line.what)
    assert standing(clean_sheet(facts).put(line_id, value=8.0).checked(tmp_path), line_id) == "pass"


@pytest.mark.parametrize("stem", sorted(demo_sites()))
def test_the_sheet_of_a_site(stem):
    """Array polarity before the controller; what was opened is closed; one signal word a danger."""
    facts, lines = sheet_of_site(open_design(stem))
    delayed = [line for line in lines if line.key == "trip-time" and line.low is not None]
    assert bool(delayed) == facts.short_delay
    assert facts.electrode_assumed_ohm is not None
    (electrode,) = [line for line in lines if line.key == "electrode"]
    for ohm in {electrode.high, min(electrode.assumed, electrode.high)}:  # judged by both
        assert f"{plain_number(ohm)} Ω" in electrode.expected
    for line in lines:
        if line.key == "input-polarity":
            assert line.where.startswith("inlet of the array isolator")
            assert "isolator open" in line.how
        if "surge protective devices" in line.how and line.category == "insulation":
            assert "efit the surge protective devices" in line.how
            assert ("bond open" in line.how) == ("close the bond" in line.how)
        if line.key == "neutral":
            assert "nowhere else" not in line.what
        assert (line.signal == "notice") == line.caution.startswith("Cables only")
    assert [line.key for line in lines].count("inverter-short") == 1
    assert any("entry of the grid" in line.where for line in lines) == facts.grid


def test_residual_devices_are_tested_with_a_supply():
    """A test of a residual current device needs voltage (IEC 60364-6 cl. 6.4.3.7, from memory)."""
    (what,) = (row["what"] for row in data_rows("signatures") if row["key"] == "H8")
    assert "residual current devices before the loads are connected" in what
