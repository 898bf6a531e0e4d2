"""The year of a board: kinds of day, seeded variation, measured profiles."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.hours import year_hours
from solarcalc.loads.days import (
    DayKind,
    daily_profile_w,
    day_kinds,
    energy_per_day_wh,
    hourly_power_w,
    kinds_of_year,
    minutes_in_use,
    peak_power_w,
)
from solarcalc.loads.year import (
    board_day_w,
    board_hours_w,
    energy_table,
    kinds_of_loads,
    peaks_of,
    profile_hours_w,
    varied_w,
)
from solarcalc.sitefile.loads import Appliance, Loads

HOURS = year_hours(2.0)


def _item(name="lamp", power_w=100.0, use=("08:00-10:00",), **more):
    return Appliance(name=name, power_w=power_w, use=list(use), **more)


def _same_day_hours_w(items, index):
    """Hours of a list whose days are all alike, as a sum of minutes (written out, hand)."""
    profile = np.zeros(1440)
    for item in items:
        profile += minutes_in_use(item.use) * (item.power_w * item.count * item.duty_frac)
    totals = np.concatenate([[0.0], np.cumsum(np.concatenate([profile, profile]))])
    start = (index.hour * 60 + index.minute).to_numpy()
    return (totals[start + 60] - totals[start]) / 60.0


@pytest.mark.parametrize("minute", [0, 15, 30, 45])
def test_without_days_and_months_not_a_bit_changes(minute):
    items = [
        _item("a", 110.0, ["00:00-24:00"], count=3, duty_frac=0.35),
        _item("b", 9.0, ["07:00-09:00", "15:10-22:05"], count=20),
        _item("c", 33.3, ["22:15-06:40"], duty_frac=0.7),
    ]
    index = HOURS + pd.Timedelta(minutes=minute)
    assert (hourly_power_w(items, index).to_numpy() == _same_day_hours_w(items, index)).all()
    spelt = [
        item.model_copy(update={"days": ["weekends", "weekdays"], "months": list(range(1, 13))})
        for item in items
    ]
    assert (hourly_power_w(spelt, index) == hourly_power_w(items, index)).all()


def test_days_and_months_against_the_calendar_by_hand():
    """1 January 2001 was a Monday; each hour is looked up in Python's own calendar."""
    item = _item(days=["weekends", "wednesday"], months=[2, 12])
    year = hourly_power_w([item], HOURS)
    for number in range(365):
        day = date(2001, 1, 1) + timedelta(days=number)
        on = day.month in (2, 12) and day.weekday() in (2, 5, 6)
        wanted = [100.0 if on and hour in (8, 9) else 0.0 for hour in range(24)]
        assert year.iloc[24 * number : 24 * number + 24].tolist() == wanted, day


def test_hour_over_the_midnight_between_two_kinds_of_day():
    index = HOURS + pd.Timedelta(minutes=30)
    friday = hourly_power_w([_item(use=["00:00-24:00"], days=["friday"])], index)
    assert friday.loc["2001-01-04 23:30:00+02:00"] == 50.0  # Thursday: half is of Friday
    assert friday.loc["2001-01-05 12:30:00+02:00"] == 100.0
    assert friday.loc["2001-01-05 23:30:00+02:00"] == 50.0
    january = hourly_power_w([_item(use=["00:00-24:00"], months=[1])], index)
    assert january.iloc[-1] == 50.0  # 31 December, 23:30: after it comes 1 January
    assert january.sum() == pytest.approx(31 * 2400.0)


_DAYS = some.lists(
    some.sampled_from(["weekdays", "weekends", "monday", "friday", "sunday"]),
    min_size=1, max_size=3, unique=True,
)  # fmt: skip
_MONTHS = some.lists(some.integers(1, 12), min_size=1, max_size=12, unique=True)
_ITEM = some.builds(
    _item,
    power_w=some.floats(0.0, 5000.0),
    use=some.sampled_from([["22:00-06:00"], ["08:10-09:25"], ["00:00-24:00"]]),
    days=_DAYS,
    months=_MONTHS,
    duty_frac=some.floats(0.01, 1.0),
)


@settings(deadline=None, max_examples=25)
@given(items=some.lists(_ITEM, min_size=1, max_size=4), shift=some.sampled_from([0, 30]))
def test_energy_of_the_year_is_that_of_its_kinds_of_day(items, shift):
    year = hourly_power_w(items, HOURS + pd.Timedelta(minutes=shift))
    kinds = day_kinds({"essential": items})
    assert sum(kind.days for kind in kinds) == 365
    by_kind = sum(kind.days * kind.energy_wh("essential") for kind in kinds)
    assert year.sum() == pytest.approx(by_kind, rel=1e-9, abs=1e-6)
    assert year.sum() == pytest.approx(365.0 * energy_per_day_wh(items), rel=1e-9, abs=1e-6)
    assert year.max() <= peak_power_w(items) + 1e-6
    assert daily_profile_w(items).max() <= peak_power_w(items) + 1e-6


