"""Surge devices: how they are connected, what stands before them, their leads; as many everywhere.

Connection and order: a maker's guide to surge devices (poles by system; which may stand behind a
residual current device), opened; IEC 60364-5-53 cl. 534.4, from memory.
"""

from __future__ import annotations

import dataclasses
import re
import runpy
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.diagrams.single_line import single_line
from solarcalc.diagrams.single_line_parts import ONE_BANK
from solarcalc.diagrams.symbols import HALF_MM
from solarcalc.installation.schedules import cable_rows, device_rows
from solarcalc.protection.plan import plan_of
from solarcalc.protection.surge import connection
from solarcalc.quote.bill import bill_of
from solarcalc.sitefile.read import with_changes

HERE = Path(__file__).parent
CASES = runpy.run_path(str(HERE / "installation_cases.py"))
PLANS = runpy.run_path(str(HERE / "protection_cases.py"))
DRAWN = runpy.run_path(str(HERE / "diagram_cases.py"))
SITES = runpy.run_path(str(HERE / "site_files.py"))
EXAMPLES = 15
GRID = {"kind": "always", "limit_w": 6000.0}


@pytest.mark.parametrize(
    ("system", "lines", "found"),
    [("TN-S", 1, (2, 0)), ("TN-S", 3, (4, 0)), ("TT", 1, (1, 1)), ("TT", 3, (3, 1))],
)
def test_connection_by_system(system, lines, found):
    """A maker's guide: TN-S 2+0 and 4+0, TT 1+1 and 3+1."""
    assert connection(system, lines) == found


def test_behind_a_residual_current_device_the_neutral_goes_by_a_gap():
    """The same guide: n+0 stands before it only, n+1 before or after."""
    assert connection("TN-S", 1, behind_residual=True) == (1, 1)


def plan(runs=None, **tables):
    site = PLANS["site"](**tables)
    return plan_of(site, PLANS["runs"](site, **(runs or {})), cold_string_v=180.0,
                   string_fuse_a=20.0)  # fmt: skip


def test_tt_has_a_gap_from_neutral_to_earth_of_its_own_voltage():
    """IEC 60364-5-53 table 534.2, from memory: N-PE of 1+1 at least U_0; I_n 10 kA."""
    found = plan(grid=GRID).device("board-surge")
    assert "1+1: each line to neutral by a varistor" in found.extra
    assert "spark gap, U_c at least 230 V, I_n at least 10 kA" in found.extra
    assert "2+0" in plan(grid=GRID, protection={"system": "TN-S"}).device("board-surge").extra


def checks_of(found):
    return {each.item: each for each in found.checks if each.rule == "protection/surge-order"}


def test_what_stands_behind_a_residual_current_device():
    """Type 2 behind one that stands surges is passed, type 1 is for a person to look at."""
    found = checks_of(plan(grid=GRID))
    assert {each.outcome for each in found.values()} == {"passed"}
    assert "type S" in found["Surge device of the boards and the residual current devices"].found
    rods = checks_of(plan(grid=GRID, protection={"lightning_protection": True}))
    assert {each.outcome for each in rods.values()} == {"review"}
    assert {each.kind for each in rods.values()} == {"safety"}
    alone = checks_of(plan(protection={"lightning_protection": True}))
    assert alone["Surge device of the boards and the residual current devices"].outcome == "passed"


@given(volts=some.floats(90.0, 260.0), lead_m=some.floats(0.1, 1.0))
def test_a_board_of_120_v_gets_a_device_that_its_appliances_stand(volts, lead_m):
    """IEC 60664-1 table F.1, from memory: category II stands 1.5 kV to 150 V, 2.5 kV to 300 V.

    hand: 0.8 of it less 1 kV a metre of lead is what the device may let through.
    """
    withstand_kv = 1.5 if volts <= 150.0 else 2.5
    found = plan(grid=GRID, supply={"ac_voltage_v": volts}, protection={"surge_lead_m": lead_m})
    for key in ("board-surge", "house-surge"):
        most_kv = float(re.search(r"U_p at most ([\d.]+) kV", found.device(key).extra)[1])
        assert most_kv == pytest.approx(0.8 * withstand_kv - min(lead_m, 0.5), abs=0.051)
    checks = [each for each in found.checks if each.rule == "protection/surge-voltage"
              and each.item.startswith(("Surge device of the boards", "Surge device of the house"))]
    assert len(checks) == 2
    for check in checks:
        assert f"the equipment stands {withstand_kv:g} kV" in check.limit
        assert (check.outcome == "passed") == (lead_m <= 0.5 + 1e-9)


