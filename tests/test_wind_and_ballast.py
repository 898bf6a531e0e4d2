"""Wind on the array, ballast and feet: published sums, and what holds over random sites."""

from __future__ import annotations

import math
import re
import runpy
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.phrases import untranslated
from solarcalc.design import Design, open_design
from solarcalc.diagrams.fixing_plan import fixing_plans, held_words, quantities
from solarcalc.roof.rows import Rows
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.structure import Covering, Exposed, Skin, Structure, Terrain
from solarcalc.sitepack.modules import module_plan
from solarcalc.stages.array import own_hardware, own_places
from solarcalc.stages.structure import dead_load_of, structure_checks, structure_of
from solarcalc.structure.checks import array_on_roof
from solarcalc.structure.plan import StructurePlan, structure_plan
from solarcalc.structure.weight import (
    DeadLoad,
    Factors,
    factors_of,
    foot_uplift_kn,
    friction_of,
    held_down,
    mass_against,
)
from solarcalc.structure.wind import (
    GUST_PRESSURE_FACTOR,
    exposure_coefficient,
    gust_pressure_kpa,
    mean_wind,
    peak_pressure_kpa,
)
from solarcalc.structure.zones import ZONES, net_uplift, nominal_uplift, suction, zone_sizes
from solarcalc.views import structure

CASES = runpy.run_path(str(Path(__file__).with_name("installation_cases.py")))
PSF_KPA, FT_M, LB_KN, MPH_M_PER_S = 0.04788026, 0.3048, 0.004448222, 0.44704
TERRAINS, EXPOSURES = get_args(Terrain), get_args(Exposed)


# --- published figures


def cases(cases_of, quantity: str) -> list[dict[str, Any]]:
    return [case for case in cases_of("structure/wind.toml") if case["quantity"] == quantity]


@pytest.mark.published("structure/wind.toml")
def test_mean_wind_and_peak_pressure_of_printed_sheets(cases_of) -> None:
    for case in cases(cases_of, "mean-wind"):
        given_ = dict(case["inputs"])
        found = [mean_wind(height_m=height, **given_) for height in given_.pop("height_m")]
        allowed = case.get("tolerance", case["last_digit"] / 2.0)
        for name in ("terrain_factor", "roughness", "velocity_m_per_s", "turbulence", "peak_kpa"):
            if name in case:
                ours = [getattr(one, name) for one in found]
                assert ours == pytest.approx(case[name], abs=allowed), case["id"]


@pytest.mark.published("structure/wind.toml")
def test_a_grid_of_peak_pressures(cases_of) -> None:
    for case in cases(cases_of, "grid"):
        given_ = dict(case["inputs"])
        found = [mean_wind(basic, given_["terrain"], given_["height_m"]).peak_kpa
                 for basic in given_["basic_m_per_s"]]
        assert found == pytest.approx(case["figure"], abs=case["tolerance"])


@pytest.mark.published("structure/wind.toml")
def test_gust_pressures_of_asce_7(cases_of) -> None:
    for case in cases(cases_of, "gust"):
        given_ = case["inputs"]
        found = [
            gust_pressure_kpa(given_["gust_mph"] * MPH_M_PER_S, exposure, feet * FT_M) / PSF_KPA
            for exposure, feet in zip(given_["exposure"], given_["height_ft"], strict=True)
        ]
        assert found == pytest.approx(case["figure"], rel=case["tolerance_frac"])


@pytest.mark.published("structure/wind.toml")
def test_uplift_of_an_anchor_in_a_permit_file(cases_of) -> None:
    (case,) = cases(cases_of, "foot")
    one = case["inputs"]
    factors = Factors(wind=one["wind"], holds=1.0, slides=1.0, holds_foot=one["holds"])
    found_kn = foot_uplift_kn(one["uplift_psf"] * PSF_KPA, one["dead_psf"] * PSF_KPA,
                              one["area_ft2"] * FT_M**2, factors=factors)
    assert found_kn / LB_KN == pytest.approx(case["figure"], rel=case["tolerance_frac"])


