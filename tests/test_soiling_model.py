"""Dust out of the air and dust by season: published figures, the closed form, sums by hand."""

from __future__ import annotations

import math
from pathlib import Path
from typing import get_args

import numpy as np
import pandas as pd
import pvlib
import pytest
from pydantic import ValidationError

from solarcalc.basis.hours import year_hours
from solarcalc.sitefile.losses import Soiling
from solarcalc.soiling import (
    DUST_MODEL,
    MODELS,
    PARTICULATE_MODEL,
    RATE_TILT_DEG,
    clean_hours,
    dust_by_tilt,
    dust_model,
    loss_of_particulates,
    soiling_loss_frac,
)

AT_RATE = float(RATE_TILT_DEG)
HOURS = year_hours(2.0)
DRY = pd.DataFrame({"precipitation": 0.0}, index=HOURS)
CLEANED = ["03-01"]


def _air(**more):
    return Soiling(model="particulates", pm2_5_ug_m3=[40.0], pm10_ug_m3=[80.0], **more)


def _rainy(seed=1):
    """A year of made-up rain: one hour in fifty, 0 to 12 mm."""
    draw = np.random.default_rng(seed)
    falls = draw.random(len(HOURS)) < 0.02
    return pd.DataFrame(
        {"precipitation": np.where(falls, 12.0 * draw.random(len(HOURS)), 0.0)}, index=HOURS
    )


def _plain_hours(count):
    return pd.date_range("2001-01-01", periods=count, freq="h")


# --- out of the air


@pytest.mark.published("soiling/particulates.toml")
def test_published_figure(case):
    given = case["inputs"]
    rain = pd.Series(np.array(given["rain_mm"], float), index=_plain_hours(24))
    clean = clean_hours(rain, threshold_mm=0.5 - 1e-9, rain_hours=1)
    loss = loss_of_particulates(
        clean, pm2_5_ug_m3=given["pm2_5_ug_m3"], pm10_ug_m3=given["pm10_ug_m3"], tilt_deg=0.0
    )
    np.testing.assert_allclose(
        1.0 - loss.to_numpy(), case["figure"], rtol=0.0, atol=0.5 * case["last_digit"]
    )


@pytest.mark.parametrize("grams", [0.05, 0.3, 1.0, 3.0, 10.0])
def test_closed_form(grams):
    # 1 - 0.3437 erf(0.17 w^0.8473); the hours in which so much settles, from the settling
    # speeds 0.0009 and 0.004 m/s: 100 ug/m3 finer than 2.5 um and 100 ug/m3 coarser.
    hour_g = 1e-4 * (0.0009 + 0.004) * 3600.0
    count = round(grams / hour_g)
    clean = pd.Series(False, index=_plain_hours(count))
    loss = loss_of_particulates(clean, pm2_5_ug_m3=100.0, pm10_ug_m3=200.0, tilt_deg=0.0)
    expected = 0.3437 * math.erf(0.17 * (count * hour_g) ** 0.8473)
    assert loss.iloc[-1] == pytest.approx(expected, abs=1e-12)
    assert expected < 0.3437


def test_published_example_year(measured_file):
    # The library's example of the work's figure 3A: Imperial County, tilt 30, 0.5 mm in an hour.
    # Least 0.862126 and mean 0.950767 are recorded with the optional folder of measured data.
    given = pd.read_csv(
        Path(pvlib.__file__).parent / "data" / "soiling_hsu_example_inputs.csv",
        index_col=0, parse_dates=True,
    )  # fmt: skip
    clean = clean_hours(given["rain"].astype(float), threshold_mm=0.5 - 1e-9, rain_hours=1)
    ratio = 1.0 - loss_of_particulates(
        clean, pm2_5_ug_m3=1e6 * given["PM2_5"].to_numpy(),
        pm10_ug_m3=1e6 * given["PM10"].to_numpy(), tilt_deg=30.0,
    )  # fmt: skip
    assert ratio.min() == pytest.approx(0.862126, abs=5e-7)
    assert ratio.mean() == pytest.approx(0.950767, abs=5e-7)
    path = measured_file("measured/soiling_hsu_expected_daily_pvlib.csv")
    expected = pd.read_csv(path)["pvlib_hsu_daily_mean"].to_numpy()
    np.testing.assert_allclose(ratio.resample("D").mean().to_numpy(), expected, atol=5e-7)


