"""What the customer owns: tests brought to the rating, the choice, and the site file's keys."""

from __future__ import annotations

import math
import tomllib

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import assume, given
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder
from solarcalc.battery.existing import (
    EXISTING_CAUTION,
    JUDGED,
    at_standard,
    existing_assumptions,
    existing_table,
    judge_existing,
)
from solarcalc.battery.existing_battery import (
    CHOICES,
    REPLACE_BELOW_FRAC,
    SOUND_FRAC,
    BoardNeed,
    Place,
    capacity_left_frac,
    same_class,
    years_left,
)
from solarcalc.circuit.module import five_parameters
from solarcalc.design import open_design
from solarcalc.energy.diode import Conditions, diode_of, power_at_stc_w
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.sitefile.existing import RATED, Existing
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.toml import write_new_site

PLACE = Place(
    bank_voltage_v=48.0, essential=BoardNeed(peak_w=800.0, surge_va=1500.0, daily_wh=2400.0),
    nonessential=BoardNeed(peak_w=400.0, surge_va=900.0, daily_wh=4800.0),
    yield_kwh_per_kw_per_year=1400.0,
)  # fmt: skip


def battery(**more):
    return Existing(**{
        "kind": "battery", "label": "Invented battery", "age_years": 4.0, "count": 4,
        "chemistry": "agm", "unit_voltage_v": 12.0, "unit_capacity_ah": 200.0,
        "rated_discharge_h": 10.0, **more,
    })  # fmt: skip


def cap_tested(share, **more):
    """Tested at the rating's own hours and at 25 degC."""
    return battery(measured_capacity_ah=200.0 * share, measured_discharge_h=10.0, **more)


def inverter(**more):
    return Existing(**{
        "kind": "inverter", "label": "Invented inverter", "age_years": 3.0, "count": 1,
        "bank_voltage_v": 48.0, "continuous_power_w": 1000.0, "surge_power_va": 2000.0,
        "efficiency_frac": 0.9, "no_load_power_w": 10.0, "measured_surge_va": 1900.0, **more,
    })  # fmt: skip


def module(**more):
    """300 W, ten years old."""
    return Existing(**{
        "kind": "module", "label": "Invented module", "age_years": 10.0, "count": 6,
        "pmax_w": 300.0, "voc_v": 40.0, "isc_a": 9.5, "alpha_isc_pct_per_k": 0.05,
        "beta_voc_pct_per_k": -0.3, "gamma_pmax_pct_per_k": -0.4, "cells_in_series": 60, **more,
    })  # fmt: skip


SUN = {"measured_irradiance_w_m2": 1000.0, "measured_temp_c": 25.0}


@pytest.mark.published("battery_existing/tests.toml")
def test_published(case):
    assert float(REPLACE_BELOW_FRAC) == case["replace_below_frac"]
    assert float(SOUND_FRAC) == case["test_yearly_below_frac"]


# --- batteries


def test_capacity_at_the_ratings_own_conditions_is_the_plain_share():
    assert capacity_left_frac(cap_tested(0.85)) == pytest.approx(0.85)
    assert capacity_left_frac(battery()) is None


def test_capacity_of_a_fast_and_cold_test_by_hand():
    """150 Ah in 5 h at 15 degC: the rating at 5 h is 200 x 0.5^(1 - 1/1.15), 6 % less for cold."""
    found = capacity_left_frac(
        battery(measured_capacity_ah=150.0, measured_discharge_h=5.0, measured_temp_c=15.0)
    )
    assert found == pytest.approx(150.0 / 0.94 / (200.0 * 0.5 ** (1.0 - 1.0 / 1.15)))
    lithium = capacity_left_frac(
        battery(chemistry="lifepo4", measured_capacity_ah=150.0, measured_discharge_h=10.0,
                measured_temp_c=15.0)
    )  # fmt: skip
    assert lithium == pytest.approx(0.75)


@pytest.mark.parametrize(
    ("share", "choice", "outcome"),
    [(1.02, "keep", "passed"), (0.9, "keep", "passed"), (0.89, "use on the other board", "review"),
     (0.8, "use on the other board", "review"), (0.79, "replace", "failed")],
)  # fmt: skip
def test_choice_by_capacity(share, choice, outcome):
    checked = judge_existing(cap_tested(share), PLACE)
    assert checked.choice == choice
    assert checked.checks[0].outcome == outcome
    assert set(checked.consequences) == set(CHOICES)


