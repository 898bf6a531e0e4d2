"""Faults put into measured data are found, and none is found in it as it is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from importlib import resources
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.followup.ageing import (
    ageing_finding,
    capacity_finding,
    capacity_found,
    runs_to_low,
    yearly_loss,
)
from solarcalc.followup.clock import (
    Plane,
    clear_light,
    clock_findings,
    clock_stretches,
    shifts_by_window,
    sun_of_steps,
    with_clock_set_right,
)
from solarcalc.followup.daily import Measured, ratio_table
from solarcalc.followup.logger import read_logger
from solarcalc.followup.segments import straight_pieces
from solarcalc.followup.separate import Separated, separate
from solarcalc.sitefile.programme import Logger


def simple_expected_w(
    light_w_m2: pd.Series,
    cell_c: pd.Series,
    *,
    rated_w: float,
    gamma_per_k: float,
    loss_frac: float = 0.0,
) -> pd.Series:
    """Expected power of an array of which only rated power and heat coefficient are known [W]."""
    warm = 1.0 + gamma_per_k * (cell_c - 25.0)
    return rated_w * light_w_m2 / 1000.0 * warm * (1.0 - loss_frac)


YIELDS = "followup/yields.toml"
DATA = Path(str(resources.files("pvanalytics"))) / "data"
# Golden, Colorado: tilt and azimuth as the data's own documentation has them
EAST = Plane(latitude_deg=39.742, longitude_deg=-105.18, elevation_m=1829.0, tilt_deg=45.0,
             azimuth_deg=158.0)  # fmt: skip


@dataclass(frozen=True)
class Record:
    """A real array with the satellite's light beside it."""

    power: pd.Series
    expected: pd.Series
    light: pd.Series
    clear: pd.Series
    azimuth: pd.Series

    def checked(self, power: pd.Series, *, strings: int = 4, full=None) -> Separated:
        none = pd.Series(False, index=power.index)
        return separate(
            Measured(
                power_w=power, expected_w=self.expected, clear_w_m2=self.clear,
                light_w_m2=self.light, sun_azimuth_deg=self.azimuth,
                full=none if full is None else full,
            ),
            string_count=strings,
        )  # fmt: skip


@pytest.fixture(scope="module")
def east() -> Record:
    """104 days of measured power, July to October 2016; light and air from a satellite's table.

    Labels of the power are taken as ends of intervals: so its days agree with the sun.
    """
    data = read_logger(
        DATA, Logger(file="serf_east_15min_ac_power.csv", time_label="end",
                     columns={"time": "measured_on", "array_power": "ac_power"}),
        offset_h=-7.0, peak_w=6000.0,
    )  # fmt: skip
    assert data.step_min == 15.0
    sky = pd.read_csv(DATA / "serf_east_psm3_data.csv", index_col=0)
    instants = pd.DatetimeIndex(pd.to_datetime(sky.index)).tz_convert("Etc/GMT+7")
    sun = pvlib.solarposition.get_solarposition(
        instants, EAST.latitude_deg, EAST.longitude_deg, altitude=EAST.elevation_m
    )
    day = instants.day_of_year.to_numpy()
    parts = pvlib.irradiance.erbs(sky["ghi"].to_numpy(), sun["zenith"].to_numpy(), day)
    plane = pvlib.irradiance.get_total_irradiance(
        EAST.tilt_deg, EAST.azimuth_deg, sun["apparent_zenith"].to_numpy(),
        sun["azimuth"].to_numpy(), parts["dni"], sky["ghi"].to_numpy(), parts["dhi"],
        dni_extra=pvlib.irradiance.get_extra_radiation(day).astype(float), model="haydavies",
    )["poa_global"]  # fmt: skip
    light = pd.Series(np.nan_to_num(plane).clip(0.0), index=instants)
    air = pd.Series(sky["temp_air"].to_numpy(), index=instants)
    light, air = (light + light.shift(-1)) / 2.0, (air + air.shift(-1)) / 2.0
    cell = pvlib.temperature.sapm_cell(light, air, 2.0, -3.56, -0.075, 3.0)
    index = pd.DatetimeIndex(data.table.index)
    light, cell = light.reindex(index), cell.reindex(index)
    place = sun_of_steps(index, EAST)
    return Record(
        power=data.table["array_power_w"], light=light, clear=clear_light(index, place, EAST),
        expected=simple_expected_w(light, cell, rated_w=5100.0, gamma_per_k=-0.004),
        azimuth=place["azimuth_deg"],
    )  # fmt: skip