def test_a_month_after_a_cleaning_by_hand():
    # 40 ug/m3 and another 40 coarser: 40e-6 x (0.0009 + 0.004) x 86400 = 0.016934 g/m2 a day,
    # times cos 20 deg; over 30 days less the hour of the wash.
    loss = soiling_loss_frac(DRY, _air(cleaning_dates=CLEANED), tilt_deg=AT_RATE)
    day_g = 40e-6 * 0.0049 * 86400.0 * math.cos(math.radians(20.0))
    settled = day_g * (30.0 - 1.0 / 24.0)
    expected = 0.3437 * math.erf(0.17 * settled**0.8473)
    assert loss.iloc[24 * (59 + 30) - 1] == pytest.approx(expected, rel=1e-9)
    assert expected == pytest.approx(0.0351, abs=0.0005)
    assert loss.iloc[24 * 59] == 0.0  # 1 March, midnight
    assert loss.iloc[0] < loss.iloc[24 * 59 - 1]  # ten months of dust at New Year, then twelve


def test_twelve_equal_months_are_one_figure_and_clean_air_leaves_no_dust():
    twelve = Soiling(model="particulates", pm2_5_ug_m3=[40.0] * 12, pm10_ug_m3=[80.0] * 12)
    hours = _rainy()
    one = soiling_loss_frac(hours, _air(), tilt_deg=10.0)
    pd.testing.assert_series_equal(one, soiling_loss_frac(hours, twelve, tilt_deg=10.0))
    figures = [0.0] * 6 + [80.0] * 6
    half = Soiling(model="particulates", pm2_5_ug_m3=[0.0], pm10_ug_m3=figures,
                   cleaning_dates=["01-01"])  # fmt: skip
    loss = soiling_loss_frac(DRY, half, tilt_deg=10.0)
    assert (loss[HOURS.month <= 6] == 0.0).all()
    assert loss[HOURS.month == 12].min() > 0.01
    assert dust_model(half) is PARTICULATE_MODEL
    assert list(MODELS) == list(get_args(Soiling.model_fields["model"].annotation))
    assert dust_model(Soiling()) is DUST_MODEL


def test_both_models_are_cleaned_in_the_same_hours():
    hours = _rainy()
    for more in ({}, {"grace_days": 3}, {"cleaning_dates": ["02-01", "07-20"]}):
        air = soiling_loss_frac(hours, _air(**more), tilt_deg=AT_RATE)
        rate = soiling_loss_frac(hours, Soiling(**more), tilt_deg=AT_RATE)
        assert ((air == 0.0) == (rate < 1e-12)).all()
        assert 0.02 < (air == 0.0).mean() < 0.9


def test_tilt_acts_on_the_loss_and_the_limit_holds():
    flat, steep = (soiling_loss_frac(_rainy(), _air(), tilt_deg=t) for t in (0.0, 60.0))
    dirty = flat > 0.0
    assert (steep[dirty] / flat[dirty]).to_numpy() == pytest.approx(
        dust_by_tilt(60.0) / dust_by_tilt(0.0)
    )
    assert soiling_loss_frac(DRY, _air(max_loss_frac=0.2), tilt_deg=0.0).max() == 0.2


STUDIES = {
    # name: (tilts, losses); the first is flat. Cano et al. 2014: abstract of the thesis behind it,
    # opened. The others as noted with their works: seen second hand.
    "Arizona, modules": ((0.0, 23.0, 33.0), (2.02, 1.05, 0.96)),
    "Mount Isa, mirrors": ((0.0, 30.0, 60.0, 85.0), (0.381, 0.292, 0.162, 0.018)),
    "Lahore, glass": ((0.0, 90.0), (26.2, 13.5)),
}
OURS_OVER_THEIRS = {
    # Measured with this model; the band is a point of ratio. The cosine alone stands beside.
    ("Arizona, modules", 23.0): (1.28, 1.77),
    ("Arizona, modules", 33.0): (1.20, 1.76),
    ("Mount Isa, mirrors", 30.0): (0.77, 1.13),
    ("Mount Isa, mirrors", 60.0): (0.63, 1.18),
    ("Mount Isa, mirrors", 85.0): (5.62, 1.84),
    ("Lahore, glass", 90.0): (0.52, 0.0),
}


@pytest.mark.parametrize("study", STUDIES)
def test_how_far_other_studies_are_from_the_tilt_ratios(study):
    """Loss at a tilt over loss lying flat: ours, the cosine alone, and what was measured.

    Up to 35 deg ours lies between the studies, within 30 % of each; the cosine is 76 % over
    Arizona. At 60 deg ours is a third low against mirrors. Upright it is off either way (half
    of Lahore's, five times Mount Isa's): two studies that are themselves ten times apart.
    """
    tilts, losses = STUDIES[study]
    for tilt, loss in zip(tilts[1:], losses[1:], strict=True):
        theirs = loss / losses[0]
        ours = dust_by_tilt(tilt) / dust_by_tilt(0.0)
        cosine = math.cos(math.radians(tilt))
        print(f"{study} {tilt:g} deg: measured {theirs:.3f}, ours {ours:.3f}, cos {cosine:.3f}")
        found = (ours / theirs, cosine / theirs)
        assert found == pytest.approx(OURS_OVER_THEIRS[study, tilt], abs=0.01)
        if tilt <= 35.0:
            assert 0.7 < found[0] < 1.3