@pytest.mark.published("structure/wind.toml")
def test_net_pressure_of_a_tilted_array_in_a_permit_file(cases_of) -> None:
    """The factors of the file around our own product: exposed 1.5, and 0.9 for our 1.2."""
    (case,) = cases(cases_of, "net")
    one, rows = case["inputs"], tilted_rows(slant_m=(case["inputs"]["chord"] - 0.6) / 0.2)
    structure = Structure(height_m=4.572)
    area_m2 = 2.0
    ours = net_uplift(structure, rows, "edge", area_m2)
    nominal = nominal_uplift(rows.lift_deg, "edge", 1000.0 * area_m2 / 4.572**2)
    found = ours / nominal * one["nominal"] * one["parapet"] / 1.2 * one["pressure_psf"]
    assert found == pytest.approx(case["figure"], rel=case["tolerance_frac"])


@pytest.mark.published("structure/wind.toml")
def test_ballast_of_one_module(cases_of) -> None:
    (case,) = cases(cases_of, "ballast")
    one = dict(case["inputs"])
    module_kg = one.pop("module_kg")
    uplift_kg, sliding_kg = mass_against(
        **one, slope_deg=0.0, factors=factors_of("EN 1991-1-4"))
    found = (uplift_kg, sliding_kg, max(uplift_kg, sliding_kg) - module_kg)
    wanted = (case["uplift_kg"], case["sliding_kg"], case["ballast_kg"])
    assert found == pytest.approx(wanted, rel=case["tolerance_rel"])


@pytest.mark.published("structure/wind.toml")
def test_one_gust_presses_alike_in_both_codes(cases_of) -> None:
    (case,) = cases(cases_of, "two-codes")
    assert float(GUST_PRESSURE_FACTOR) == pytest.approx(case["asce"], abs=case["tolerance"])
    still = mean_wind(1.0, "II", 10.0)
    pressure_pa = 1000.0 * still.peak_kpa / (1.0 + 7.0 * still.turbulence)
    assert pressure_pa / still.velocity_m_per_s**2 == pytest.approx(case["en"])


@pytest.mark.published("structure/wind.toml")
def test_a_module_with_its_rack_weighs_as_permit_files_say(cases_of) -> None:
    (case,) = cases(cases_of, "weights")
    kg_per_m2 = case["with_rack_psf"] * PSF_KPA * 1000.0 / 9.80665
    for name in demo_sites():
        own = own_hardware(open_design(name)).load_on_modules_kg_per_m2
        assert own == pytest.approx(kg_per_m2, rel=0.25)
        assert own < case["most_psf"] * PSF_KPA * 1000.0 / 9.80665


# --- what holds whatever the site is


def tilted_rows(*, slant_m: float = 1.0, tilt_deg: float = 15.0, slope_deg: float = 0.0) -> Rows:
    return Rows(orientation="landscape", slant_m=slant_m, along_m=1.7, gap_m=0.02, modules_high=1,
                tilt_deg=tilt_deg, azimuth_deg=180.0, roof_slope_deg=slope_deg,
                roof_azimuth_deg=180.0)


winds = some.floats(0.0, 80.0)
heights = some.floats(1.0, 100.0)
structures = some.builds(
    Structure, wind_code=some.just("EN 1991-1-4"), basic_wind_m_per_s=winds,
    terrain=some.sampled_from(TERRAINS), height_m=heights,
    building_long_m=some.one_of(some.none(), some.floats(5.0, 80.0)),
    held_by=some.sampled_from(["fixings", "ballast"]), skin=some.sampled_from(get_args(Skin)),
    pad=some.sampled_from(["rubber", "fleece", "aluminium-mat"]),
    block_mass_kg=some.floats(5.0, 50.0),
) | some.builds(
    Structure, wind_code=some.just("ASCE 7"), basic_wind_m_per_s=winds,
    exposure=some.sampled_from(EXPOSURES), height_m=heights,
    held_by=some.sampled_from(["fixings", "ballast"]),
)  # fmt: skip
SITES = sorted(demo_sites())


