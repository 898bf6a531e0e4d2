"""Snow by month: the model's worked cases, what more of it does, where nobody gave any."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.energy.year import uncertainties_of
from solarcalc.followup.expected import expected_power_w
from solarcalc.sitefile.snow import Snow
from solarcalc.sky import plane_light
from solarcalc.snow import (
    SnowYear,
    Table,
    albedo_by_month,
    assumed_snowfall_cm,
    by_hour,
    snow_loss_frac,
    snow_year_of,
)
from solarcalc.stages.array import array_kwh_per_kwp, standing
from solarcalc.stages.snow import albedo_of, snow_loss_of, snow_of
from solarcalc.views import arrays_tried
from solarcalc.views.yields import loss_table, weather_inputs
from solarcalc.weather.files import winter_of

plain_file = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))["plain_file"]
CLINIC = plain_file("ridge-clinic")
"""A demo site as before anything was asked for: nobody gave its snow."""
SITES = runpy.run_path(str(Path(__file__).with_name("site_files.py")))
NONE = [0.0] * 12
WINTER = [20.0, 18.0, 9.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 3.0, 12.0]


@pytest.mark.published("snow/months.toml")
def test_published_months(case):
    given_, tolerance = case["inputs"], 0.5 * case["last_digit"]
    if case["quantity"] == "loss":
        year = SnowYear(
            fall_cm=tuple(given_["snow_total_cm"]), events=tuple(given_["events"]),
            humidity_pct=tuple(given_["rh_pct"]), air_c=tuple(given_["temp_C"]), assumed=False,
        )  # fmt: skip
        table = Table(tilt_deg=given_["tilt_deg"], slant_m=given_["slant_m"],
                      lower_edge_m=given_["lower_edge_m"], several=given_["string_factor"] < 1.0)
        found = 100.0 * np.array(snow_loss_frac(year, table, given_["poa_kWh_m2"]))
        assert found == pytest.approx(case["figure"], abs=tolerance)
    elif case["quantity"] == "albedo":
        for days, wanted in zip(given_["snow_days"], case["figure"], strict=True):
            months = albedo_by_month(given_["ground"], given_["snow"], [*NONE[:3], days, *NONE[4:]])
            assert months[3] == pytest.approx(wanted, abs=tolerance)  # April has 30 days
            assert months[0] == given_["ground"]
    else:
        _ground_light(given_, case["figure"], tolerance)


def _ground_light(given_, figure, tolerance):
    """Two hours of light, in January with snow on all days and in July without."""
    index = pd.DatetimeIndex(["2001-01-10 12:00", "2001-07-10 12:00"], tz="UTC")
    hours = pd.DataFrame({"ghi": given_["ghi"], "dni": 0.0, "dhi": given_["ghi"]}, index=index)
    sun = pd.DataFrame({"apparent_zenith_deg": 40.0, "azimuth_deg": 180.0}, index=index)
    albedo = by_hour(albedo_by_month(given_["grass"], given_["snow"], [31.0, *NONE[1:]]), index)
    for at, tilt_deg in enumerate(given_["tilt_deg"]):
        ground = plane_light(hours, sun, tilt_deg=tilt_deg, azimuth_deg=180.0,
                             albedo_frac=albedo)["ground"]
        assert ground.iloc[0] == pytest.approx(figure["over_snow"][at], abs=tolerance)
        assert ground.iloc[1] == pytest.approx(figure["over_grass"][at], abs=tolerance)


def test_snow_of_a_month_and_of_the_one_before_by_hand():
    # O01, O02: S/2 (1 + 1/N) of the month is 19.05, 19.05, 12.7, 0 ... 9.525, 16.93 cm; a third
    # of the month before counts. Under so narrow a table high up nothing else differs by month.
    fall = (25.4, 25.4, 12.7, 2.54, *NONE[:6], 12.7, 25.4)
    held = np.array([19.05, 19.05, 12.7, 0.0, *NONE[:6], 9.525, 16.933333333])
    year = SnowYear(fall_cm=fall, events=(2.0, 2.0, 1.0, 0.0, *NONE[:6], 2.0, 3.0), assumed=False,
                    humidity_pct=(80.0,) * 12, air_c=(0.0,) * 12)
    table = Table(tilt_deg=20.0, slant_m=0.001, lower_edge_m=20.0, several=False)
    loss = np.array(snow_loss_frac(year, table, [350.0] * 12))
    weighed = (np.roll(held, 1) + 2.0 * held) / 3.0
    assert loss / loss[0] == pytest.approx(weighed / weighed[0], abs=1e-6)


def test_albedo_that_nobody_gave_is_of_the_tables():
    # O13: pvlib.albedo.SURFACE_ALBEDOS; O16: Aguiar and Page 1999, Oke 1987, second-hand: lawn
    # 0.18 to 0.23, old snow 0.4 to 0.7
    design, table = open_design(CLINIC), pvlib.albedo.SURFACE_ALBEDOS
    assert Snow().albedo_frac == table["snow"] == 0.65
    assert design.site.roof.albedo_frac == table["grass"] == 0.2
    assert 0.4 <= Snow().albedo_frac <= 0.7
    assert 0.18 <= design.site.roof.albedo_frac <= 0.23


@settings(max_examples=80, deadline=None)
@given(
    fall=st.lists(st.floats(0.0, 200.0), min_size=12, max_size=12), more=st.floats(0.0, 100.0),
    month=st.integers(0, 11), tilt=st.floats(0.0, 80.0), edge=st.floats(0.0, 3.0),
    light=st.floats(0.0, 250.0), air=st.floats(-30.0, 10.0),
)
def test_more_snow_never_takes_less(fall, more, month, tilt, edge, light, air):
    table = Table(tilt_deg=tilt, slant_m=2.0, lower_edge_m=edge, several=False)

    def lost(cm):
        year = SnowYear(fall_cm=tuple(cm), events=tuple(one / 9.0 for one in cm), assumed=False,
                        humidity_pct=(80.0,) * 12, air_c=(air,) * 12)
        return np.array(snow_loss_frac(year, table, [light] * 12))

    few = lost(fall)
    much = lost([cm + more * (at == month) for at, cm in enumerate(fall)])
    assert ((few >= 0.0) & (few <= 1.0)).all()
    assert (much >= few - 1e-12).all()
    assert not lost(NONE).any()
    assert (lost(fall) >= np.array(snow_loss_frac(
        SnowYear(fall_cm=tuple(fall), events=tuple(cm / 9.0 for cm in fall), assumed=False,
                 humidity_pct=(80.0,) * 12, air_c=(air,) * 12),
        replace(table, several=True), [light] * 12))).all()  # fmt: skip


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(site=SITES["sites"](), tilt=st.floats(0.0, 80.0), air=st.floats(-20.0, 20.0))
def test_snow_of_random_sites_takes_a_share_and_only_near_where_it_falls(site, tilt, air):
    index = pd.date_range("2001-01-01", periods=8760, freq="h", tz="UTC")
    year = snow_year_of(site.snow, pd.DataFrame({"temp_air": air}, index=index))
    table = Table(tilt_deg=tilt, slant_m=2.0, lower_edge_m=site.snow.lower_edge_m, several=False)
    loss = np.array(snow_loss_frac(year, table, [80.0] * 12))
    fall = np.array(year.fall_cm)
    assert ((loss >= 0.0) & (loss <= 1.0)).all()
    assert not loss[(fall + np.roll(fall, 1)) == 0.0].any()
    if site.snow.snowfall_cm is None and air > 1.0:
        assert not loss.any()


def test_none_said_is_today_s_energy_and_more_gives_less():
    clinic = {key: open_design(CLINIC, {"snow": {"snowfall_cm": [x * key for x in WINTER]}})
              for key in (0.0, 1.0, 2.0)}  # fmt: skip
    names = {key: [step.name for step in one.energy.steps] for key, one in clinic.items()}
    assert "Snow on the modules" not in names[0.0]
    assert "Snow on the modules" in names[1.0]
    dry = [step.yield_kwh_per_kwp for step in clinic[0.0].energy.steps]
    before = names[1.0].index("Snow on the modules")
    snowy = [step.yield_kwh_per_kwp for step in clinic[1.0].energy.steps]
    assert snowy[:before] == dry[:before]
    kwh = [one.energy.ac_kwh for one in clinic.values()]
    assert kwh[0] > kwh[1] > kwh[2]
    by_month = clinic[1.0].energy.by_month()["dc_kwh"] / clinic[0.0].energy.by_month()["dc_kwh"]
    assert by_month.loc[5:10].tolist() == pytest.approx([1.0] * 6)
    assert by_month.loc[1] < 0.97


@pytest.mark.parametrize("name", ["coral-pharmacy", "plateau-school"])
def test_where_it_never_freezes_nothing_is_said_or_lost(name):
    warm = open_design(name)
    assert not snow_of(warm).falls
    assert set(albedo_of(warm)) == {warm.site.roof.albedo_frac}
    assert "Snow on the modules" not in [step.name for step in warm.energy.steps]
    assert not any("now" in check.rule for check in warm.energy_checks)


def test_where_it_freezes_and_nobody_said_it_is_told():
    cold = open_design(CLINIC)
    (said,) = [check for check in cold.energy_checks if check.rule == "stages/snowfall"]
    assert (said.outcome, said.evidence, said.kind) == ("review", "assumed", "data")
    assert "assumed" in said.found
    table = {str(row["step"]): row["loss [%]"] for row in loss_table(cold)}
    assert f"snow loss {table['Snow on the modules']:.1f} % of the year" in said.found
    steps = {step.name: step.yield_kwh_per_kwp for step in cold.energy.steps}
    lost = 1.0 - steps["Snow on the modules"] / steps["Partial-shading mismatch"]
    (row,) = [one for one in uncertainties_of(cold.energy) if "snow" in one.name]
    assert row.sigma_frac == pytest.approx(0.5 * lost)
    given_ = cold.changed({"snow": {"snowfall_cm": WINTER}})
    (said,) = [check for check in given_.energy_checks if check.rule == "stages/snowfall"]
    assert said.outcome == "passed"


def test_snow_of_the_other_half_of_the_earth_is_doubted():
    turned = open_design(CLINIC, {"snow": {"snowfall_cm": WINTER[6:] + WINTER[:6]}})
    (said,) = [c for c in turned.energy_checks if c.rule == "stages/snow-in-warm-months"]
    assert "Jun, Jul, Aug" in said.found


def test_assumed_snowfall_by_hand():
    # January: half of the hours at -1 degC, 40 mm of rain: 0.5 x 40 mm x 10 = 20 cm. November:
    # 30 of 720 hours cold, 63.6 mm: 2.65 cm, an event; December 30 of 744 with 40 mm: 1.6, none.
    index = pd.date_range("2001-01-01", periods=8760, freq="h", tz="UTC")
    air = pd.Series(8.0, index=index)
    air.iloc[:372] = -1.0
    air.loc["2001-11-01 00:00":"2001-11-02 05:00"] = 0.5
    air.loc["2001-12-01 00:00":"2001-12-02 05:00"] = 0.5
    rain = pd.Series(0.0, index=index)
    rain.loc["2001-01-31 10:00"] = rain.loc["2001-12-05 10:00"] = 40.0
    rain.loc["2001-11-05 10:00"] = 63.6
    fall = assumed_snowfall_cm(pd.DataFrame({"temp_air": air, "precipitation": rain}))
    assert fall == pytest.approx((20.0, *NONE[:9], 2.65, 0.0))
    unknown = assumed_snowfall_cm(pd.DataFrame({"temp_air": air}))
    assert unknown[0] == pytest.approx(0.5 * 60.0)
    assert assumed_snowfall_cm(pd.DataFrame({"temp_air": air + 5.0})) == tuple(NONE)


@pytest.mark.parametrize(("stem", "published_in"), [
    ("cove-cannery", 52.0),  # Sand Point: Alaska's list of communities, quoted by vfcm.org
    ("ridge-clinic", 7.5),  # Greensboro: yearly normal; the weather service, wfdd.org: about 7
])  # fmt: skip
def test_assumed_snowfall_beside_that_of_the_place(stem, published_in):
    fall_cm = sum(snow_of(open_design(plain_file(stem))).fall_cm)
    assert 0.67 < fall_cm / (2.54 * published_in) < 1.5


def test_a_gauge_that_stands_still_in_frost_leaves_the_snow_out(clear_site, shared_weather):
    # Denver, 57.1 in a year from 1882 to 2015 (National Weather Service, Boulder): its file has
    # no water in most of the cold months, and the assumption can be no better. The remedy says so.
    path = shared_weather("725650_Denver.tmy3.csv")
    fall = assumed_snowfall_cm(clear_site(39.833, -104.65, 1650.0, -7.0).read_path(path).hours)
    assert 0.0 < sum(fall) < 0.2 * 2.54 * 57.1
    cold = open_design(CLINIC)
    (said,) = [check for check in cold.energy_checks if check.rule == "stages/snowfall"]
    assert "gauge" in said.remedy


@pytest.mark.parametrize(("stem", "most"), [("cove-cannery", 0.093), ("ridge-clinic", 0.03)])
def test_what_snow_takes_lies_within_published_years(stem, most):
    # O17, Energies 14(6) 1574: up to 9.3 % of the year in moderate climates, 3 % in mild ones
    for design in (open_design(stem), open_design(plain_file(stem))):
        steps = {step.name: step.yield_kwh_per_kwp for step in design.energy.steps}
        names = list(steps)
        before = names[names.index("Snow on the modules") - 1]
        assert 0.0 < 1.0 - steps["Snow on the modules"] / steps[before] <= most


@pytest.mark.parametrize("stem", sorted(demo_sites()))
def test_snow_of_the_demo_sites_is_given_where_it_freezes(stem):
    design = open_design(stem)
    for check in design.energy_checks:
        assert not check.rule.startswith("stages/snow") or check.outcome == "passed"
    snow, air = design.site.snow, design.weather.hours["temp_air"]
    assert (snow.snowfall_cm is not None) == (air.min() <= 0.0)


def test_snow_before_steep_modules_gives_light():
    days = [31.0, 28.0, *NONE[2:]]
    steep = {"array": {"tilt_deg": 60.0}}
    bare, white = (open_design(CLINIC, {**steep, "snow": {"snowfall_cm": NONE, **more}})
                   for more in ({}, {"ground_days": days}))
    light = [one.energy.by_month()["plane_kwh_m2"] for one in (bare, white)]
    assert (light[1] > light[0]).tolist() == [True] * 2 + [False] * 10
    assert white.energy.ac_kwh > bare.energy.ac_kwh


@pytest.mark.slow
@pytest.mark.parametrize("more", [{}, {"ground_days": [20.0, 10.0, *NONE[2:]]}])
def test_the_search_holds_to_it(more):
    site = open_design(CLINIC, {"snow": {
        "snowfall_cm": [3.0 * cm for cm in WINTER], "lower_edge_m": 0.6, **more}})
    axes = arrays_tried.Axes(tilts_deg=(20.0, 45.0), pitches_slants=(2.0,), modules_high=(1, 2))
    field = arrays_tried.swept_roof(site, axes)
    lines = field[(field["plan"] == "cleaned as planned") & (field["modules"] > 0)]
    assert len(lines) >= 6
    for _, line in lines.iterrows():
        up = int(line["modules_high"])
        rows = standing(site.changed({"array": {"modules_high": up}}), line["orientation"]).rows
        rows = replace(rows, tilt_deg=line["tilt_deg"])
        wanted = array_kwh_per_kwp(site, rows, pitch_m=line["pitch_m"], row_count=int(line["rows"]))
        # One factor a year by the light of the months: heat and shade differ by month.
        assert line["kwh_per_kwp"] == pytest.approx(wanted, rel=0.006)


def test_lying_snow_and_humidity_of_a_file():
    days = pd.Series(pd.date_range("2001-01-01", periods=8760, freq="h").normalize())
    depth, wet = pd.Series(0.0, index=days.index), pd.Series(70.0, index=days.index)
    assert winter_of(days, wet, depth).ground_days is None  # nought all year: not recorded
    depth.iloc[24:72], wet.iloc[:10] = 5.0, 999.0
    found = winter_of(days, wet, depth)
    assert found.ground_days == (2.0, *NONE[1:])
    assert found.humidity_pct == pytest.approx((70.0,) * 12)
    assert winter_of(days, wet * 0.0).humidity_pct is None


@pytest.mark.parametrize(("keys", "words"), [
    ({"events": [1.0] * 12}, "snow.events"),
    ({"snowfall_cm": WINTER, "events": [9.0, *NONE[1:]]}, "Jan 9 with 20 cm"),
    ({"snowfall_cm": WINTER, "events": NONE}, "Jan 0 with 20 cm"),
    ({"ground_days": [0.0, 30.0, *NONE[2:]]}, "Feb 30"),
    ({"snowfall_cm": [-1.0, *NONE[1:]]}, "each from 0 to 1000"),
    ({"snowfall_cm": [1.0]}, "snow.snowfall_cm"),
])  # fmt: skip
def test_snow_that_contradicts_itself_is_refused(keys, words):
    with pytest.raises(InputError) as caught:
        open_design(CLINIC, {"snow": keys})
    assert words in str(caught.value)


def test_a_site_file_may_leave_all_of_it_out():
    assert Snow().snowfall_cm is None


def test_the_year_s_table_and_the_search_tell_of_snow():
    lines = {}
    for site in (open_design("ridge-clinic"), open_design(CLINIC), open_design("coral-pharmacy")):
        (row,) = [row for row in weather_inputs(site) if "snow" in str(row.values()).lower()]
        lines[" ".join(str(one) for one in row.values())] = snow_of(site)
    given_, assumed, none = lines
    assert "18.5" in given_
    assert "assumed" in assumed
    assert "none" in none
    planes = pd.DataFrame({"tilt_deg": [30.0], "azimuth_deg": [180.0], "kwh_per_kwp": [1000.0]})
    said = {stem: arrays_tried.planes_sentence(open_design(stem), planes)
            for stem in ("ridge-clinic", "coral-pharmacy")}  # fmt: skip
    assert "one factor a year for each tilt and azimuth" in said["ridge-clinic"]
    assert "now" not in said["coral-pharmacy"]


def test_power_expected_of_a_record_knows_the_snow_of_its_month():
    """A noon of January and of July, 800 W/m2 each: less by the month's snow, and nothing.

    The cables lose less of less: that gives back under a fiftieth of what the snow takes.
    """
    own = open_design(CLINIC, {"snow": {"snowfall_cm": NONE}})
    snowy = own.changed({"snow": {"snowfall_cm": WINTER}})
    index = pd.DatetimeIndex(["2023-01-10 12:00", "2023-01-10 13:00"], tz="Etc/GMT-1")
    for start, month in ((index, 0), (index + pd.Timedelta(days=181), 6)):
        table = pd.DataFrame({"irradiance_w_m2": 800.0, "air_temp_c": 5.0}, index=start)
        bare, under = (expected_power_w(design, table).to_numpy() for design in (own, snowy))
        left = 1.0 - snow_loss_of(snowy, snowy.array.rows)[month]
        assert (under >= bare * left - 1e-6).all()
        assert (under <= bare * (left + 0.02 * (1.0 - left)) + 1e-6).all()
        assert (left < 0.95) == (month == 0)


def test_rain_that_is_not_used_says_why():
    for name, why in (("cove-cannery", "it is given for 9 % of the hours only"),
                      ("coral-pharmacy", "it is not in the file")):
        (row,) = [row for row in weather_inputs(open_design(name)) if row["Quantity"] == "Rain"]
        assert row["Value"] == f"not used: {why}"
