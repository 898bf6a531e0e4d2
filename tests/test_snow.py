"""Snow by month: the model's worked cases, what more of it does, where nobody gave any."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
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
)
from solarcalc.stages.array import array_kwh_per_kwp, standing
from solarcalc.stages.snow import albedo_of, snow_loss_of, snow_of
from solarcalc.views import arrays_tried
from solarcalc.weather.files import winter_of

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


def test_none_said_is_today_s_energy_and_more_gives_less():
    clinic = {key: open_design("ridge-clinic", {"snow": {"snowfall_cm": [x * key for x in WINTER]}})
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
    cold = open_design("ridge-clinic")
    (said,) = [check for check in cold.energy_checks if check.rule == "stages/snowfall"]
    assert (said.outcome, said.evidence, said.kind) == ("review", "assumed", "data")
    assert "assumed" in said.found
    steps = {step.name: step.yield_kwh_per_kwp for step in cold.energy.steps}
    lost = 1.0 - steps["Snow on the modules"] / steps["Partial-shading mismatch"]
    (row,) = [one for one in uncertainties_of(cold.energy) if "snow" in one.name]
    assert row.sigma_frac == pytest.approx(0.5 * lost)
    given_ = cold.changed({"snow": {"snowfall_cm": WINTER}})
    (said,) = [check for check in given_.energy_checks if check.rule == "stages/snowfall"]
    assert said.outcome == "passed"


def test_snow_of_the_other_half_of_the_earth_is_doubted():
    turned = open_design("ridge-clinic", {"snow": {"snowfall_cm": WINTER[6:] + WINTER[:6]}})
    (said,) = [c for c in turned.energy_checks if c.rule == "stages/snow-in-warm-months"]
    assert "Jun, Jul, Aug" in said.found


def test_assumed_snowfall_by_hand():
    # January: half of the hours at -1 degC, 40 mm of rain: 0.5 x 40 x 13 / 10 = 26 cm. November:
    # 30 of 720 hours cold, 48 mm: 2.6 cm, an event; December the same with 40 mm: 2.1, none.
    index = pd.date_range("2001-01-01", periods=8760, freq="h", tz="UTC")
    air = pd.Series(8.0, index=index)
    air.iloc[:372] = -1.0
    air.loc["2001-11-01 00:00":"2001-11-02 05:00"] = 0.5
    air.loc["2001-12-01 00:00":"2001-12-02 05:00"] = 0.5
    rain = pd.Series(0.0, index=index)
    rain.loc["2001-01-31 10:00"] = rain.loc["2001-12-05 10:00"] = 40.0
    rain.loc["2001-11-05 10:00"] = 48.0
    fall = assumed_snowfall_cm(pd.DataFrame({"temp_air": air, "precipitation": rain}))
    assert fall == pytest.approx((26.0, *NONE[:9], 2.6, 0.0))
    unknown = assumed_snowfall_cm(pd.DataFrame({"temp_air": air}))
    assert unknown[0] == pytest.approx(0.5 * 60.0 * 1.3)
    assert assumed_snowfall_cm(pd.DataFrame({"temp_air": air + 5.0})) == tuple(NONE)


def test_snow_before_steep_modules_gives_light():
    days = [31.0, 28.0, *NONE[2:]]
    steep = {"array": {"tilt_deg": 60.0}}
    bare, white = (open_design("ridge-clinic", {**steep, "snow": {"snowfall_cm": NONE, **more}})
                   for more in ({}, {"ground_days": days}))
    light = [one.energy.by_month()["plane_kwh_m2"] for one in (bare, white)]
    assert (light[1] > light[0]).tolist() == [True] * 2 + [False] * 10
    assert white.energy.ac_kwh > bare.energy.ac_kwh


@pytest.mark.parametrize("more", [{}, {"ground_days": [20.0, 10.0, *NONE[2:]]}])
def test_the_search_holds_to_it(more):
    site = open_design("ridge-clinic", {"snow": {
        "snowfall_cm": [3.0 * cm for cm in WINTER], "lower_edge_m": 0.6, **more}})
    axes = arrays_tried.Axes(tilts_deg=(20.0, 45.0), pitches_slants=(2.0,), modules_high=(1, 2))
    field = arrays_tried.swept_roof(site, axes)
    lines = field[(field["plan"] == "washed as planned") & (field["modules"] > 0)]
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
        open_design("ridge-clinic", {"snow": keys})
    assert words in str(caught.value)


def test_a_site_file_may_leave_all_of_it_out():
    assert Snow().snowfall_cm is None


def test_power_expected_of_a_record_knows_the_snow_of_its_month():
    """A noon of January and of July, 800 W/m2 each: less by the month's snow, and nothing.

    The cables lose less of less: that gives back under a fiftieth of what the snow takes.
    """
    own = open_design("ridge-clinic", {"snow": {"snowfall_cm": NONE}})
    snowy = own.changed({"snow": {"snowfall_cm": WINTER}})
    index = pd.DatetimeIndex(["2023-01-10 12:00", "2023-01-10 13:00"], tz="Etc/GMT-1")
    for start, month in ((index, 0), (index + pd.Timedelta(days=181), 6)):
        table = pd.DataFrame({"irradiance_w_m2": 800.0, "air_temp_c": 5.0}, index=start)
        bare, under = (expected_power_w(design, table).to_numpy() for design in (own, snowy))
        left = 1.0 - snow_loss_of(snowy, snowy.array.rows)[month]
        assert (under >= bare * left - 1e-6).all()
        assert (under <= bare * (left + 0.02 * (1.0 - left)) + 1e-6).all()
        assert (left < 0.95) == (month == 0)