@pytest.mark.parametrize(
    ("more", "choice"),
    [
        ({"new_resistance_ohm": 0.003, "measured_resistance_ohm": 0.0038}, "keep"),
        ({"new_resistance_ohm": 0.003, "measured_resistance_ohm": 0.0042},
         "use on the other board"),
        ({"new_resistance_ohm": 0.003, "measured_resistance_ohm": 0.0046}, "replace"),
        ({"rest_voltage_v": 12.8}, "keep"),
        ({"rest_voltage_v": 12.3}, "use on the other board"),
        ({"rest_voltage_v": 10.6}, "replace"),
        ({"unit_voltage_v": 6.0, "count": 8, "rest_voltage_v": 6.4}, "keep"),
        ({"count": 3}, "replace"),
    ],
)  # fmt: skip
def test_the_worst_test_decides(more, choice):
    assert judge_existing(cap_tested(1.0, **more), PLACE).choice == choice


def test_without_a_capacity_test_it_is_to_be_tested_unless_it_is_dead():
    checked = judge_existing(battery(rest_voltage_v=12.8), PLACE)
    assert checked.choice == "test first"
    assert "discharge it at constant current" in checked.checks[0].remedy
    assert judge_existing(battery(rest_voltage_v=10.6), PLACE).choice == "replace"


def test_figures_of_a_battery_by_hand():
    """4 of 12 V 200 Ah at 85 %: 9.6 kWh rated, half of 8.16 usable: 40.8 h of 100 W."""
    checked = judge_existing(cap_tested(0.85), PLACE)
    assert checked.values["rated_energy_kwh"] == pytest.approx(9.6)
    assert checked.values["usable_as_tested_kwh"] == pytest.approx(4.08)
    assert checked.values["years_left_years"] == pytest.approx(0.05 * 4.0 / 0.15)
    assert "4.1 kWh" in checked.consequences["keep"]
    assert "41 h of the mean demand of the essential board" in checked.consequences["keep"]
    assert "20 h at its mean demand" in checked.consequences["use on the other board"]
    assert "Never combine with new batteries in one bank" in checked.consequences["keep"]
    assert "within 1.3 years" in checked.consequences["keep"]


def test_only_whole_strings_count():
    six, four = (judge_existing(cap_tested(1.0, count=count), PLACE).values for count in (6, 4))
    assert six == four


def test_years_left():
    assert years_left(0.9, 5.0) == pytest.approx(5.0)
    assert years_left(0.75, 5.0) == 0.0
    assert years_left(1.0, 5.0) == math.inf
    assert years_left(0.9, 0.0) == 0.0


@given(some.floats(0.0, 1.2), some.floats(0.0, 0.2))
def test_less_capacity_is_never_a_better_choice(share, less):
    order = [judge_existing(cap_tested(s), PLACE).choice for s in (share, max(share - less, 0.0))]
    assert CHOICES.index(order[0]) <= CHOICES.index(order[1])


def test_lead_and_lithium_of_one_nominal_class_fit_the_same_inverter():
    assert same_class(48.0, 51.2)
    assert same_class(12.8, 12.0)
    assert not same_class(24.0, 48.0)
    assert not same_class(36.0, 48.0)


def test_a_measured_discharge_of_a_sound_battery(measured_file):
    """17 Ah sealed battery discharged at 3.04 A: some 19.5 Ah by the log's own figures."""
    path = measured_file("measured/leadacid_17ah_rate_tests.csv")
    log = pd.read_csv(path, parse_dates=["time"]).dropna(subset=["current"])
    drawing = (log["current"] > 1.0).to_numpy()
    first = int(np.argmax(drawing))
    test = log.iloc[first : first + int(np.argmin(drawing[first:]))]
    hours = (test["time"] - test["time"].iloc[0]).dt.total_seconds().to_numpy() / 3600.0
    ampere_hours = float(np.trapezoid(test["current"], hours))
    assert ampere_hours == pytest.approx(19.5, abs=0.3)
    existing = battery(
        unit_capacity_ah=17.0, rated_discharge_h=20.0, count=4, measured_capacity_ah=ampere_hours,
        measured_discharge_h=float(hours[-1]), measured_temp_c=24.0,
        rest_voltage_v=float(log["voltage"].iloc[0]),
    )  # fmt: skip
    checked = judge_existing(existing, PLACE)
    assert checked.choice == "keep"
    assert checked.values["capacity_left_frac"] > 1.0


# --- inverters