def days_of(series: pd.Series) -> np.ndarray:
    index = pd.DatetimeIndex(series.index)
    return np.asarray((index - index[1].normalize()).days)


def kinds(found: Separated) -> set[str]:
    return {finding.kind for finding in found.findings}


def test_nothing_is_found_in_a_clean_record(east):
    found = east.checked(east.power)
    assert kinds(found) <= {"outage"}
    windows = shifts_by_window(east.power, east.clear)
    assert clock_stretches(east.power, east.clear, windows) == ()
    assert clock_findings(windows, ()) == ()
    losses = found.losses_kwh
    first, *between, last = losses.values()
    assert first + sum(between) == pytest.approx(last)
    assert abs(losses["Unexplained"]) < 0.03 * first


@pytest.mark.parametrize("strings", [2, 3, 4, 6, 8])
@pytest.mark.parametrize("since", [40, 60, 80])
def test_a_lost_string_is_found_with_its_day(east, strings, since):
    power = east.power.where(days_of(east.power) < since, east.power * (1.0 - 1.0 / strings))
    found = east.checked(power, strings=strings)
    (one,) = [item for item in found.findings if item.kind == "string"]
    assert one.size == pytest.approx(1.0 / strings, abs=0.02)
    assert one.since is not None
    assert abs(one.since - (date(2016, 7, 1) + timedelta(days=since))).days <= 4
    assert kinds(found) <= {"string", "outage"}
    lost = float((east.power - power).sum()) * 0.25 / 1000.0
    assert one.lost_kwh == pytest.approx(lost, rel=0.15)


@pytest.mark.parametrize(("since", "until"), [(40, 200), (40, 70), (35, 45), (60, 84)])
@pytest.mark.parametrize("lost", [1, 2, 4])
def test_what_strings_cost_is_told_however_many_and_however_long(east, lost, since, until):
    day = days_of(east.power)
    power = east.power.where((day < since) | (day >= until), east.power * (1.0 - lost / 4.0))
    found = east.checked(power)
    told = [item for item in found.findings if item.kind in ("string", "outage")]
    assert any(item.said.startswith(f"{lost} of 4 strings") for item in told)
    true_kwh = float((east.power - power).sum()) * 0.25 / 1000.0
    clean = east.checked(east.power)
    already = sum(item.lost_kwh for item in clean.findings)
    assert sum(item.lost_kwh for item in told) - already == pytest.approx(true_kwh, rel=0.15)
    assert found.losses_kwh["Unexplained"] == pytest.approx(
        clean.losses_kwh["Unexplained"], abs=0.15 * true_kwh)  # fmt: skip


@pytest.mark.parametrize("days", [2, 3, 5, 7])
@pytest.mark.parametrize(("lost", "strings"), [(1, 4), (2, 4), (3, 4), (3, 8), (1, 2)])
@pytest.mark.parametrize(("since", "seed"), [(20, 1), (33, 2), (70, 3)])
def test_strings_out_for_a_few_days_are_told_with_what_they_cost(
    east, days, lost, strings, since, seed
):
    day = days_of(east.power)
    rng = np.random.default_rng(seed)
    clean = east.expected * (1.0 + rng.normal(0.0, 0.02, len(day))) * (
        1.0 + rng.normal(0.0, 0.01, day.max() + 2)[day])  # fmt: skip
    power = clean.where((day < since) | (day >= since + days), clean * (1.0 - lost / strings))
    found, before = east.checked(power, strings=strings), east.checked(clean, strings=strings)
    assert kinds(before) == set()
    (one,) = [item for item in found.findings if item.kind in ("string", "step", "outage")]
    assert one.said.startswith(f"{lost} of {strings} strings")
    assert (one.until - one.since).days <= days - 1
    true_kwh = float((clean - power).sum()) * 0.25 / 1000.0
    judged = len(found.days.loc[str(one.since):str(one.until), "ratio"].dropna()) / days
    assert one.lost_kwh == pytest.approx(true_kwh, rel=0.2 if judged == 1.0 else 0.6)


def test_strings_out_since_a_few_days_are_a_fault_that_goes_on(east):
    day = days_of(east.power)
    power = east.expected.where(day < day.max() - 4, 0.5 * east.expected)
    (one,) = [item for item in east.checked(power).findings if item.kind == "string"]
    assert one.until is None
    assert one.outcome == "failed"


