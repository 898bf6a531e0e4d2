"""Battery kinds: their figures held to figures from outside, and rules that follow a trait."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.messages import languages, messages
from solarcalc.design import Design, open_design
from solarcalc.documents.booklet import booklet
from solarcalc.documents.tree import texts_of
from solarcalc.installation import schedules
from solarcalc.report.findings import Letterhead
from solarcalc.sitefile import chemistry
from solarcalc.sitefile.chemistry import chemistries
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.views import battery, commissioning, electrical
from solarcalc.views.assumptions import board_assumptions
from solarcalc.views.handover import customer_facts

KINDS = chemistries()
LEAD = ("flooded", "agm", "gel")


@pytest.mark.published("battery_traits/outside.toml")
def test_traits_by_figures_from_outside(case):
    if case["id"] == "gas":
        kinds = {"vented": ["flooded"], "sealed": ["agm", "gel"]}
        for i, (cell, charge) in enumerate(zip(case["cell"], case["charge"], strict=True)):
            for gas in (KINDS[kind].gas for kind in kinds[cell]):
                current = gas.float_ma_per_ah if charge == "float" else gas.boost_ma_per_ah
                assert current == case["current_ma_per_ah"][i]
                assert gas.emission_factor == case["emission_factor"][i]
                assert gas.safety_factor == case["safety_factor"][i]
                assert gas.design_ma_per_ah(charge) == pytest.approx(case["gas_ma_per_ah"][i])
    elif case["id"] == "lithium-units":
        # On the heavy side of what makers' sheets print: a floor is checked safely by it.
        ours = KINDS["lifepo4"].mass.energy_wh_per_kg
        for energy_wh, mass_kg in zip(case["energy_wh"], case["mass_kg"], strict=True):
            assert 0.87 < ours / (energy_wh / mass_kg) <= 1.0
    else:
        for kind in LEAD:
            ours = KINDS[kind].mass.energy_wh_per_kg
            assert case["least_wh_per_kg"] <= ours <= case["most_wh_per_kg"]


def test_rest_voltages_lie_between_empty_and_charging():
    """Spent below sound below full, and no cell at rest above what it is charged with."""
    for kind in KINDS.values():
        rest = kind.rest
        assert kind.empty.cell_v < rest.spent_v < rest.sound_v < rest.full_v
        assert rest.full_v < kind.charge.absorption_v
        assert kind.charge.float_v < kind.charge.absorption_v


def test_charge_voltages_lie_in_the_ranges_of_practice():
    """Makers' practice and IEEE 1361, from memory: ranges of a 12 V block, six cells or four."""
    ranges = {
        "flooded": (6, (14.4, 14.8), (13.2, 13.6)), "agm": (6, (14.1, 14.7), (13.5, 13.8)),
        "gel": (6, (14.1, 14.7), (13.5, 13.8)), "lifepo4": (4, (14.0, 14.6), (13.4, 13.6)),
    }  # fmt: skip
    for key, (cells, absorption, float_v) in ranges.items():
        charge = KINDS[key].charge
        assert absorption[0] <= cells * charge.absorption_v <= absorption[1]
        assert float_v[0] <= cells * charge.float_v <= float_v[1]
    assert 15.0 <= 6 * KINDS["flooded"].charge.equalise_v <= 15.6


def test_a_lead_cell_at_rest_by_its_acid():
    """Rule of the trade: density in kg/l + 0.84 V; 1.225 at three quarters, 1.120 when empty."""
    rest = KINDS["flooded"].rest
    assert rest.sound_v == pytest.approx(1.225 + 0.84, abs=0.01)
    assert rest.spent_v == pytest.approx(1.120 + 0.84, abs=0.05)
    for key in ("agm", "gel"):  # 12.6 V of six cells is printed for a full one
        assert 6.0 * KINDS[key].rest.sound_v == pytest.approx(12.6)