@cache
def own_of(name: str) -> Design:
    return open_design(name)


def plan_of(name: str, structure: Structure) -> StructurePlan:
    own = own_of(name)
    places, site = own_places(own), own.site
    assert places is not None
    plan = structure_plan(structure, places=places, roof=site.roof, module=site.module,
                          rails=site.rails)
    assert plan is not None
    return plan


@settings(deadline=None, max_examples=80)
@given(structure=structures, name=some.sampled_from(SITES))
def test_counts_add_up_and_corners_carry_the_most(structure: Structure, name: str) -> None:
    plan, own = plan_of(name, structure), own_of(name)
    zones = plan.zones
    assert sum(one.module_count for one in zones) == own.site.array.module_count
    assert sum(one.foot_count for one in zones) == own_hardware(own).foot_count
    assert sum(one.block_count for one in zones) == plan.block_count
    assert sum(plan.blocks_by_row.values()) == plan.block_count
    assert plan.ballast_kg == pytest.approx(plan.block_count * structure.block_mass_kg)
    for lower, higher in pairwise(zones):
        assert higher.uplift_kpa >= lower.uplift_kpa - 1e-12
        assert higher.foot_kn >= lower.foot_kn - 1e-9 or not higher.foot_count
    if plan.ballasted:
        assert plan.block_count >= own.site.array.module_count
        for one in plan.shares:
            mass_kg = one.dead_kg + one.block_count * structure.block_mass_kg / one.module_count
            assert mass_kg >= one.held.needed_kg - 1e-6
    else:
        assert plan.block_count == 0


@settings(deadline=None, max_examples=80)
@given(structure=structures, name=some.sampled_from(SITES), more=some.floats(1.0, 3.0),
       key=some.sampled_from(["basic_wind_m_per_s", "height_m", "terrain"]))
def test_more_wind_height_or_exposure_never_asks_for_less(
    structure: Structure, name: str, more: float, key: str
) -> None:
    if key == "terrain" and structure.wind_code == "ASCE 7":
        better, worse = ({"exposure": one} for one in ("B", "D"))
    elif key == "terrain":
        better, worse = {"terrain": "III"}, {"terrain": "I"}
    else:
        value = getattr(structure, key)
        better, worse = {key: value}, {key: value * more}
    little, much = (plan_of(name, structure.model_copy(update=one)) for one in (better, worse))
    assert much.pressure_kpa >= little.pressure_kpa - 1e-12
    assert much.block_count >= little.block_count
    assert much.worst_foot_kn >= little.worst_foot_kn - 1e-9


@given(structure=structures, name=some.sampled_from(SITES))
@settings(deadline=None, max_examples=20)
def test_without_wind_only_the_least_lies_there(structure: Structure, name: str) -> None:
    plan = plan_of(name, structure.model_copy(update={"basic_wind_m_per_s": 0.0}))
    modules = own_of(name).site.array.module_count
    assert plan.block_count == (modules if plan.ballasted else 0)
    assert plan.worst_foot_kn == 0.0


@given(low_m=heights, high_m=heights, basic=winds)
def test_pressure_grows_with_height_and_open_ground(
    low_m: float, high_m: float, basic: float
) -> None:
    low_m, high_m = sorted((low_m, high_m))
    for terrain in TERRAINS:
        assert (mean_wind(basic, terrain, low_m).peak_kpa
                <= mean_wind(basic, terrain, high_m).peak_kpa + 1e-12)
    by_terrain = [mean_wind(basic, terrain, low_m).peak_kpa for terrain in TERRAINS]
    assert by_terrain == sorted(by_terrain, reverse=True)
    by_exposure = [exposure_coefficient(one, low_m) for one in EXPOSURES]
    assert by_exposure == sorted(by_exposure)


@given(basic=winds, times=some.floats(1.0, 3.0))
def test_pressure_goes_by_the_square_of_the_velocity(basic: float, times: float) -> None:
    first, more = (mean_wind(one, "II", 8.0).peak_kpa for one in (basic, basic * times))
    assert more == pytest.approx(first * times**2, rel=1e-9)