@pytest.mark.parametrize("lost", [1, 2])
@pytest.mark.parametrize("since", [60, 70, 80])
@pytest.mark.parametrize("seed", [1, 2])
def test_dust_goes_on_through_the_day_a_string_is_lost(east, lost, since, seed):
    day = days_of(east.power)
    rng = np.random.default_rng(seed)
    clean = east.expected * (1.0 + rng.normal(0.0, 0.02, len(day))) * (
        1.0 + rng.normal(0.0, 0.01, day.max() + 2)[day])  # fmt: skip
    kept = np.where(day >= 20, 1.0 - 0.003 * (day - 20), 1.0)
    power = clean * kept * np.where(day >= since, 1.0 - lost / 4.0, 1.0)
    found = east.checked(power)
    (dust,) = [item for item in found.findings if item.kind == "dust"]
    assert dust.until is None
    assert dust.size == pytest.approx(1.0 - kept[-1], abs=0.05)
    true_kwh = float((clean - power).sum()) * 0.25 / 1000.0
    assert sum(item.lost_kwh for item in found.findings if item.kind in ("dust", "string")) == \
        pytest.approx(true_kwh, rel=0.1)  # fmt: skip


def test_a_string_put_back_ends_the_finding(east):
    day = days_of(east.power)
    power = east.power.where((day < 35) | (day >= 70), east.power * (2.0 / 3.0))
    (one,) = [f for f in east.checked(power, strings=3).findings if f.kind == "string"]
    assert one.until is not None
    assert abs(one.until - date(2016, 9, 8)).days <= 4


def test_dust_between_cleanings_is_found(east):
    day = days_of(east.power)
    dusty = np.where(day < 60, np.maximum(day, 0), day - 60)
    found = east.checked(east.power * (1.0 - 0.005 * dusty))
    dust = [item for item in found.findings if item.kind == "dust"]
    assert len(dust) == 2
    cleaned, still = dust
    assert cleaned.confidence == "high"
    assert cleaned.size == pytest.approx(0.30, abs=0.10)
    assert abs(cleaned.until - date(2016, 8, 29)).days <= 5
    assert still.until is None
    assert "string" not in kinds(found)


def test_shade_is_found_by_the_place_of_the_sun(east):
    shaded = (east.azimuth >= 200.0) & (east.azimuth < 230.0)
    found = east.checked(east.power.where(~shaded, 0.6 * east.power))
    (one,) = [item for item in found.findings if item.kind == "shade"]
    (place,) = found.shade
    assert (place.from_deg, place.to_deg) == (200.0, 230.0)
    assert one.size == pytest.approx(0.4, abs=0.06)
    assert kinds(found) <= {"shade", "outage"}


def test_shade_that_came_later_has_its_day(east):
    shaded = ((east.azimuth >= 200.0) & (east.azimuth < 230.0)
              & (days_of(east.power) >= 50))  # fmt: skip
    (place,) = east.checked(east.power.where(~shaded, 0.4 * east.power)).shade
    assert place.since is not None
    assert abs(place.since - date(2016, 8, 20)).days <= 6


@pytest.mark.parametrize("since", [35, 50, 65])
@pytest.mark.parametrize("keep", [0.3, 0.6])
@pytest.mark.parametrize(("from_deg", "to_deg"), [(200, 230), (150, 220), (110, 180), (200, 260)])
def test_new_shade_is_told_once_with_all_that_it_took(east, from_deg, to_deg, keep, since):
    """Not as a sudden drop beside it; to a third what was taken out of the record."""
    shaded = ((east.azimuth >= from_deg) & (east.azimuth < to_deg)
              & (days_of(east.power) >= since))  # fmt: skip
    power = east.power.where(~shaded, keep * east.power)
    found = east.checked(power)
    assert "step" not in kinds(found)
    main = max((one for one in found.findings if one.kind == "shade"), key=lambda one: one.lost_kwh)
    taken_kwh = float((east.power - power).sum()) * 0.25 / 1000.0
    assert main.lost_kwh == pytest.approx(taken_kwh, rel=1.0 / 3.0)
    assert main.lost_kwh == max(place.lost_kwh for place in found.shade)
    assert main.since is not None
    assert abs((main.since - date(2016, 7, 1)).days - since) <= 6