def test_lead_holds_as_much_in_the_cold_as_the_sizing_practice_counts_with():
    """IEEE 485, cell size correction factors, from memory: 1.52 at 25 degF to 1.00 at 77."""
    sizes = [1.52, 1.35, 1.30, 1.25, 1.19, 1.15, 1.11, 1.08, 1.04, 1.00]
    for key in LEAD:
        curve = KINDS[key].capacity_by_temperature
        assert curve.capacity_frac[2:] == pytest.approx([1.0 / size for size in sizes], rel=1e-9)
        assert curve.temp_c[2:] == pytest.approx(
            [(degf - 32.0) / 1.8 for degf in (25, 35, 40, 45, 50, 55, 60, 65, 70, 77)], abs=0.06
        )


def test_exponents_lie_in_the_printed_ranges():
    """1.1 to 1.3 for lead-acid and 1.02 to 1.05 for lithium iron phosphate, by a list."""
    assert all(1.1 <= KINDS[key].rate.exponent <= 1.3 for key in LEAD)
    assert 1.02 <= KINDS["lifepo4"].rate.exponent <= 1.05


# --- a further kind is one entry in one file

LITHIUM = """
[kind.blue]
family = "lithium"
name = "lithium blue oxide"
advice = ["Invented: keep it half full in store."]
cell = { nominal_v = 3.6, source = "invented", seen = "read" }
empty = { cell_v = 2.9, source = "invented", seen = "read" }
rate = { rated_discharge_h = 3.0, exponent = 1.04, source = "invented", seen = "read" }
wells = { available_frac = 1.0, exchange_per_h = 0.0, source = "invented", seen = "read" }
mass = { energy_wh_per_kg = 150.0, source = "invented", seen = "read" }
fault = { least_cell_ohm_ah = 0.06, most_cell_ohm_ah = 0.06, source = "invented", seen = "read" }

[kind.blue.rest]
spent_v = 3.2
sound_v = 4.0
full_v = 4.1
most_v = 4.15
source = "invented"
seen = "read"

[kind.blue.charge]
absorption_v = 4.2
float_v = 4.05
equalise_v = "none"
compensation_v_per_k = 0.0
source = "invented"
seen = "read"

[kind.blue.charge_by_temperature]
stops_below_c = 5.0
slow_below_c = 12.0
slow_above_c = 40.0
stops_above_c = 45.0
slow_per_h = 0.1
cold = "invented: it is spoilt"
source = "invented"
seen = "read"

[kind.blue.capacity_by_temperature]
temp_c = [-20.0, 25.0]
capacity_frac = [0.6, 1.0]
works_from_c = -20.0
works_to_c = 55.0
source = "invented"
seen = "read"

[kind.blue.life]
depth_frac = [0.3, 0.8]
cycles = [4000.0, 1500.0]
calendar_years = 10.0
reference_c = 25.0
source = "invented"
seen = "read"
"""

LEAD_KIND = """
[kind.grey]
family = "lead-acid"
name = "lead-acid with grey plates"
advice = ["Invented: charge it every day."]
wells = { available_frac = 0.5, exchange_per_h = 0.9, source = "invented", seen = "read" }
mass = { energy_wh_per_kg = 28.0, source = "invented", seen = "read" }
fault = { least_cell_ohm_ah = 0.15, most_cell_ohm_ah = 0.15, source = "invented", seen = "read" }
water = { overcharge_frac = 0.05, source = "invented", seen = "read" }
equalising = "none"
booklet = { battery = "flooded", care = "care_lead_rule", danger = "danger_lead" }

[kind.grey.rest]
spent_v = 2.0
sound_v = 2.08
full_v = 2.12
most_v = 2.2
source = "invented"
seen = "read"

[kind.grey.gas]
float_ma_per_ah = 1.0
boost_ma_per_ah = 4.0
emission_factor = 0.5
safety_factor = 5.0
source = "invented"
seen = "read"

[kind.grey.charge]
absorption_v = 2.4
float_v = 2.25
equalise_v = "none"
compensation_v_per_k = 0.004
source = "invented"
seen = "read"

[kind.grey.life]
depth_frac = [0.3, 0.8]
cycles = [2000.0, 700.0]
calendar_years = 11.0
reference_c = 20.0
source = "invented"
seen = "read"
"""
SHEET = {name: value for name, value
         in bundled_equipment()["batteries"]["lithium-26v-142ah"].values.items() if name != "label"}
