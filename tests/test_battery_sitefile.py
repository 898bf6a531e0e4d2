"""Keys of [battery] that contradict each other, or what charges the bank."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder
from solarcalc.checking.lines import battery_line
from solarcalc.design import open_design
from solarcalc.sitefile.chemistry import chemistries
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.sitefile.read import read_site
from solarcalc.stages.boards import banks_of
from solarcalc.supply.run import islands_of
from solarcalc.views import battery as told_of
from solarcalc.views import handover, sitepack
from solarcalc.views.battery_tried import what_would_change_the_supply

TEMPLATE = (data_folder() / "templates" / "site.toml").read_text(encoding="utf-8")


def _read(folder: Path, extra: str):
    """The fresh site file with `extra` at the head of its [battery]; same keys are replaced."""
    head, table = TEMPLATE.replace("@NAME@", "Shop").split("\n[battery]\n", 1)
    keys = {line.partition(" =")[0] for line in extra.splitlines()}
    own, loads = table.split("\n[[", 1)
    kept = [line for line in own.splitlines() if line.partition(" =")[0] not in keys]
    lines = [head + "[battery]", extra, *kept, "[[" + loads]
    path = folder / "shop.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return read_site(path).site.battery


def _faults(folder: Path, extra: str):
    with pytest.raises(InputError) as caught:
        _read(folder, extra)
    return caught.value.faults


LEAD = 'use = "agm-12v-183ah"\nunit_voltage_v = 12.0\nunits_in_series = 4\n'


@pytest.mark.parametrize(
    ("extra", "field", "words"),
    [
        ("unit_voltage_v = 12.0", "unit_voltage_v", "12.8"),
        ("unit_voltage_v = 24.0", "unit_voltage_v", "25.6"),
        ('chemistry = "gel"\nunit_voltage_v = 3.2', "unit_voltage_v", "2 or 4"),
        ("room_c = 25.0\nroom_above_k = 2.0", "room_above_k", "delete room_above_k, or room_c"),
        (
            "room_c = 25.0\nroom_swing_frac = 0.1",
            "room_swing_frac",
            "delete room_swing_frac, or room_c",
        ),
        ("units_in_series = 4", "units_in_series", "max_tracking_voltage_v = 174"),
        (
            LEAD + "discharge_hours = [1.0, 5.0, 20.0]\ndischarge_capacity_ah = [90.0, 80.0, 70.0]",
            "discharge_capacity_ah",
            "no less charge",
        ),
        (
            LEAD + "discharge_hours = [1.0, 5.0, 20.0]\ndischarge_capacity_ah = [9.0, 80.0, 90.0]",
            "discharge_capacity_ah",
            "less current",
        ),
        ("discharge_hours = [20.0, 5.0, 1.0]", "discharge_hours", "each above the one before"),
        ("discharge_hours = [1.0, 5.0]", "discharge_hours", "at least 3"),
        ("discharge_hours = [1.0, 5.0, 20.0]", "discharge_capacity_ah", "as many numbers"),
        (
            "discharge_hours = [1.0, 5.0, 20.0]\ndischarge_capacity_ah = [-1.0, 80.0, 90.0]",
            "discharge_capacity_ah",
            "numbers above 0",
        ),
        ("rated_discharge_h = 0.0", "rated_discharge_h", "above 0 up to 240"),
        ("room_c = 90.0", "room_c", "from -40 to 60"),
    ],
)
def test_contradictions_of_a_battery(tmp_path: Path, extra: str, field: str, words: str) -> None:
    found = _faults(tmp_path, extra)
    about = [fault for fault in found if fault.where.startswith(f"shop.toml: battery.{field}")]
    assert about, [fault.where for fault in found]
    assert words in str(about[0])


@pytest.mark.parametrize(
    "extra",
    [
        "unit_voltage_v = 48.0",
        "unit_voltage_v = 52.8",
        "room_c = 27.0",
        "room_above_k = -3.0\nroom_swing_frac = 1.0",
        LEAD + "discharge_hours = [1.0, 5.0, 20.0]\ndischarge_capacity_ah = [60.0, 85.0, 100.0]",
        'use = "flooded-2v-455ah"\nchemistry = "flooded"\nunits_in_series = 24\n'
        'rated_discharge_h = 10.0',
        'use = "agm-12v-183ah"\nunit_capacity_ah = 180.0\nunits_in_series = 4',
    ],
)
def test_what_is_allowed(tmp_path: Path, extra: str) -> None:
    keys = dict(line.split(" = ", 1) for line in extra.splitlines())
    battery = _read(tmp_path, extra)
    for key, text in keys.items():
        if text.replace(".", "").isdigit():
            assert getattr(battery, key) == float(text)


LISTED = bundled_equipment()["batteries"]


@pytest.mark.parametrize("kind", sorted(chemistries()))
@pytest.mark.parametrize("use", LISTED)
def test_no_battery_takes_figures_of_another_kind(tmp_path: Path, use: str, kind: str) -> None:
    """An entry fills in what is left open; efficiencies and currents of lithium are not lead's."""
    extra = f'use = "{use}"\nchemistry = "{kind}"\n'
    about = "shop.toml: battery.chemistry"
    if LISTED[use].values["chemistry"] == kind:
        assert _read(tmp_path, extra + "units_in_series = 1").chemistry == kind
    else:
        assert about in [fault.where for fault in _faults(tmp_path, extra)]


