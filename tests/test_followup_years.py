"""Three years of a record: each spell once with its own days, whatever the record's length."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from solarcalc.design import open_design
from solarcalc.followup.answer import filling_steps, full_steps
from solarcalc.followup.clock import Plane, clear_light, sun_of_steps
from solarcalc.followup.daily import APART_DAYS, Finding, Measured, held_while_filling, spells_of
from solarcalc.followup.segments import LEAST_DAYS, without_outliers
from solarcalc.followup.separate import EXPECTED, MEASURED, Separated, separate
from solarcalc.followup.yearly import due_kwh, years_kwh

PLACE = Plane(latitude_deg=-17.9, longitude_deg=29.5, elevation_m=1400.0, tilt_deg=15.0,
              azimuth_deg=0.0)  # fmt: skip
BEGIN = date(2025, 10, 25)
BATTERY = open_design("ridge-clinic").site.battery


class Record:
    """An invented array of 5 kW under clear and hazy days, hour by hour."""

    def __init__(self, days: int, *, seed: int = 3) -> None:
        index = pd.date_range(BEGIN, periods=24 * days, freq="h", tz="Etc/GMT-2")
        sun = sun_of_steps(index, PLACE)
        self.clear, self.azimuth = clear_light(index, sun, PLACE), sun["azimuth_deg"]
        rng = np.random.default_rng(seed)
        self.day = np.asarray((index - index[0]).days)
        self.light = self.clear * rng.uniform(0.6, 1.0, days)[self.day]
        self.expected = 5.0 * self.light
        self.clean = self.expected * (1.0 + rng.normal(0.0, 0.01, len(index)))

    def checked(
        self, *faults: tuple[int, int, float], strings: int = 4,
        dust: tuple[int, int, int] | None = None,
    ) -> Separated:  # fmt: skip
        """Taken apart, with what each fault leaves of the power from a day to before another.

        Dust of 0.3 % a day from a day to another, which stays until a third.
        """
        power = self.clean.copy()
        if dust is not None:
            first, full, washed = dust
            share = 0.003 * np.clip(self.day - first, 0, full - first)
            power = power * np.where(self.day < washed, 1.0 - share, 1.0)
        for first, end, kept in faults:
            power = power.where((self.day < first) | (self.day >= end), kept * power)
        self.taken_kwh = float((self.clean - power).sum()) / 1000.0
        return separate(self.measured(power), string_count=strings)

    def measured(self, power: pd.Series) -> Measured:
        return Measured(
            power_w=power, expected_w=self.expected, clear_w_m2=self.clear, light_w_m2=self.light,
            sun_azimuth_deg=self.azimuth, full=pd.Series(False, index=power.index),
        )  # fmt: skip

    def beside_battery(
        self, load_w: float, bank_wh: float, *, dark: range = range(0)
    ) -> Separated:
        """A battery that holds the array back from the moment it is full, and perhaps dark days.

        Its charge is logged as it stands at the beginning of each hour.
        """
        level, power, charge = bank_wh, np.empty(len(self.clean)), np.empty(len(self.clean))
        for hour, could in enumerate(self.clean.mask(np.isin(self.day, dark), 0.0)):
            charge[hour] = level / bank_wh
            power[hour] = min(could, load_w + bank_wh - level)
            level = min(max(level + power[hour] - load_w, 0.2 * bank_wh), bank_wh)
        table = pd.DataFrame({"state_of_charge_frac": charge}, index=self.clean.index)
        return separate(held_while_filling(Measured(
            power_w=pd.Series(power, index=table.index), expected_w=self.expected,
            clear_w_m2=self.clear, light_w_m2=self.light, sun_azimuth_deg=self.azimuth,
            full=full_steps(table, BATTERY),
        ), filling_steps(table)), string_count=4)  # fmt: skip


@pytest.fixture(scope="module")
def years() -> Record:
    return Record(1096)


def _on(day: int) -> date:
    return BEGIN + timedelta(days=day)


def _of(found: Separated, kind: str) -> list[Finding]:
    return sorted((one for one in found.findings if one.kind == kind),
                  key=lambda one: one.since or BEGIN)  # fmt: skip


def _balanced(found: Separated) -> bool:
    losses = found.losses_kwh
    told = sum(one.lost_kwh for one in found.findings)
    missing = losses[EXPECTED] - losses[MEASURED]
    return missing == pytest.approx(told - losses["Unexplained"], abs=1e-6)


@pytest.mark.parametrize("lost", [1, 2])
def test_a_string_of_year_one_is_over_and_one_of_year_three_goes_on(
    years: Record, lost: int
) -> None:
    found = years.checked((120, 181, 0.75), (1025, 1096, 1.0 - lost / 4.0))
    past, now = _of(found, "string")
    assert (past.is_over, now.is_over) == (True, False)
    assert (past.since, past.until, now.since) == (_on(120), _on(180), _on(1025))
    assert f"to {past.until}" in past.said
    assert past.lost_kwh + now.lost_kwh == pytest.approx(years.taken_kwh, rel=0.02)
    assert {one.kind for one in found.findings} == {"string"}
    assert _balanced(found)


@pytest.mark.parametrize("starts", [(100,), (100, 500), (30, 520, 900), (200, 220, 700)])
def test_outages_of_different_years_are_told_with_their_own_days(
    years: Record, starts: tuple[int, ...]
) -> None:
    found = years.checked(*((day, day + 5, 0.0) for day in starts))
    apart = spells_of(pd.DatetimeIndex([pd.Timestamp(_on(day + more)) for day in starts
                                        for more in range(5)]))  # fmt: skip
    told = _of(found, "outage")
    assert [(one.since, one.until, one.count) for one in told] == [
        (spell[0].date(), spell[-1].date(), len(spell)) for spell in apart]
    assert all(one.is_over and one.outcome == "review" for one in told)
    assert sum(one.lost_kwh for one in told) == pytest.approx(years.taken_kwh, rel=0.02)
    assert _balanced(found)


@pytest.mark.parametrize("days", [300, 365, 730, 1096])
@pytest.mark.parametrize(("out", "outcome"), [(2, "passed"), (6, "review")])
def test_an_outage_is_weighed_by_its_year_and_not_by_the_length_of_the_record(
    days: int, out: int, outcome: str
) -> None:
    (one,) = _of(Record(days).checked((60, 60 + out, 0.0)), "outage")
    assert (one.outcome, one.count) == (outcome, out)


def test_single_days_that_come_to_much_in_a_year_are_each_looked_into(years: Record) -> None:
    told = _of(years.checked(*((day, day + 1, 0.0) for day in range(400, 700, 50))), "outage")
    assert [(one.count, one.outcome) for one in told] == [(1, "review")] * 6


@pytest.mark.parametrize("out", range(2, 8))
def test_an_array_that_is_dead_at_the_end_of_the_record_is_a_fault_that_goes_on(
    years: Record, out: int
) -> None:
    """Up to a week: the median of the last days would follow what is longer (a step tells that)."""
    (one,) = _of(years.checked((1096 - out, 1096, 0.0)), "outage")
    assert (one.since, one.until, one.count, one.outcome) == (_on(1096 - out), None, out, "failed")
    assert one.lost_kwh == pytest.approx(years.taken_kwh, rel=0.05)


def test_days_are_parted_where_more_than_a_month_lies_between() -> None:
    first = pd.Timestamp("2026-01-01")
    for gap, spells in ((APART_DAYS, 1), (APART_DAYS + 1, 2)):
        stamps = pd.DatetimeIndex([first, first + pd.Timedelta(days=gap)])
        parted = spells_of(stamps)
        assert len(parted) == spells
        assert [stamp for spell in parted for stamp in spell] == list(stamps)
    assert spells_of(pd.DatetimeIndex([])) == []


@pytest.mark.parametrize("washed", [180, 300, 900, 2000])
def test_dust_is_over_only_where_it_was_washed_off(years: Record, washed: int) -> None:
    """At once, months later, years later, or never: then it is to be put right still."""
    (one,) = _of(years.checked(dust=(100, 180, washed)), "dust")
    assert one.is_over == (washed < 1096)
    assert ("no cleaning restored it" in one.said) == (washed > 1096)
    assert one.size == pytest.approx(0.24, abs=0.03)


BESIDE = [(load_w, bank_wh) for load_w in (300.0, 500.0, 700.0, 900.0, 1100.0, 1300.0)
          for bank_wh in (6000.0, 10_000.0, 16_000.0)]  # fmt: skip
FAULTS = {"string", "step", "dust", "outage", "shade"}


@pytest.mark.parametrize(("load_w", "bank_wh"), BESIDE)
def test_an_array_is_not_blamed_for_the_hour_in_which_the_battery_becomes_full(
    years: Record, load_w: float, bank_wh: float
) -> None:
    found = years.beside_battery(load_w, bank_wh)
    assert not {one.kind for one in found.findings} & FAULTS


@pytest.mark.parametrize(("load_w", "bank_wh"), BESIDE)
def test_dark_days_are_an_outage_however_few_days_around_them_count(
    years: Record, load_w: float, bank_wh: float
) -> None:
    found = years.beside_battery(load_w, bank_wh, dark=range(500, 505))
    (one,) = [one for one in found.findings if one.kind in FAULTS]
    assert (one.kind, one.since, one.until) == ("outage", _on(500), _on(504))


@pytest.mark.parametrize("days", [LEAST_DAYS, LEAST_DAYS + 2])
@pytest.mark.parametrize(("before", "between", "after"), [(0.85, 1.0, 0.5), (1.0, 0.75, 1.0)])
def test_a_level_of_a_few_days_is_no_outlier_and_fewer_are(
    days: int, before: float, between: float, after: float
) -> None:
    noise = np.random.default_rng(1).normal(0.0, 0.01, 60)
    value = np.repeat([before, between, after], [30, days, 30 - days]) + noise
    assert without_outliers(value) == pytest.approx(value, abs=0.04)
    value[10 : 10 + LEAST_DAYS - 1] = 0.3
    assert without_outliers(value)[10 : 10 + LEAST_DAYS - 1] == pytest.approx(before, abs=0.08)


@pytest.mark.parametrize(("days", "count"), [
    (2, 0), (366, 0), (455, 0), (456, 2), (730, 2), (731, 3), (1096, 3)])  # fmt: skip
@pytest.mark.parametrize("most_w", [6000.0, 2500.0])
def test_years_add_up_to_the_record_and_none_is_longer_than_a_year(
    days: int, count: int, most_w: float
) -> None:
    record = Record(days)
    measured = replace(record.measured(record.clean.clip(upper=most_w)),
                       full=record.clean > most_w)  # fmt: skip
    found = separate(measured, string_count=4)
    years, (spare, due) = years_kwh(found, measured), due_kwh(found, measured)
    firsts, lasts = years["first"].to_list(), years["last"].to_list()
    assert len(years) == count
    if not count:
        return
    assert (firsts[0], lasts[-1]) == (BEGIN, _on(days - 1))
    assert firsts[1:] == [one + timedelta(days=1) for one in lasts[:-1]]
    assert {(one.month, one.day) for one in firsts} == {(BEGIN.month, BEGIN.day)}
    assert all(last - first < timedelta(days=366)
               for first, last in zip(firsts, lasts, strict=True))  # fmt: skip
    assert years["days"].sum() == days
    for column, whole in (("spare_kwh", spare), ("due_kwh", due),
                          ("measured_kwh", found.days["measured_kwh"])):  # fmt: skip
        assert years[column].sum() == pytest.approx(float(whole.sum()))
    assert (years["spare_kwh"].sum() > 1.0) == (most_w < 5000.0)