"""All other figures of a battery, entered in the file: none of another kind's entry is taken."""
BANKS = {
    "blue": {"chemistry": "blue", "unit_voltage_v": 25.2, "units_in_series": 1,
             "units_in_parallel": 3},
    "grey": {"chemistry": "grey", "unit_voltage_v": 12.0, "units_in_series": 2,
             "units_in_parallel": 2},
}  # fmt: skip


@pytest.fixture
def with_kinds(tmp_path, monkeypatch):
    """A function that adds text to a copy of the file that kinds are read from."""
    text = (data_folder() / chemistry.FILE).read_text(encoding="utf-8")
    monkeypatch.setattr(chemistry, "data_folder", lambda: tmp_path)

    def add(more: str) -> None:
        (tmp_path / chemistry.FILE).write_text(text + more, encoding="utf-8")
        chemistries.cache_clear()

    yield add
    chemistries.cache_clear()


def everything_said(design: Design) -> str:
    """Signs, room, test sheet, booklet, care, checks and assumptions of a design, in one text."""
    _, lines = commissioning.sheet_of_site(design)
    said = [
        *(row["words on it"] for row in schedules.label_rows(design.installation)),
        *design.room.notes, *battery.care_words(design), *battery.care_table(design),
        *(f"{line.what} {line.how} {line.expected} {line.remedy}" for line in lines),
        *design.electrical.plan.notes, *battery.wiring_words(design),
        *texts_of(booklet(customer_facts(design), Letterhead(), messages("en"))),
        *(str(check) for checks in design.checks.values() for check in checks),
        *(f"{one.label} {one.value} {one.source}" for assumed in (
            board_assumptions(design), electrical.assumed(design)) for one in assumed),
    ]  # fmt: skip
    return "\n".join(map(str, said))


def test_an_added_lithium_kind_walks_a_whole_site_and_nobody_speaks_of_acid(with_kinds):
    with_kinds(LITHIUM)
    design = open_design("orchard-shop", {
        "battery": {**SHEET, **BANKS["blue"]}, "room": {"extinguisher": "CO2"},
    })  # fmt: skip
    kind, said = design.site.battery.traits, everything_said(design)
    for word in ("goggles", "distilled", "acid density", "hydrogen: no flame", "Acid",
                 "sulphation:"):
        assert word not in said, word
    assert "acid" not in " ".join(kind.words.safety) + kind.words.sign
    assert "lithium: do not open" in said
    assert "nobody enters" in said
    assert "stops a charge below 5 °C" in said
    assert "lithium batteries. Full" in said
    assert "Lithium blue oxide: no hydrogen in normal use" in said
    assert design.room.need.flow_m3_per_h == 0.0
    extinguisher = next(v for v in design.room.checks if v.item.startswith("Extinguisher"))
    assert (extinguisher.outcome, extinguisher.limit) == ("review", "water mist or powder")
    assert design.site.battery.cells_in_series == 7  # hand: 25.2 / 3.6
    rest = [line for line in commissioning.sheet_of_site(design)[1] if line.key == "unit"]
    assert [line.low for line in rest] == pytest.approx([28.0] * 3)
    assert [line.high for line in rest] == pytest.approx([29.05] * 3)