@pytest.mark.parametrize("shift_min", [60, -60, 45, 30])
@pytest.mark.parametrize("since", [0, 50])
def test_a_clock_that_is_off_is_found_and_set_right(east, shift_min, since):
    index = pd.DatetimeIndex(east.power.index)
    later = days_of(east.power) >= since
    moved = index.where(~later, index + pd.Timedelta(minutes=shift_min))
    off = east.power.set_axis(moved)
    off = off[~off.index.duplicated()].sort_index().reindex(index)
    windows = shifts_by_window(off, east.clear)
    stretches = clock_stretches(off, east.clear, windows)
    (one,) = stretches
    assert one.shift_min == shift_min
    assert abs(one.first - (date(2016, 7, 1) + timedelta(days=since))).days <= 3
    (said,) = clock_findings(windows, stretches)
    assert "ahead" in said.said if shift_min > 0 else "behind" in said.said
    right = with_clock_set_right(off.to_frame("p"), stretches)["p"].reindex(index)
    same = (right - east.power).abs() <= 1e-9
    assert same[right.notna()].mean() > 0.95


def test_a_quarter_of_an_hour_is_not_called_a_fault(east):
    off = east.power.set_axis(east.power.index + pd.Timedelta(minutes=15))
    off = off.reindex(east.power.index)
    assert clock_stretches(off, east.clear, shifts_by_window(off, east.clear)) == ()


def test_a_full_battery_is_no_fault_of_the_array(east):
    hour = np.asarray(pd.DatetimeIndex(east.power.index).hour)
    full = pd.Series((hour >= 12) & (days_of(east.power) % 3 > 0), index=east.power.index)
    held = east.power.where(~full, np.minimum(east.power, 300.0))
    found = east.checked(held, full=full)
    assert kinds(found) <= {"full battery", "outage"}
    (one,) = [item for item in found.findings if item.kind == "full battery"]
    lost = float((east.power - held).sum()) * 0.25 / 1000.0
    assert one.lost_kwh == pytest.approx(lost, rel=0.1)
    assert one.outcome == "passed"
    blind = east.checked(held).losses_kwh
    assert blind["Unexplained"] < -0.2 * next(iter(blind.values())), "unseen, it is unexplained"


@pytest.mark.published("followup/yields.toml")
def test_ratio_as_published(cases_of):
    (case,) = cases_of(YIELDS)
    index = pd.date_range("2025-06-01 08:00", periods=4, freq="h", tz="UTC")
    (row,) = ratio_table(
        *(pd.Series(case[name], index=index) for name in ("power_w", "light_w_m2", "module_c")),
        rated_w=case["rated_w"], gamma_per_k=case["gamma_per_k"], by="all",
    ).to_dict("records")  # fmt: skip
    assert row["ratio"] == pytest.approx(case["ratio"], abs=1e-9)
    assert row["ratio_25c"] == pytest.approx(case["ratio_25c"], abs=1e-9)
    assert row["ratio"] < row["ratio_mean"] + 0.02


def test_yearly_loss_year_on_year():
    pytest.importorskip("rdtools", reason="the extra `degradation` is not installed: 2 GB")
    days = pd.date_range("2020-01-01", periods=3 * 365, freq="D")
    rng = np.random.default_rng(3)
    ratio = pd.Series(1.0 - 0.01 * np.arange(len(days)) / 365.0, index=days)
    ratio += 0.03 * np.sin(2.0 * np.pi * np.arange(len(days)) / 365.0)
    ratio *= 1.0 + rng.normal(0.0, 0.02, len(days))
    found = yearly_loss(ratio)
    assert found is not None
    assert found.loss_frac_per_year == pytest.approx(0.01, abs=0.002)
    assert ageing_finding(ratio, design_frac_per_year=0.005).kind == "ageing"
    short = ageing_finding(ratio.iloc[:400], design_frac_per_year=0.005)
    assert "too short" in short.said


