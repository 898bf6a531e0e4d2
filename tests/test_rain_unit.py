"""The unit of rain: as it is stated, as its figures show, and said where it stays open."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solarcalc.weather.rain import rain_of_epw, rain_of_table, rain_of_tmy3, unit_in_name


def _gauge(mean_mm: float = 2.0, step_mm: float = 0.2, hours: int = 400) -> pd.Series:
    """Invented rain [mm] of a tipping bucket with steps of 0.2 mm, no grid of inches."""
    draws = -np.log((np.arange(hours) + 0.5) / hours) * mean_mm
    rain = np.zeros(8760)
    rain[5 : 5 + 21 * hours : 21] = np.maximum(np.round(draws / step_mm), 1.0) * step_mm
    return pd.Series(rain)


HOUR = pd.Series(1.0, index=range(8760))


@pytest.mark.parametrize("read", [
    lambda depth, unit: rain_of_table(depth, unit),
    lambda depth, unit: rain_of_tmy3(depth, HOUR, unit),
    lambda depth, unit: rain_of_epw(depth, HOUR, unit),
])  # fmt: skip
def test_a_station_in_tenths_of_a_millimetre(read):
    rain, tenths = _gauge(), (_gauge() * 10.0).round()
    yearly = rain.sum()
    found, check = read(tenths, "tenths-of-mm")
    assert (check.outcome, found.sum()) == ("passed", pytest.approx(yearly))
    # Read as millimetres, which a TMY3 or EPW file states, it was ten times the rain.
    found, check = read(tenths, "auto")
    assert found.sum() == pytest.approx(yearly)
    assert (check.outcome, check.kind, check.evidence) == ("review", "data", "assumed")
    assert f"{10 * yearly:.0f} mm/year in mm, {yearly:.0f} in tenths" in check.found
    assert "weather.rain_unit" in check.remedy
    found, check = read(tenths, "mm")
    assert found.sum() == pytest.approx(10.0 * yearly)
    assert check.outcome == "review"  # it is stated, and there is no such place
    found, check = read(rain, "auto")
    assert (check.outcome, found.sum()) == ("passed", pytest.approx(yearly))


def test_whole_numbers_that_may_be_either_are_open_and_taken_as_millimetres():
    drizzle = (_gauge(mean_mm=0.5) * 10.0).round()  # 5 in a wet hour
    found, check = rain_of_table(drizzle)
    assert found.sum() == pytest.approx(drizzle.sum())
    assert (check.outcome, "open: whole numbers" in check.found) == ("review", True)
    assert rain_of_table(drizzle, "mm")[1].outcome == "passed"


def test_inches_are_seen_to_be_hardly_any_rain():
    inches = (_gauge() / 25.4).round(2)
    found, check = rain_of_table(inches)
    assert (check.outcome, "hardly any" in check.found) == ("review", True)
    found, check = rain_of_table(inches, "inches")
    assert (check.outcome, found.sum()) == ("passed", pytest.approx(25.4 * inches.sum()))


@pytest.mark.parametrize(("name", "unit"), [
    ("Rain [0.1 mm]", "tenths-of-mm"), ("RRR tenths", "tenths-of-mm"), ("rain_mm", "mm"),
    ("Precip (in)", "inches"), ("rain_cm", "cm"), ("precipitation", "auto"), ("Rain", "auto"),
    ("incoming rain", "auto"),
])  # fmt: skip
def test_a_column_may_name_its_unit(name, unit):
    assert unit_in_name(name) == unit


def test_the_name_of_a_column_decides(clear_site):
    site = clear_site()
    tenths = (_gauge() * 10.0).round().to_numpy()
    table = site.year().assign(**{"Rain 0.1 mm": tenths})
    year = site.read(table, columns={"precipitation": "Rain 0.1 mm"})
    assert year.rain_mm_year == pytest.approx(tenths.sum() / 10.0)
    said = next(check for check in year.checks if check.item.startswith("Rain"))
    assert said.outcome == "passed"


def test_rain_summed_over_several_hours_is_refused_and_says_so():
    spans = HOUR.where(HOUR.index % 2 == 0, 6.0)
    for read in (rain_of_tmy3, rain_of_epw):
        rain, check = read(_gauge(), spans)
        assert rain is None
        assert check.outcome == "review"
        assert check.found == "not used: it is summed over 1 h and 6 h"
        assert check.limit == "hourly depths for the whole year"
        assert "calculated from the dry months" in check.remedy
        assert "soiling.dry_months" in check.remedy