def test_table_of_energy_by_day_type_and_season_by_hand():
    items = [
        _item("fan", 50.0, ["00:00-24:00"], months=[12, 1, 2]),
        _item("saw", 1000.0, ["08:00-10:00"], days=["weekdays"]),
    ]
    rows = energy_table(day_kinds({"nonessential": items}))
    found = {(row["months"], row["days"]): row["nonessential board [Wh/day]"] for row in rows}
    assert found.pop(("whole year", "mean day")) == pytest.approx(
        (90 * 1200.0 + 261 * 2000.0) / 365.0  # 2001 has 261 days from Monday to Friday
    )
    assert found == {
        ("Dec to Feb", "Monday to Friday"): 3200.0,
        ("Dec to Feb", "Saturday and Sunday"): 1200.0,
        ("Mar to Nov", "Monday to Friday"): 2000.0,
        ("Mar to Nov", "Saturday and Sunday"): 0.0,
    }


@pytest.mark.parametrize(
    ("months", "weekdays", "name"),
    [
        (tuple(range(1, 13)), tuple(range(7)), "whole year, every day"),
        ((11, 12, 1), (5, 6), "Nov to Jan, Saturday and Sunday"),
        ((4, 6, 7), (0, 2, 4), "Apr, Jun to Jul, Monday, Wednesday, Friday"),
        ((1, 3), (0, 6), "Jan, Mar, Sunday to Monday"),
        ((2, 12), (1,), "Feb, Dec, Tuesday"),
    ],
)
def test_names_of_kinds_of_day(months, weekdays, name):
    assert DayKind(months=months, weekdays=weekdays, days=1, profiles_w={}).name == name


# --- variation


@settings(deadline=None, max_examples=20)
@given(
    variation_frac=some.floats(0.01, 1.0),
    seed=some.integers(0, 999999),
    power_w=some.floats(1.0, 5000.0),
)
def test_variation_keeps_the_energy_and_is_never_negative(variation_frac, seed, power_w):
    hours = hourly_power_w([_item(power_w=power_w, days=["weekdays"])], HOURS)
    varied = varied_w(hours, variation_frac=variation_frac, seed=(seed,))
    again = varied_w(hours, variation_frac=variation_frac, seed=(seed,))
    assert varied.equals(again)
    assert (varied >= 0.0).all()
    assert varied.sum() == pytest.approx(hours.sum(), rel=1e-12)
    assert ((varied > 0.0) == (hours > 0.0)).all()


def test_days_spread_as_asked_and_each_keeps_its_shape():
    hours = hourly_power_w([_item(use=["06:00-18:00"])], HOURS)
    factors = []
    for seed in range(40):
        varied = varied_w(hours, variation_frac=0.2, seed=(seed,)).to_numpy().reshape(365, 24)
        assert np.allclose(varied[:, 6:18], varied[:, 6:7])
        factors.append(varied[:, 6] / 100.0)
    # 14600 draws: the standard error of a standard deviation of 0.2 is about 0.0013.
    assert np.std(factors) == pytest.approx(0.2, abs=0.005)
    assert np.mean(factors) == pytest.approx(1.0, abs=1e-12)
    logs = np.log(np.concatenate(factors))
    # Neighbouring days tell nothing of each other; standard error 1 / sqrt(14600) = 0.008.
    assert abs(np.corrcoef(logs[:-1], logs[1:])[0, 1]) < 0.03


def test_boards_and_seeds_vary_apart(tmp_path):
    def year(board, seed, frac=0.2):
        loads = Loads(
            essential=[_item()], nonessential=[_item()], variation_frac=frac, variation_seed=seed
        )
        return board_hours_w(loads, board, HOURS, folder=tmp_path)

    assert not year("essential", 1).equals(year("essential", 2))
    assert not year("essential", 1).equals(year("nonessential", 1))
    assert year("essential", 1, 0.0).equals(hourly_power_w([_item()], HOURS))
    nothing = varied_w(pd.Series(0.0, index=HOURS), variation_frac=0.5, seed=(1,))
    assert (nothing == 0.0).all()


def test_the_same_seed_gives_the_same_year_for_ever(tmp_path):
    loads = Loads(essential=[_item()], variation_frac=0.2, variation_seed=7)
    year = board_hours_w(loads, "essential", HOURS, folder=tmp_path)
    first = year[year.index.hour == 8].iloc[:3].round(3).tolist()
    assert first == SNAPSHOT_OF_SEED_7_W


SNAPSHOT_OF_SEED_7_W = [104.55, 126.116, 114.043]
"""snapshot, to see when a change of library or code changes every varied year"""


# --- measured profiles


def _file(folder, values, header="power_w", name="board.csv"):
    lines = "\n".join(str(value) for value in values)
    (folder / name).write_text(f"# measured in May\n{header}\n{lines}\n", encoding="utf-8")
    return Loads(essential_profile=name)