@given(lift=some.floats(0.0, 35.0), slope=some.floats(0.0, 60.0), area=some.floats(0.1, 1e4))
def test_coefficients_fall_with_area_and_never_from_field_to_corner(
    lift: float, slope: float, area: float
) -> None:
    for of in (lambda zone, a: nominal_uplift(lift, zone, a),
               lambda zone, a: suction(slope, zone, a)):
        found = [of(zone, area) for zone in ZONES]
        assert found == sorted(found)
        assert all(of(zone, 2.0 * area) <= of(zone, area) + 1e-12 for zone in ZONES)


@given(uplift=some.floats(0.0, 20.0), lift=some.floats(0.0, 35.0), slope=some.floats(0.0, 15.0),
       friction=some.floats(0.1, 0.9))
def test_a_mass_that_is_found_holds_by_the_statics(
    uplift: float, lift: float, slope: float, friction: float
) -> None:
    """Forces and moments written out again: what is found holds just so, and a kilogram less not.
    """
    factors = factors_of("EN 1991-1-4")
    held = held_down(uplift, lift_deg=lift, slope_deg=slope, friction=friction, factors=factors)
    wind_n, tilt, roof = 1500.0 * uplift, math.radians(lift), math.radians(slope)
    if not math.isfinite(held.sliding_kg):
        assert friction * 0.9 * math.cos(roof) <= 1.1 * math.sin(roof)
    else:
        weight_n = held.sliding_kg * 9.80665
        grip_n = friction * (0.9 * weight_n * math.cos(roof) - wind_n * math.cos(tilt))
        pull_n = wind_n * math.sin(tilt) + 1.1 * weight_n * math.sin(roof)
        assert grip_n == pytest.approx(pull_n, rel=1e-6, abs=1e-6)
    weight_n = held.overturning_kg * 9.80665
    assert 0.9 * weight_n * math.cos(roof) * 0.5 * math.cos(tilt) == pytest.approx(
        0.75 * wind_n, rel=1e-6, abs=1e-6)
    assert held.needed_kg >= held.uplift_kg


@given(x=some.floats(-6.0, 6.0), y=some.floats(-4.0, 4.0), height=heights,
       tilt=some.sampled_from([0.0, 15.0]))
def test_zones_are_the_same_from_each_side(x: float, y: float, height: float, tilt: float) -> None:
    roof = own_of("plateau-school").site.roof.model_copy(update={"length_m": 12.0, "depth_m": 8.0})
    sizes = zone_sizes(Structure(height_m=height), tilted_rows(tilt_deg=tilt))
    found = {sizes.of(np.array([[dx * x, dy * y]]), roof) for dx in (1, -1) for dy in (1, -1)}
    assert len(found) == 1
    assert sizes.of(np.array([[6.0, 4.0]]), roof) == "corner"


# --- a site


def test_no_wind_velocity_is_not_assessed_and_says_what_is_usual() -> None:
    own = own_of("ridge-clinic").changed({"structure": {"held_by": "ballast"}})
    blank = own.site.structure.model_copy(update={"basic_wind_m_per_s": None})
    assert peak_pressure_kpa(blank) is None
    site = own.site.model_copy(update={"structure": blank})
    bare = replace(own, sitefile=replace(own.sitefile, site=site), kept={})
    assert structure_of(bare) is None
    (check,) = structure_checks(bare, None)
    assert check.outcome == "not assessed"
    assert "20 to 30 m/s" in check.clause
    assert "wind map" in check.remedy


@pytest.mark.parametrize(("changes", "where", "words"), [
    ({"terrain": "V"}, "structure.terrain", "one of 0, I, II, III, IV"),
    ({"basic_wind_m_per_s": -1.0}, "structure.basic_wind_m_per_s", "0 to 120 m/s"),
    ({"wind_code": "ASCE 7", "terrain": "I"}, "structure.terrain", "never mixed"),
    ({"wind_code": "EN 1991-1-4", "exposure": "D"}, "structure.exposure", "never mixed"),
    ({"building_long_m": 5.0, "building_short_m": 8.0}, "structure.building_short_m",
     "longest side"),
])  # fmt: skip
def test_bad_input_names_file_field_value_and_what_is_allowed(
    changes: dict[str, Any], where: str, words: str
) -> None:
    plain = read_site(Path(__file__).parent / "frozen" / "ridge-clinic.toml")
    with pytest.raises(InputError) as caught:
        with_changes(plain, {"structure": changes})
    (fault,) = caught.value.faults
    assert where in fault.where
    assert words in f"{fault.allowed} {fault.why}"