def test_a_real_battery_gives_what_was_counted_out(measured_file):
    path = measured_file("measured/leadacid_17ah_rate_tests.csv")
    table = pd.read_csv(path, parse_dates=["time"])
    table = table.dropna(subset=["current"]).set_index("time")
    regular = table[["voltage", "current"]].resample("1min").mean().interpolate(limit=60)
    regular = regular.tz_localize("UTC")
    drawn, volts = regular["current"], regular["voltage"]
    # full while it is charged above 14.2 V, or at the first rest; empty below 10.7 V
    state = pd.Series(np.nan, index=drawn.index)
    state[((volts > 14.2) & (drawn < 0.1)).to_numpy()] = 1.0
    state.iloc[0] = 1.0
    state[((volts < 10.7) & (drawn > 0.1)).to_numpy()] = 0.0
    found = capacity_found(drawn, state, rated_wh=17.0, per_k_frac=0.006)
    assert len(found.runs) >= 4
    # 19.5, 19.5, 19.5, 19.2, 18.9 and 18.4 Ah were drawn
    assert found.capacity == pytest.approx(19.35, abs=0.3)
    # the last run passes 10.7 V a quarter of an hour before its end
    assert found.runs["drawn"].min() == pytest.approx(18.4, abs=0.5)


def test_capacity_fade_by_runs_from_full():
    index = pd.date_range("2025-01-01", periods=24 * 30, freq="h", tz="UTC")
    day = np.asarray(index.hour)
    drawn = pd.Series(np.where(day < 12, 350.0, -380.0), index=index)
    charge = pd.Series(
        np.where(day < 12, 1.0 - day * 350.0 / 7000.0, np.minimum(0.4 + (day - 12) * 0.06, 1.0)),
        index=index,
    )
    runs = runs_to_low(drawn, charge)
    assert len(runs) == 30
    found = capacity_found(drawn, charge, rated_wh=10000.0, per_k_frac=0.0)
    assert found.of_rating_frac == pytest.approx(0.7, abs=0.01)
    said = capacity_finding(found)
    assert said.outcome == "review"
    assert "70 %" in said.said
    flat = capacity_found(drawn * 0.0, charge * 0.0 + 1.0, rated_wh=10000.0, per_k_frac=0.0)
    assert "no discharge from full" in capacity_finding(flat).said


@pytest.mark.parametrize("end_frac", [0.5, 0.6, 0.75, 0.9, 1.0])
@pytest.mark.parametrize("days", [120, 365, 600])
def test_a_bank_that_faded_is_judged_by_where_it_ended(days, end_frac):
    index = pd.date_range("2025-01-01", periods=24 * days, freq="h", tz="UTC")
    hour, share = np.asarray(index.hour), np.arange(24 * days) // 24 / (days - 1)
    drawn = np.where(hour < 12, 350.0, -380.0)
    holds = 10000.0 * (1.0 - (1.0 - end_frac) * share)
    charge = np.where(hour < 12, 1.0 - hour * 350.0 / holds,
                      np.minimum(1.0 - (24 - hour - 2) * 350.0 / holds, 1.0))  # fmt: skip
    found = capacity_found(pd.Series(drawn, index=index), pd.Series(charge, index=index),
                           rated_wh=10000.0, per_k_frac=0.0)  # fmt: skip
    late = 1.0 - (1.0 - end_frac) * (1.0 - 45.0 / days)
    assert found.of_rating_frac == pytest.approx(late, abs=0.02)
    said = capacity_finding(found)
    assert said.outcome == ("review" if late < 0.8 else "passed")
    fell = days > 180 and (1.0 - end_frac) * (1.0 - 90.0 / days) > 0.06
    assert ("when the record began" in said.said) or not fell


@pytest.mark.parametrize("apart_days", [10, 60, 130, 200, 300, 500])
def test_a_bank_is_judged_by_no_discharge_older_than_a_year(apart_days):
    """One that fades 7 % a year and is seldom run low is not told by what it once was."""
    index = pd.date_range("2025-01-01", periods=24 * 1200, freq="h", tz="UTC")
    hour, day = np.asarray(index.hour), np.arange(len(index)) // 24
    low = (hour < 12) & (day % apart_days == apart_days - 1)
    holds = 10000.0 * (1.0 - 0.07 * day / 365.0)
    drawn = pd.Series(np.where(low, 350.0, 0.0), index=index)
    charge = pd.Series(np.where(low, 1.0 - hour * 350.0 / holds, 1.0), index=index)
    found = capacity_found(drawn, charge, rated_wh=10000.0, per_k_frac=0.0)
    judged = found.runs["start"].tail(found.late_count)
    assert (judged.max() - judged.min()).days <= 365
    ended = holds[index.get_loc(judged.max())] / 10000.0
    assert 0.0 <= found.of_rating_frac - ended <= 0.04
    assert found.confidence == ("medium" if found.late_count >= 5 else "low")