@pytest.mark.parametrize("count", [24, 48, 96, 1440])
def test_a_measured_day_is_repeated(tmp_path, count):
    values = np.arange(count) % 7 * 10.0
    year = board_hours_w(_file(tmp_path, values), "essential", HOURS, folder=tmp_path)
    by_hand = values.reshape(24, -1).mean(axis=1)
    assert np.allclose(year.to_numpy().reshape(365, 24), by_hand, rtol=1e-12)
    assert year.index.equals(HOURS)


def test_a_measured_year_stays_as_it_is_and_is_not_varied(tmp_path):
    values = np.random.default_rng(3).uniform(0.0, 900.0, 8760).round(1)
    loads = _file(tmp_path, values).model_copy(update={"variation_frac": 0.4})
    year = board_hours_w(loads, "essential", HOURS, folder=tmp_path)
    assert np.allclose(year, values, atol=1e-6)
    half = profile_hours_w(values, HOURS + pd.Timedelta(minutes=30))
    assert np.allclose(half, 0.5 * (values + np.roll(values, -1)), atol=1e-6)
    kinds = kinds_of_loads(loads, {"essential": year}, folder=tmp_path)
    assert len(kinds) == 8
    assert sum(kind.days for kind in kinds) == 365
    assert sum(kind.days * kind.energy_wh("essential") for kind in kinds) == pytest.approx(
        values.sum()
    )


def test_a_measured_day_stands_beside_the_list_of_the_other_board(tmp_path):
    loads = _file(tmp_path, [60.0] * 48).model_copy(
        update={"nonessential": [_item(days=["weekdays"])], "variation_frac": 0.3}
    )
    hours = {b: board_hours_w(loads, b, HOURS, folder=tmp_path)
             for b in ("essential", "nonessential")}
    assert hours["essential"].sum() == pytest.approx(60.0 * 8760)
    assert hours["essential"].std() > 1.0  # a day repeated is varied
    kinds = kinds_of_loads(loads, hours, folder=tmp_path)
    assert [kind.weekdays for kind in kinds] == [(0, 1, 2, 3, 4), (5, 6)]
    assert {kind.energy_wh("essential") for kind in kinds} == {1440.0}


def test_quarters_of_a_year_by_hand():
    ones = pd.Series(np.where(HOURS.month == 1, 24.0, 0.0), index=HOURS)
    winter = kinds_of_year({"nonessential": ones})[0]
    # 23 of the 64 days from Monday to Friday of December, January and February are in January
    assert winter.days == 64
    assert winter.energy_wh("nonessential") == pytest.approx(23 / 64 * 24.0 * 24.0)


def test_a_file_that_goes_missing_later_is_named(tmp_path):
    with pytest.raises(InputError, match="does not exist") as caught:
        board_hours_w(Loads(nonessential_profile="gone.csv"), "nonessential", HOURS,
                      folder=tmp_path)
    assert caught.value.faults[0].where == "loads.nonessential_profile"


@pytest.mark.parametrize("count", [48, 1440, 8760])
def test_mean_day_and_peak_of_a_measured_board(tmp_path, count):
    values = np.random.default_rng(5).uniform(0.0, 900.0, count).round(2)
    loads = _file(tmp_path, values)
    year = board_hours_w(loads, "essential", HOURS, folder=tmp_path)
    day = board_day_w(loads, "essential", folder=tmp_path)
    assert day.shape == (1440,)
    assert 365.0 * day.sum() / 60.0 == pytest.approx(year.sum())
    assert peaks_of(loads, "essential", folder=tmp_path).power_w == values.max()
    assert peaks_of(loads, "nonessential", folder=tmp_path).surge_va == 0.0
    assert board_day_w(loads, "nonessential", folder=tmp_path).sum() == 0.0


def test_a_night_belongs_to_the_day_on_which_it_begins():
    night = _item(use=["22:00-02:00"], days=["friday"])
    year = hourly_power_w([night], HOURS)
    on = year[year > 0.0]
    assert {(stamp.day_of_week, stamp.hour) for stamp in on.index} == {
        (4, 22), (4, 23), (5, 0), (5, 1)
    }  # fmt: skip
    assert on.sum() == pytest.approx(52 * 400.0)  # 2001 has 52 Fridays
    assert 365.0 * energy_per_day_wh([night]) == pytest.approx(52 * 400.0)
    december = hourly_power_w([_item(use=["22:00-02:00"], months=[12])], HOURS)
    assert december.iloc[:3].tolist() == [100.0, 100.0, 0.0]  # the night of 31 December
    saturday = _item("other", 70.0, ["00:00-01:00"], days=["saturday"])
    assert peak_power_w([night, saturday]) == 170.0
    overlap = [_item(use=["22:00-06:00", "05:00-07:00"], days=["weekdays"])]
    assert hourly_power_w(overlap, HOURS).sum() == pytest.approx(
        365.0 * energy_per_day_wh(overlap)
    )