def outcomes(own: Design) -> dict[str, str]:
    found = structure_checks(own, structure_of(own))
    return {check.rule.partition("/")[2]: check.outcome for check in found}


FLAT = {"wind_code": "EN 1991-1-4", "basic_wind_m_per_s": 24.0, "height_m": 4.0, "skin": "EPDM"}


@pytest.mark.parametrize(("structure", "rule", "outcome"), [
    ({"held_by": "ballast", "covering": "concrete"}, "ballast-on-covering", "passed"),
    ({"held_by": "ballast", "covering": "sheet"}, "ballast-on-covering", "failed"),
    ({"held_by": "ballast", "covering": "concrete"}, "ballast-slides", "passed"),
    ({"held_by": "ballast", "covering": "concrete"}, "friction-unmeasured", "review"),
    ({"held_by": "ballast", "friction_coefficient": 0.05}, "ballast-slides", "failed"),
    ({"held_by": "fixings", "fixing_uplift_kn": 0.1}, "fixing-uplift", "failed"),
    ({"held_by": "fixings", "fixing_uplift_kn": 90.0}, "fixing-uplift", "passed"),
])  # fmt: skip
def test_what_holds_on_which_roof(structure: dict[str, Any], rule: str, outcome: str) -> None:
    own = own_of("plateau-school").changed({"structure": FLAT | structure})
    assert outcomes(own)[rule] == outcome


@settings(deadline=None, max_examples=40)
@given(structure=structures, name=some.sampled_from(SITES), area_m2=some.floats(5.0, 500.0),
       signed=some.sampled_from(["", "A. Engineer, 2027-01-10"]))
def test_ballast_beyond_what_roofs_carry_is_told_until_somebody_has_signed(
    structure: Structure, name: str, area_m2: float, signed: str
) -> None:
    """A roof in the wind of the coast was to carry 82 t, 6.6 kN/m2, and no line said so."""
    plan = plan_of(name, structure)
    dead = DeadLoad(mass_kg=plan.ballast_kg + sum(
        one.dead_kg * one.module_count for one in plan.shares), area_m2=area_m2)
    found = [one for one in array_on_roof(plan, dead, confirmed_by=signed)
             if one.rule == "structure/ballast-heavy"]
    assert len(found) == plan.ballasted
    for one in found:
        heavy = dead.mass_kg * 9.80665 / 1000.0 / area_m2 > 1.0
        assert one.outcome == ("review" if heavy and not signed else "passed")
        assert one.kind == "safety"


def test_it_stays_preliminary_until_a_named_person_has_signed() -> None:
    own = own_of("plateau-school").changed({"structure": FLAT | {"held_by": "ballast"}})
    plan = structure_of(own)
    *_, signed = structure_checks(own, plan)
    assert signed.outcome == "passed"
    left = own.site.status.model_copy(update={
        "signed": [one for one in own.site.status.signed if one.what != "H2"]})
    site = own.site.model_copy(update={"status": left})
    *_, open_ = structure_checks(replace(own, sitefile=replace(own.sitefile, site=site), kept={}),
                                 plan)
    assert open_.outcome == "review"
    assert open_.found.startswith("PRELIMINARY")
    assert open_.kind == "safety"


changes_of_site = some.fixed_dictionaries({"structure": some.fixed_dictionaries({
    "basic_wind_m_per_s": some.floats(0.0, 40.0),
    "held_by": some.sampled_from(["fixings", "ballast"]),
    "covering": some.sampled_from([None, *get_args(Covering)]),
    "block_mass_kg": some.sampled_from([12.0, 20.0]),
})})  # fmt: skip