@pytest.mark.parametrize(
    ("more", "choice"),
    [
        ({}, "keep"),
        ({"bank_voltage_v": 51.2}, "keep"),
        ({"bank_voltage_v": 24.0}, "replace"),
        ({"continuous_power_w": 700.0}, "use on the other board"),
        ({"continuous_power_w": 300.0}, "replace"),
        ({"measured_surge_va": 1000.0}, "use on the other board"),
        ({"measured_surge_va": 800.0}, "replace"),
        ({"measured_efficiency_frac": 0.86}, "keep"),
        ({"measured_efficiency_frac": 0.84}, "use on the other board"),
        ({"measured_efficiency_frac": 0.79}, "replace"),
        ({"measured_no_load_w": 20.0}, "keep"),
        ({"measured_no_load_w": 21.0}, "use on the other board"),
        ({"age_years": 12.0}, "use on the other board"),
        ({"measured_surge_va": None}, "test first"),
        ({"measured_surge_va": None, "continuous_power_w": 300.0}, "replace"),
    ],
)
def test_choice_of_an_inverter(more, choice):
    checked = judge_existing(inverter(**more), PLACE)
    assert checked.choice == choice
    assert set(checked.consequences) == set(CHOICES)
    assert checked.why


def test_figures_of_an_inverter_by_hand():
    """12 W all year is 105.12 kWh; 2.4 kWh a day at 0.8 costs a quarter more, 219 kWh a year."""
    checked = judge_existing(inverter(measured_no_load_w=12.0, measured_efficiency_frac=0.8), PLACE)
    assert checked.values["no_load_kwh_per_year"] == pytest.approx(105.12)
    assert checked.values["essential_loss_kwh_per_year"] == pytest.approx(219.0)
    assert checked.values["nonessential_loss_kwh_per_year"] == pytest.approx(438.0)
    assert "219 kWh" in checked.consequences["keep"]


# --- modules


def test_a_module_at_standard_conditions_is_as_measured():
    found = at_standard(module(measured_isc_a=9.0, measured_voc_v=39.0, measured_pmax_w=280.0,
                               **SUN))  # fmt: skip
    assert (found.isc_a, found.voc_v, found.pmax_w) == pytest.approx((9.0, 39.0, 280.0))


def test_a_warm_module_in_weaker_light_by_hand():
    """800 W/m2, 50 degC: 7.2 A / 0.8 / 1.0125; 36 V of the 37 V less the light's share, of 40 V."""
    found = at_standard(
        module(measured_isc_a=7.2, measured_voc_v=36.0, measured_pmax_w=200.0,
               measured_irradiance_w_m2=800.0, measured_temp_c=50.0)
    )  # fmt: skip
    assert found.isc_a == pytest.approx(7.2 / 0.8 / 1.0125)
    light_v = 60.0 * 1.03 * 8.617333e-5 * 323.15 * math.log(0.8)
    assert found.voc_v == pytest.approx(36.0 / (40.0 - 3.0 + light_v) * 40.0, rel=1e-6)
    assert found.pmax_w == pytest.approx(200.0 / 0.8 / 0.9)


def test_the_correction_undoes_the_diode_model():
    """A sound module at 850 W/m2 and 48 degC by the one-diode model comes back to its rating."""
    sheet = Module.model_validate(dict(bundled_equipment()["modules"]["half108-397"].values))
    curve = pvlib.pvsystem.singlediode(*five_parameters(diode_of(sheet), 850.0, 48.0))
    power, isc, voc = (float(np.asarray(curve[name])) for name in ("p_mp", "i_sc", "v_oc"))
    back = power_at_stc_w(power, sheet, Conditions(light_w_m2=850.0, cell_c=48.0))
    assert back == pytest.approx(sheet.pmax_w, rel=0.02)
    existing = module(
        **{name: getattr(sheet, name) for name in RATED["module"]}, count=1,
        measured_isc_a=isc, measured_voc_v=voc, measured_irradiance_w_m2=850.0,
        measured_temp_c=48.0,
    )  # fmt: skip
    found = at_standard(existing)
    # The fit takes a share off alpha to meet gamma: that share of alpha over the 23 K.
    off_frac = 23.0 * diode_of(sheet)["Adjust"] / 100.0 * sheet.alpha_isc_pct_per_k / 100.0
    assert 0.0 < off_frac < 0.005
    assert found.isc_a == pytest.approx(sheet.isc_a * (1.0 - off_frac), rel=0.0006)
    assert found.voc_v == pytest.approx(sheet.voc_v, rel=0.005)
    assert found.pmax_w == pytest.approx(sheet.pmax_w, rel=0.01)


