"""One thing changed at a time in the year's energy: against the harvest of the changed site."""

from __future__ import annotations

import pytest

from solarcalc.design import open_design
from solarcalc.views.yields import largest_changes_sentence, what_would_change_the_yield


@pytest.fixture(scope="module")
def cannery():
    return open_design("cove-cannery")


@pytest.fixture(scope="module")
def table(cannery):
    return {
        row["changed parameter"]: row
        for row in what_would_change_the_yield(cannery)
    }


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("10° steeper, tilt 50°", {"array": {"tilt_deg": 50.0}}),
        ("azimuth 140°", {"array": {"azimuth_deg": 140.0}}),
        ("15 cm rear ventilation gap", {"array": {"gap_under_m": 0.15}}),
        ("10 years older", {"losses": {"age_years": 10.0}}),
    ],
)
def test_each_row_is_the_harvest_of_the_changed_site(cannery, table, name, changes):
    before = cannery.energy.ac_kwh
    after = open_design("cove-cannery", changes).energy.ac_kwh
    assert table[name]["potential AC energy [kWh]"] == pytest.approx(after)
    assert table[name]["change [%]"] == pytest.approx(100.0 * (after / before - 1.0))


def test_ten_years_take_what_ageing_says(cannery):
    # 0.5 % a year over ten years: 1 - 0.995^10 = 4.89 %; cables lose a little less. A controller
    # at its limit would turn away less of an old array, so this one has none.
    free = cannery.changed({"controller": {"max_charge_current_a": 1000.0}})
    table = {row["changed parameter"]: row for row in what_would_change_the_yield(free)}
    assert table["10 years older"]["change [%]"] == pytest.approx(-4.89, abs=0.1)


def test_flush_modules_are_not_turned_or_tilted():
    shop = open_design("orchard-shop")
    names = [
        row["changed parameter"]
        for row in what_would_change_the_yield(shop)
    ]
    assert not any("tilt" in name or "azimuth" in name or "rows" in name for name in names)


def test_words_by_hand():
    rows = [
        {"changed parameter": name, "change [%]": change}
        for name, change in (("as is", 0.0), ("one", 2.0), ("two", -3.04), ("three", 1.0))
    ]
    assert largest_changes_sentence(rows) == (
        "Largest gain: one (+2.0 %); largest loss: two (−3.0 %)."
    )
    assert largest_changes_sentence([rows[0], rows[2]]).startswith("None of these changes gains")