@settings(deadline=None, max_examples=12)
@given(changes=changes_of_site, name=some.sampled_from(["plateau-school", "ridge-clinic"]))
def test_parts_weigh_what_the_checks_say_and_are_bought_and_placed(
    changes: dict[str, Any], name: str
) -> None:
    site: Site = own_of(name).changed(changes).site
    built = CASES["installed"](site)
    plan, hardware = built.planes[0].structure, built.planes[0].hardware
    own = own_of(name).changed(changes)
    assert built.roof_mass_kg == pytest.approx(dead_load_of(own, plan).mass_kg)
    parts = {part.key: part for part in built.parts}
    if plan.ballasted:
        assert parts["ballast-block"].count == plan.block_count
        assert parts["ballast-foot"].count == hardware.foot_count
        assert "roof-foot" not in parts
    else:
        assert "ballast-block" not in parts
        assert parts["roof-foot"].count == hardware.foot_count


def test_friction_is_measured_or_has_its_source() -> None:
    assert friction_of(Structure(friction_coefficient=0.33)) == (0.33, "measured on the roof")
    assert friction_of(Structure(skin="PVC", pad="fleece"))[0] == 0.2
    assert "no source" in friction_of(Structure())[1]


@settings(deadline=None, max_examples=15)
@given(wind=some.floats(0.0, 40.0), height=some.floats(2.0, 12.0))
def test_the_fixing_plan_says_every_block_and_who_has_assessed_it(
    wind: float, height: float
) -> None:
    own = own_of("plateau-school").changed({"structure": FLAT | {
        "held_by": "ballast", "basic_wind_m_per_s": wind, "height_m": height}})
    plan, held = module_plan(own), structure_of(own)
    assert plan is not None
    assert held is not None
    mark, *words = held_words(plan, held)
    assert "assessed: Invented Engineer" in mark
    said = 0
    for line in words:
        found = re.match(r"Rows? (\d+)(?:–(\d+))?, blocks", line)
        if found:
            rows = 1 + int(found[2] or found[1]) - int(found[1])
            said += rows * sum(map(int, re.findall(r"(?:interior|edge|corner) (\d+)", line)))
    assert said == held.block_count
    (drawn, *_) = fixing_plans(plan, own_hardware(own), held)
    assert f"{held.block_count} ballast blocks" in drawn[0]


@pytest.mark.parametrize("name", SITES)
@pytest.mark.parametrize("held_by", ["fixings", "ballast"])
@pytest.mark.parametrize("wind", [None, 20.0])
def test_a_crew_is_told_to_fix_into_the_roof_only_where_fixings_hold(
    name: str, held_by: str, wind: float | None
) -> None:
    """The plan of a ballasted roof said "Fix into the structure ... seal", its legend fixings."""
    given = {} if wind is None else {"basic_wind_m_per_s": wind}
    own = own_of(name).changed({"structure": {"held_by": held_by, **given}}).planes[0]
    plan, held = module_plan(own), structure_of(own)
    assert plan is not None
    for words in (*quantities(plan, own_hardware(own), held), *held_words(plan, held)):
        assert set(untranslated(words, "fr")) <= {"Invented Engineer"}
    for drawn, said in fixing_plans(plan, own_hardware(own), held):
        for words in ("Fix into the structure", ">roof fixing<", "pull test:"):
            assert (words in drawn) == (held_by == "fixings"), words
        for words in ("Nothing is screwed into this roof", ">foot on its pad<", "feet on pads"):
            assert (words in drawn) == (held_by == "ballast"), words
        assert ("feet on pads hold" in said) == (held_by == "ballast")


def test_zones_and_words_of_a_site_are_those_of_its_plan() -> None:
    own = own_of("cove-cannery")
    *zones, whole = structure.zone_rows(own)
    for key in ("modules", "feet"):
        assert sum(int(row[key]) for row in zones) == int(whole[key])
    assert "PRELIMINARY" in structure.structure_words(own)
    assert "purlins" in structure.structure_words(own)