def test_the_residual_current_device_before_the_house_stands_surges():
    found = plan(grid=GRID)
    assert found.device("house-surge").count == 2  # a feeder of each board comes in
    assert "stands 3 kA" in found.device("residual-essential").extra
    close = {f"board_house_{board}": {"length_m": 5.0} for board in ("essential", "nonessential")}
    assert "stands 3 kA" not in plan(runs=close).device("residual-essential").extra


@given(site=SITES["sites"]())
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
def test_as_many_are_drawn_scheduled_bought_and_joined(site):
    try:
        built = CASES["installed"](site)
    except InputError:
        assume(False)
    svg = DRAWN["Drawing"](single_line(built))
    words = re.sub(r"\s+", " ", svg.all_words())
    rows = {row["tag"]: int(row["count"]) for row in device_rows(built)}
    bought = {line.key: line for line in bill_of(built, None, 0.0)}
    wanted: Counter[str] = Counter()
    leads = {one.end: one for one in built.leads}
    scheduled = {row["tag"] for row in cable_rows(built)}
    for part in built.of_kind("surge"):
        wanted[f"{part.bought.item}-{part.bought.very}"] += part.count
        assert part.tag in words
        assert rows[part.tag] == part.count
        lead = leads.pop(part.key)
        (earth,) = (one for one in built.earths if one.start == part.key)
        assert lead.count == earth.count == part.count
        assert lead.size_mm2 == earth.size_mm2
        assert lead.tag in scheduled
        if part.key != "array-surge-roof":
            assert lead.length_m + earth.length_m == site.protection.surge_lead_m
    assert leads == {}
    assert all(bought[key].quantity == count for key, count in wanted.items())
    metres = sum(line.quantity for line in bought.values() if line.item.startswith("cable-"))
    assert metres + 1e-6 >= sum(one.core_m for one in (*built.cables, *built.leads))
    drawn_before_the_residual(built, svg)


def drawn_before_the_residual(built, svg):
    """Each surge device of a board hangs from its column above the residual current device."""
    surge = built.by_key.get("board-surge")
    for board in ("essential", "nonessential"):
        residual = built.by_key.get(f"residual-{board}")
        if surge is None or residual is None:
            continue
        assert "upstream of its RCD" in surge.where
        spans = [(span, span.words.split(":")[0]) for span in svg.spans()]
        tops = [span.top for span, tag in spans if tag == surge.tag]
        (beside,) = [span.top for span, tag in spans if tag == residual.tag]
        assert min(abs(beside - top) for top in tops) < 2.0 * HALF_MM


def test_the_tap_stands_above_the_residual_current_device():
    """A dot on the column of each board, over the words beside its residual current device."""
    site = with_changes(SITES["_base"](), {"grid": {"kind": "always"}}).site
    built = CASES["installed"](site)
    without = dataclasses.replace(
        built, parts=tuple(part for part in built.parts if part.key != "board-surge")
    )
    svg = single_line(built)
    taps = dots_of(svg) - dots_of(single_line(without))
    assert {column for column, _ in taps} == set(ONE_BANK.columns_mm)
    spans = [span._replace(words=span.words.replace("\u00a0", " "))
             for span in DRAWN["Drawing"](svg).spans()]
    for board, column in zip(("essential", "nonessential"), ONE_BANK.columns_mm, strict=True):
        (tap,) = [y for x, y in taps if x == column]
        tag = built.by_key[f"residual-{board}"].tag
        (words,) = [span for span in spans if span.words.startswith(f"{tag}: ")]
        breaker = built.by_key[f"board-breaker-{board}"].tag
        (above,) = [span for span in spans if span.words.startswith(f"{breaker}: ")]
        assert above.bottom < tap < words.top + 2.0 * HALF_MM
        assert tap < (words.top + words.bottom) / 2.0


def dots_of(svg):
    """Dots on the columns of the boards: where something is joined."""
    found = re.findall(r'<circle cx="(124|228)(?:\.0)?" cy="([\d.]+)"', svg)
    return {(float(x), float(y)) for x, y in found}