ROOMS = [{"room_c": 27.0}, {"room_above_k": 4.4}, {"room_swing_frac": 0.1},
         {"room_above_k": 1.0, "room_swing_frac": 0.6}]


@pytest.mark.parametrize("room_c", [None, 25.0, -10.0])
@pytest.mark.parametrize("name", ["cove-cannery", "ridge-clinic"])
def test_every_paper_tells_the_levels_the_year_runs_on(name: str, room_c: float | None) -> None:
    """By hand: what the cold leaves of the span from full down, by the mean of thirty days."""
    design = open_design(name, {"battery": {"room_c": room_c}})
    bank, battery = banks_of(design)[0], design.site.battery
    left = float(pd.Series(np.tile(bank.capacity_factor, 2)).rolling(720).mean().min())
    reserve, shed, back = (
        1.0 - left * (1.0 - frac) for frac in (battery.min_soc_frac,
                                                battery.nonessential_shed_frac,
                                                battery.nonessential_return_frac))  # fmt: skip
    ((_, island, _),) = islands_of(design.energy.hours["bus_w"], design.loads,
                                   design.supply.system)  # fmt: skip
    assert (island.floor_frac, island.shed_frac) == pytest.approx((reserve, shed))
    lines = {row["Quantity"]: row["Value"] for row in told_of.bank_inputs(design)}
    for what, in_file, lifted in (
        ("Minimum state of charge", battery.min_soc_frac, reserve),
        ("Shedding threshold, non-essential loads", battery.nonessential_shed_frac, shed),
        ("Reconnection threshold, non-essential loads", battery.nonessential_return_frac, back),
    ):
        assert float(lines[f"{what}, as set"]) == pytest.approx(100.0 * in_file, rel=1e-3)
        cold = float(lines[f"{what}, corrected for the coldest month"])
        assert cold == pytest.approx(100.0 * lifted, rel=1e-3)
    assert list(told_of.battery_marks(design).values()) == pytest.approx([back, shed, reserve])
    booklet = handover.customer_facts(design)
    assert booklet.nonessential_off_frac == pytest.approx(shed)
    assert booklet.nonessential_on_frac == pytest.approx(back)
    set_to = [row["by the design"] for row in sitepack.torque_rows(design)
              if "State of charge" in str(row["what"])]  # fmt: skip
    assert set_to[:3] == [f"{100.0 * level:.0f}" for level in (reserve, shed, back)]
    assert f"usable, down to {100.0 * reserve:.0f} % of" in battery_line(design)


@given(own=some.sampled_from(ROOMS), change=some.sampled_from(ROOMS))
def test_a_room_that_is_changed_is_held_or_follows_whatever_it_did_before(
    own: dict[str, float], change: dict[str, float]
) -> None:
    """What is given last stands; what it rules out goes, all else stays."""
    battery = open_design("ridge-clinic", {"battery": own}).changed({"battery": change})
    found = battery.sitefile.written["battery"]
    stays = {key: value for key, value in own.items() if ("room_c" in change) == (key == "room_c")}
    assert {key: found[key] for key in found if key.startswith("room_")} == {**stays, **change}


def test_what_would_change_the_supply_has_an_answer_where_the_room_is_given() -> None:
    """`check` itself names the value of room_above_k to enter."""
    for room in ROOMS:
        rows = what_would_change_the_supply(open_design("ridge-clinic", {"battery": room}))
        assert sum("battery room" in row["changed parameter"] for row in rows) == 2