def test_an_added_lead_kind_walks_a_whole_site_by_its_own_gas(with_kinds):
    with_kinds(LEAD_KIND)
    design = open_design("orchard-shop", {
        "battery": {**SHEET, **BANKS["grey"]}, "room": {"extinguisher": "CO2"},
    })  # fmt: skip
    said, need = everything_said(design), design.room.need
    assert "hydrogen: no flame, no spark; acid: wear goggles" in said
    assert "temperature sensor on the battery" in said
    assert "(BMS) communicates" not in said
    assert "vented (flooded) lead-acid batteries" in said
    # hand: 4 mA/Ah x 0.5 x 5 = 10 mA/Ah of 12 cells: 0.05 x 12 x 10 x C / 1000; 98.2 kPa at 260 m.
    assert need.gas_ma_per_ah == pytest.approx(10.0)
    assert design.site.site.elevation_m == 260.0
    assert need.flow_m3_per_h == pytest.approx(
        0.006 * design.site.battery.rated_ah * 101.325 / 98.240, rel=1e-4)
    assert "top up with distilled water" in said or "water to top up" in said
    assert "equalising charges" not in said
    extinguisher = next(v for v in design.room.checks if v.item.startswith("Extinguisher"))
    assert extinguisher.outcome == "passed"


@pytest.mark.parametrize(
    ("cut", "named"),
    [("cell = {", "blue.cell"), ("mass = {", "blue.mass"), ("advice = [", "blue.advice")],
)
def test_a_kind_that_lacks_a_trait_is_refused_by_file_kind_and_trait(with_kinds, cut, named):
    text = "\n".join(line for line in LITHIUM.splitlines() if not line.startswith(cut))
    with_kinds(text)
    with pytest.raises(InputError) as caught:
        chemistries()
    assert caught.value.faults[0].where == f"chemistries.toml: {named}"
    assert caught.value.faults[0].given == "nothing"


@pytest.mark.parametrize(
    ("good", "bad", "named"),
    [
        ("float_v = 4.05", "float_v = 4.3", "blue.charge"),
        ("sound_v = 4.0", "sound_v = 3.1", "blue.rest"),
        ("works_to_c = 55.0", "works_upto_c = 55.0", "blue.capacity_by_temperature"),
        ('source = "invented"\nseen = "read"\n\n[kind.blue.life]',
         'source = ""\nseen = "read"\n\n[kind.blue.life]', "blue.capacity_by_temperature"),
        ("absorption_v = 4.2", 'absorption_v = "high"', "blue.charge.absorption_v"),
        ('family = "lithium"', 'family = "lithium"\nwater = { overcharge_frac = 0.1,'
         ' source = "invented", seen = "read" }', "blue"),
    ],
)  # fmt: skip
def test_a_kind_that_contradicts_itself_is_refused(with_kinds, good, bad, named):
    assert LITHIUM.count(good) == 1
    with_kinds(LITHIUM.replace(good, bad))
    with pytest.raises(InputError) as caught:
        chemistries()
    assert any(fault.where.startswith(f"chemistries.toml: {named}")
               for fault in caught.value.faults)  # fmt: skip


def test_an_unknown_kind_is_told_those_there_are():
    with pytest.raises(InputError, match="one of flooded, agm, gel, lifepo4"):
        open_design("orchard-shop", {"battery": {"chemistry": "nickel"}})


def test_no_code_asks_for_the_name_of_a_kind():
    """The names stand in data alone, and in the invented batteries of a lesson.

    `booklet` words are keys of the customer's messages.
    """
    quoted = re.compile("|".join(f"[\"']{key}[\"']" for key in KINDS))
    root = Path(chemistry.__file__).parents[1]
    found = [
        f"{path.name}: {line.strip()}" for path in sorted(root.rglob("*.py"))
        if path.parent != root / "lessons" / "about"
        for line in path.read_text(encoding="utf-8").splitlines()
        if quoted.search(line) and 'Literal["flooded", "sealed", "lithium"]' not in line
    ]  # fmt: skip
    assert found == []


def test_customers_words_of_every_kind_are_there():
    for language in languages():
        words = messages(language)
        for kind in KINDS.values():
            assert words.text(kind.booklet.care)
            assert words.text(kind.booklet.danger)