@pytest.mark.parametrize(
    ("power", "choice"),
    [(290.0, "keep"), (270.0, "keep"), (260.0, "use on the other board"),
     (240.0, "use on the other board"), (239.0, "replace")],
)  # fmt: skip
def test_choice_by_power(power, choice):
    checked = judge_existing(module(measured_pmax_w=power, **SUN), PLACE)
    assert checked.choice == choice
    assert checked.values["power_now_w"] == pytest.approx(6 * power)


def test_power_that_was_not_measured_is_an_upper_bound_and_says_so():
    checked = judge_existing(module(measured_isc_a=9.5, measured_voc_v=38.0, **SUN), PLACE)
    assert checked.values["power_left_frac"] == pytest.approx(0.95)
    assert "at most" in checked.why[0]


def test_a_lost_section_keeps_a_module_out_of_sound_strings():
    checked = judge_existing(module(measured_pmax_w=280.0, measured_voc_v=27.0, **SUN), PLACE)
    assert checked.choice == "use on the other board"
    assert any("substring" in check.remedy for check in checked.checks)


def test_module_without_its_tests_and_test_in_weak_light():
    untested = judge_existing(module(), PLACE)
    assert untested.choice == "test first"
    assert "cannot be switched off" in untested.checks[0].remedy
    weak = judge_existing(
        module(measured_pmax_w=140.0, measured_irradiance_w_m2=500.0, measured_temp_c=25.0), PLACE
    )
    assert weak.choice == "keep"
    assert weak.checks[-1].outcome == "review"


def test_figures_of_modules_by_hand():
    """6 x 250 W bring 2100 kWh at 1400 kWh/kW; 50 W more each would bring 420 more."""
    checked = judge_existing(module(measured_pmax_w=250.0, **SUN), PLACE)
    assert "1500 W" in checked.consequences["use on the other board"]
    assert "2100 kWh" in checked.consequences["use on the other board"]
    assert "420 kWh" in checked.consequences["replace"]
    assert checked.values["power_by_age_frac"] == pytest.approx(0.995**10)


# --- together


def test_table_and_caution():
    things = (cap_tested(0.85), inverter(), module())
    table = existing_table(judge_existing(thing, PLACE) for thing in things)
    assert table["choice"].tolist() == ["use on the other board", "keep", "test first"]
    assert list(table.columns) == ["existing", "kind", "choice", "found", *CHOICES]
    assert "licensed person" in EXISTING_CAUTION
    assert all(entry.source for entry in existing_assumptions(things))
    assert existing_assumptions([]) == []


@pytest.mark.parametrize(
    ("place", "named"),
    [
        (Place(bank_voltage_v=0.0, essential=PLACE.essential, nonessential=PLACE.nonessential),
         "bank_voltage_v"),
        (Place(bank_voltage_v=48.0, essential=PLACE.essential,
               nonessential=BoardNeed(peak_w=-1.0, surge_va=0.0, daily_wh=0.0)),
               "nonessential.peak_w"),
        (Place(bank_voltage_v=48.0, nonessential=PLACE.nonessential,
               essential=BoardNeed(peak_w=1.0, surge_va=0.0, daily_wh=math.nan)),
         "essential.daily_wh"),
    ],
)  # fmt: skip
def test_bad_places_are_refused(place, named):
    with pytest.raises(InputError, match=named):
        judge_existing(cap_tested(1.0), place)


# --- the site file

GOOD = """
[[existing]]
kind = "battery"
label = "Old bank"
age_years = 4.0
count = 4
chemistry = "agm"
unit_voltage_v = 12.0
unit_capacity_ah = 200.0
rated_discharge_h = 10.0
"""


def site(folder, text):
    path = write_new_site("Existing", folder)
    path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")
    return path


def test_site_file_with_things_existing(tmp_path):
    (existing,) = read_site(site(tmp_path, GOOD)).site.existing
    assert existing.chemistry == "agm"
    assert judge_existing(existing, PLACE).choice == "test first"


def test_the_templates_examples_are_judged(tmp_path):
    text = (data_folder() / "templates" / "site.toml").read_text(encoding="utf-8")
    head, _, tail = text.partition("# [[existing]]")
    path = tmp_path / "all.toml"
    marked = ("# [[existing]]" + tail).replace("\n# ", "\n").removeprefix("# ")
    path.write_text(head.replace("@NAME@", "All") + marked, encoding="utf-8")
    things = read_site(path).site.existing
    assert {thing.kind for thing in things} == set(RATED)
    choices = [judge_existing(thing, PLACE).choice for thing in things if thing.kind in JUDGED]
    assert choices == ["use on the other board", "keep", "use on the other board"]