def test_pieces_follow_a_known_line():
    day = np.arange(120.0)
    line = np.where(day < 60, 1.0 - 0.003 * day, np.where(day < 90, 1.0, 0.75))
    noisy = line + np.random.default_rng(1).normal(0.0, 0.01, 120)
    pieces = straight_pieces(day, noisy)
    assert [piece.first for piece in pieces] == [0, 60, 90]
    assert pieces[0].slope_per_day == pytest.approx(-0.003, abs=2e-4)
    assert pieces[2].start == pytest.approx(0.75, abs=0.01)


@pytest.mark.parametrize("shift_min", [60, 120, -60])
@pytest.mark.parametrize("dull", [1, 2])
def test_a_dull_spell_does_not_part_a_clock_that_is_off(east, shift_min, dull):
    """Windows between two of one shift that say nothing of their own belong to it."""
    power = east.power.shift(shift_min // 15).reindex(east.power.index)
    windows = shifts_by_window(power, east.clear)
    windows.loc[3 : 2 + dull, ["shape_min", "middle_min"]] = np.nan
    (one,) = clock_stretches(power, east.clear, windows)
    assert one.shift_min == shift_min
    windows.loc[3 : 2 + dull, ["shape_min", "middle_min"]] = 0.0  # these say that it was right
    assert len(clock_stretches(power, east.clear, windows)) == 2


@pytest.mark.parametrize(("strings", "first", "second"), [
    (6, 3, 1), (6, 1, 3), (4, 2, 1), (4, 1, 2), (8, 4, 1), (3, 1, 1), (6, 2, 2)])
@pytest.mark.parametrize("repaired", ["neither", "first", "second", "both"])
@pytest.mark.parametrize("seed", [3, 4])
def test_strings_lost_one_after_another_are_counted_and_end_each(
    east, strings, first, second, repaired, seed
):  # fmt: skip
    """From days 20 and 45; what is repaired is so on day 75. Counts are of the strings left."""
    day = days_of(east.power)
    rng = np.random.default_rng(seed)
    clean = east.expected * (1.0 + rng.normal(0.0, 0.01, day.max() + 2)[day])
    one = (day >= 20) & ((day < 75) | (repaired not in ("first", "both")))
    two = (day >= 45) & ((day < 75) | (repaired not in ("second", "both")))
    power = clean * (1.0 - (first * one + second * two) / strings)
    told = [item for item in east.checked(power, strings=strings).findings
            if item.kind in ("string", "step")]  # fmt: skip
    assert [item.said.split(" strings")[0] for item in told] == [
        f"{first} of {strings}", f"{second} of {strings}"]
    open_ = [item.until is None for item in told]
    wanted = {"neither": [True, True], "first": [False, True], "second": [True, False],
              "both": [False, False]}[repaired]  # fmt: skip
    if first == second:  # which of two alike came back no record can say
        assert sum(open_) == sum(wanted)
    else:
        assert open_ == wanted
    assert [item.outcome for item in told] == ["failed" if still else "review" for still in open_]
    true_kwh = float((clean - power).sum()) * 0.25 / 1000.0
    assert sum(item.lost_kwh for item in told) == pytest.approx(true_kwh, rel=0.1)


@settings(deadline=None, max_examples=8,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(strings=some.sampled_from([2, 3, 4]), share=some.sampled_from([0.0, 0.4, 0.8]))
def test_a_lost_string_of_an_array_that_is_curtailed_is_told_by_what_is_missing(
    east, strings: int, share: float
) -> None:
    """On that share of the days the battery is full at midday: there nothing is missing."""
    day = days_of(east.power)
    local = pd.DatetimeIndex(east.power.index)
    noon = (local.hour >= 11) & (local.hour < 14) & ((day * 7) % 10 < 10 * share)
    power = east.power.where(day < 60, east.power * (1.0 - 1.0 / strings))
    held = pd.Series(noon, index=east.power.index)
    found = east.checked(power.where(~held, 0.3 * power), strings=strings, full=held)
    told = [one for one in found.findings if one.kind == "string"]
    for one in told:
        free = held.to_numpy() & (np.asarray(day) >= 60)
        missing = float((east.power - power)[~free & (np.asarray(day) >= 60)].sum()) * 0.25 / 1000.0
        assert one.lost_kwh == pytest.approx(missing, rel=0.2)
        assert ("battery was not full" in one.said) is (share > 0.0)
        if share:
            assert f"{one.lost_kwh:.0f} kWh missing" in one.said
    assert told