# --- by season


@pytest.mark.parametrize(
    "plan",
    [
        Soiling(),
        Soiling(grace_days=14),
        Soiling(grace_days=2, cleaning_dates=["02-15", "09-01"]),
        Soiling(loss_per_dry_day_frac=0.02, max_loss_frac=0.12),
    ],
)
def test_equal_rates_are_the_library_with_one_rate(plan):
    hours = _rainy()
    one = plan.loss_per_dry_day_frac
    both = plan.model_copy(update={"dust_season_months": [3, 4, 5],
                                   "dust_season_loss_per_dry_day_frac": one})  # fmt: skip
    index = HOURS.tz_localize(None)
    two = index.append(index + pd.Timedelta(days=365))
    library = pvlib.soiling.kimber(
        pd.Series(np.tile(hours["precipitation"].to_numpy(), 2), index=two),
        cleaning_threshold=plan.cleaning_rain_mm,
        soiling_loss_rate=one,
        grace_period=plan.grace_days or 1.0 / 24.0,
        max_soiling=plan.max_loss_frac,
        manual_wash_dates=[pd.Timestamp(f"{year}-{day}") for year in (2001, 2002)
                           for day in plan.cleaning_dates] or None,
    )  # fmt: skip
    for tried in (plan, both):
        loss = soiling_loss_frac(hours, tried, tilt_deg=AT_RATE)
        np.testing.assert_allclose(loss, library.to_numpy()[8760:], rtol=0.0, atol=1e-12)


@pytest.mark.parametrize("with_rain", [True, False])
def test_two_rates_by_hand(with_rain):
    # Washed on 1 April, no rain till October: 30 days at 0.0015, 31 at 0.004, 30 at 0.0015.
    hours = DRY if with_rain else pd.DataFrame({"ghi": 0.0}, index=HOURS)
    plan = Soiling(dust_season_months=[5], dust_season_loss_per_dry_day_frac=0.004,
                   cleaning_dates=["04-01"], dry_months=list(range(1, 13)))  # fmt: skip
    loss = soiling_loss_frac(hours, plan, tilt_deg=AT_RATE)
    ends = {"04-30": 0.045, "05-31": 0.045 + 0.124, "06-30": 0.045 + 0.124 + 0.045}
    for day, expected in ends.items():
        # The hour of the wash itself adds nothing: 0.0015 / 24.
        assert loss[f"2001-{day} 23:00"] == pytest.approx(expected - 0.0015 / 24.0, abs=1e-12)


def test_a_year_of_season_is_the_other_rate():
    hours = _rainy(3)
    always = Soiling(dust_season_months=list(range(1, 13)),
                     dust_season_loss_per_dry_day_frac=0.003)  # fmt: skip
    pd.testing.assert_series_equal(
        soiling_loss_frac(hours, always, tilt_deg=5.0),
        soiling_loss_frac(hours, Soiling(loss_per_dry_day_frac=0.003), tilt_deg=5.0),
    )


# --- the record


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"model": "particulates"}, "pm2_5_ug_m3", "one figure"),
        ({"model": "particulates", "pm2_5_ug_m3": 20.0}, "pm10_ug_m3", "one figure"),
        ({"model": "particulates", "pm2_5_ug_m3": 20, "pm10_ug_m3": [1.0] * 7}, "pm10_ug_m3",
         "or twelve"),
        ({"model": "particulates", "pm2_5_ug_m3": 20.0, "pm10_ug_m3": 10.0}, "pm10_ug_m3",
         "at least pm2_5"),
        ({"model": "particulates", "pm2_5_ug_m3": -1.0, "pm10_ug_m3": 10.0}, "pm2_5_ug_m3",
         "0 to 5000"),
        ({"pm10_ug_m3": 40.0}, "pm10_ug_m3", "model = "),
        ({"model": "particulates", "pm2_5_ug_m3": 1.0, "pm10_ug_m3": 1.0,
          "dust_season_months": [5]}, "dust_season_months", "left out"),
        ({"dust_season_months": [13]}, "dust_season_months", "from 1 to 12"),
        ({"dust_season_months": [5, 5]}, "dust_season_months", "each once"),
    ],
)  # fmt: skip
def test_what_the_record_refuses(given, field, words):
    with pytest.raises(ValidationError, match=words) as caught:
        Soiling(**given)
    assert [error["loc"][0] for error in caught.value.errors()].count(field) == 1


def test_a_single_figure_may_be_a_number():
    plan = Soiling(model="particulates", pm2_5_ug_m3=20, pm10_ug_m3=45.5)
    assert (plan.pm2_5_ug_m3, plan.pm10_ug_m3) == ([20.0], [45.5])