@pytest.mark.parametrize(
    ("old", "new", "where", "said"),
    [
        ("rated_discharge_h = 10.0\n", "", "existing[1].rated_discharge_h",
         "figure of its data sheet"),
        ('chemistry = "agm"\n', "", "existing[1].chemistry", "figure of its data sheet"),
        ("count = 4\n", "count = 4\npmax_w = 300.0\n", "existing[1].pmax_w", 'kind = "battery"'),
        ("count = 4\n", "count = 4\nmeasured_capacity_ah = 150.0\n",
         "existing[1].measured_discharge_h", "length of the test"),
        ("count = 4\n", "count = 4\nmeasured_resistance_ohm = 0.01\n",
         "existing[1].new_resistance_ohm", "new unit"),
        ("count = 4\n", "count = 0\n", "existing[1].count", "from 1 to 1000"),
        ("age_years = 4.0\n", "age_years = -1.0\n", "existing[1].age_years", "0 to 60"),
        ('kind = "battery"', 'kind = "kettle"', "existing[1].kind", "battery, inverter, module"),
        ("count = 4\n", "count = 4\ncolour = 1\n", "existing[1].colour", "no such key"),
    ],
)  # fmt: skip
def test_bad_existing_is_refused_by_field(tmp_path, old, new, where, said):
    assert old in GOOD
    with pytest.raises(InputError) as caught:
        read_site(site(tmp_path, GOOD.replace(old, new, 1)))
    (fault,) = caught.value.faults
    assert where in fault.where
    assert said in str(fault)


def test_a_module_test_needs_light_and_temperature(tmp_path):
    text = """
[[existing]]
kind = "module"
label = "Old modules"
age_years = 4.0
count = 4
pmax_w = 300.0
voc_v = 40.0
isc_a = 9.5
alpha_isc_pct_per_k = 0.05
beta_voc_pct_per_k = -0.3
gamma_pmax_pct_per_k = -0.4
cells_in_series = 60
measured_pmax_w = 250.0
"""
    with pytest.raises(InputError) as caught:
        read_site(site(tmp_path, text))
    assert [fault.where.split("existing[1].")[1].split(" ")[0]
            for fault in caught.value.faults] == [
        "measured_irradiance_w_m2", "measured_temp_c",
    ]  # fmt: skip


def test_a_label_stands_once(tmp_path):
    with pytest.raises(InputError, match="different label"):
        read_site(site(tmp_path, GOOD + GOOD.replace("Old bank", "OLD  bank")))


def test_existing_that_is_no_list_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"\[\[existing\]\]"):
        read_site(site(tmp_path, "\n[existing]\nkind = 1\n"))


THING = tomllib.loads(GOOD)["existing"][0]
BROKEN = (
    {"age_years": None}, {"age_years": -1.0}, {"chemistry": None}, {"chemistry": "tin"},
    {"unit_voltage_v": None}, {"unit_voltage_v": "12"}, {"unit_capacity_ah": 0.0},
    {"rated_discharge_h": None}, {"measured_capacity_ah": 150.0}, {"measured_discharge_h": -1.0},
    {"measured_resistance_ohm": 0.01}, {"pmax_w": 300.0}, {"colour": 1}, {"used": 9},
    {"used": -1}, {"tested_by": "A. Mechanic"}, {"tested_on": "yesterday"}, {"item": 3},
)  # fmt: skip
ALONE = ({"measured_discharge_h", "measured_capacity_ah"}, {"tested_by", "tested_on"})
"""Keys of which one mends the other's fault: not broken together."""


@given(broken=some.lists(some.lists(some.sampled_from(BROKEN), max_size=5,
                                    unique_by=lambda one: next(iter(one))), min_size=1, max_size=4))
def test_faults_of_several_things_are_told_all_at_once(broken):
    """A fault of a value kept the others of its table back until it was put right."""
    design = open_design("ridge-clinic", {"existing": []})
    keys = [{key for one in row for key in one} for row in broken]
    assume(not any(pair <= row for row in keys for pair in ALONE))

    def told(rows):
        things = [{key: value for key, value in {
            **THING, "label": f"Thing {number}",
            **{key: value for one in row for key, value in one.items()}}.items()
            if value is not None} for number, row in enumerate(rows)]  # fmt: skip
        try:
            with_changes(design.sitefile, {"existing": things})
        except InputError as error:
            return {(fault.where, fault.given) for fault in error.faults}
        return set()

    alone = [told([row if at == number else () for at in range(len(broken))])
             for number, row in enumerate(broken)]  # fmt: skip
    single = [told([[one] if at == number else () for at in range(len(broken))])
              for number, row in enumerate(broken) for one in row]
    assert told(broken) == set().union(*alone) == set().union(*single)
