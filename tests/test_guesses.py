"""Guesses that decide: where an outcome flips within the usual range of what nobody gave."""

from __future__ import annotations

import csv
import math
import re
import runpy
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.design import open_design
from solarcalc.guesses import (
    TAKEN_SAFELY,
    WEAK_LIGHT,
    DecidingGuess,
    Flip,
    _built_parts,
    _drawn_alike,
    _open_guesses,
    _used_and_range,
    changes_for,
    deciding_guesses,
    poles_on_trial,
    ranked,
    ranked_guesses,
    states_of,
)
from solarcalc.protection.surge import by_power, critical_length_m
from solarcalc.sitefile.guessed import guess_of, guesses, is_given
from solarcalc.sitefile.read import read_site
from solarcalc.stages.electrical import electrical_of
from solarcalc.views.electrical import guess_rows

SITES = sorted(demo_sites())
SITE_FILES = runpy.run_path(str(Path(__file__).parent / "site_files.py"))


def without(path, folder, *keys):
    """A demo site whose file leaves keys out, as a copy beside nothing else."""
    text = path.read_text(encoding="utf-8")
    for key in keys:
        text, count = re.subn(rf"(?m)^{key} = .*\n", "", text)
        assert count, key
    made = folder / path.name
    made.write_text(text.replace('"../', f'"{path.parent.parent}/'), encoding="utf-8")
    return made


@pytest.fixture(scope="module", params=SITES)
def design(request):
    found = open_design(request.param)
    assert found.electrical_checks
    assert found.earth
    return found


def test_each_flip_lies_in_the_range_and_outcomes_differ_on_its_sides(design):
    for guess in deciding_guesses(design):
        assert guess.low < guess.high
        assert not is_given(design.site, guess.key)
        for flip in guess.flips:
            assert guess.low <= flip.just_below < flip.at < flip.just_above <= guess.high
            assert flip.just_above - flip.just_below <= (guess.high - guess.low) / 64.0 + 1e-9
            assert flip.below != flip.above
            for value, state in ((flip.just_below, flip.below), (flip.just_above, flip.above)):
                states = states_of(design.changed(changes_for(guess.key, value)))
                held = {one.words: one.state for one in states.values()}
                assert held.get(flip.what, "not fitted") == state


def test_those_that_safety_hangs_on_come_first(design):
    safety = [guess.safety for guess in deciding_guesses(design)]
    assert safety == sorted(safety, reverse=True)


def test_what_was_given_is_no_guess():
    given = {"protection.thunderstorm_days", "runs.dc_main.length_m", "protection.battery_fault_a"}
    clinic = read_site(demo_sites()["ridge-clinic"]).site
    assert {key for key in given if is_given(clinic, key)} == given
    assert not is_given(clinic, "protection.surge_backup_a")
    assert not is_given(read_site(demo_sites()["orchard-shop"]).site,
                        "protection.thunderstorm_days")  # fmt: skip


def test_surge_devices_are_bought_as_if_the_worse_end_held(tmp_path):
    """hand: critical length 115 m / N_g, N_g = 0.04 T^1.25: it falls to L at T = (115/0.04 L)^0.8.

    IEC 60364-7-712 table 712.102 and IEC 61024, read in a list of published values. 40 days are
    taken, up to 60 are usual farther than 30 degrees from the equator: the devices are bought,
    until the days are counted.
    """
    shop = open_design("orchard-shop")
    (days,) = [one for one in deciding_guesses(shop) if "thunder" in one.key]
    length_m = sum(shop.electrical.run(key).run.length_m for key in ("string", "dc_main"))
    by_hand = (115.0 / (0.04 * length_m)) ** 0.8
    assert days.flips[0].at == pytest.approx(by_hand, abs=(days.high - days.low) / 64.0)
    assert critical_length_m(by_power(by_hand)) == pytest.approx(length_m)
    assert days.flips[0].as_built == "fitted"
    few = shop.changed({"protection": {"thunderstorm_days": 20.0}}).electrical.plan
    assert few.device("array-surge") is None
    coast = open_design(without(
        demo_sites()["coral-pharmacy"], tmp_path, "thunderstorm_days"))
    assert coast.electrical.plan.device("array-surge") is not None
    (row,) = [row for row in guess_rows(coast) if "Thunder" in row["guess"]]
    for flips in (one["changes at"].split("; ") for one in guess_rows(coast)):
        if all(flip.replace(".", "").isdigit() for flip in flips):
            assert flips == sorted(flips, key=float)
    assert row["usual range"] == "20 to 140"
    assert "fitted" in row["as designed"]


def test_a_resistivity_is_given_as_a_test_with_four_pins():
    """rho = 2 pi a R (Wenner): 100 ohm m at 2 m is 7.96 ohm."""
    soil = changes_for("soil.resistance_ohm", 100.0)["soil"]
    assert soil["resistance_ohm"][0] == pytest.approx(100.0 / (4.0 * math.pi), rel=1e-12)
    assert soil["spacing_m"] == [2.0]


def test_each_range_says_where_it_is_from():
    with (data_folder() / "guesses.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["seen"] for row in rows} <= {"from memory", "quoted", "common practice, no source",
                                           "calculated in this package"}  # fmt: skip
    assert len(rows) == len(guesses())
    site = read_site(demo_sites()["orchard-shop"]).site
    assert all(guess_of(site, guess.key).source for guess in guesses())


def test_how_the_battery_is_earthed_is_a_guess_until_it_is_given() -> None:
    """IEC 60364-4-43 cl. 431: an earthed pole has no fuse; a floating bank has one in each."""
    design = open_design("coral-pharmacy")
    changed = dict(poles_on_trial(design))
    assert set(changed) == {"negative", "positive"}
    assert any(text.startswith("Main fuse") and "2 to 1 poles" in text
               for text in changed["negative"])  # fmt: skip
    given = design.changed({"battery": {"pole_earthed": "negative"}})
    assert not list(poles_on_trial(given))


@pytest.mark.parametrize("name", ["ridge-clinic", "cove-cannery"])
@pytest.mark.parametrize("pole", ["negative", "positive"])
def test_an_earthed_pole_moves_no_flow_so_its_trial_keeps_those_of_the_year(name, pole) -> None:
    design = open_design(name, {"battery": {"pole_earthed": None}})
    other = design.changed({"battery": {"pole_earthed": pole}})
    assert electrical_of(other.site, design.flows).plan.devices == other.electrical.plan.devices


@pytest.mark.slow
@given(some.data())
@settings(deadline=None, max_examples=40)
def test_a_part_taken_from_the_design_is_that_of_the_changed_one(data) -> None:
    """Conduits are not worked out anew where the cables in them are the same."""
    design = kept_design(data.draw(some.sampled_from(sorted(demo_sites()))))
    guesses_open = [one for one in _open_guesses(design) if one.key != WEAK_LIGHT]
    assume(guesses_open)
    guess = data.draw(some.sampled_from(guesses_open))
    _, (low, high) = _used_and_range(design, guess)
    value = data.draw(some.floats(low, high))

    def states(own):
        try:
            return [part() for part in _built_parts(
                design.changed(changes_for(guess.key, value)), own)]
        except InputError:
            return None

    event(f"the same cables: {_drawn_alike(design.changed(changes_for(guess.key, value)), design)}")
    assert states(design) == states(None)


@cache
def kept_design(name):
    return open_design(name)


@pytest.mark.slow
@given(SITE_FILES["site_changes"]() | SITE_FILES["two_plane_changes"]())
@settings(deadline=None, max_examples=15)
def test_a_guess_given_as_it_is_taken_changes_nothing(changes) -> None:
    """So that value is not tried anew, but for guesses that are taken as the worse of two."""
    base = SITE_FILES["_base"]()
    bare = replace(base, written={
        table: keys for table, keys in base.written.items() if table not in ("runs", "cables")})
    design = open_design(bare, {**changes, "module": {"use": "half144-463"}})
    try:
        own = states_of(design)
    except InputError:
        assume(False)
    for guess in _open_guesses(design):
        used, (low, high) = _used_and_range(design, guess)
        if guess.key not in TAKEN_SAFELY and low <= used <= high:
            event(guess.key)
            assert states_of(design.changed(changes_for(guess.key, used))) == own, guess.key


def test_the_short_circuit_of_a_battery_is_tried_within_the_band_of_its_kind() -> None:
    design = open_design("coral-pharmacy")
    (one,) = (each for each in deciding_guesses(design)
              if each.key == "protection.battery_fault_a")  # fmt: skip
    fault = design.electrical.plan.banks[0].fault
    assert (one.low, one.used, one.high) == (fault.least_string_a, fault.string_a, fault.string_a)


GUESS = some.builds(
    DecidingGuess, key=some.just("a.b"), label=some.just("a"), unit=some.just("m"),
    source=some.just("s"), used=some.just(1.0), low=some.just(0.5), high=some.just(2.0),
    flips=some.lists(some.builds(
        Flip, what=some.just("c"), at=some.just(1.5), just_below=some.just(1.4),
        just_above=some.just(1.6), below=some.just("passed"), above=some.just("failed"),
        as_built=some.just("passed"), safety=some.booleans()), max_size=2).map(tuple),
    price_frac=some.floats(0.0, 1.0), not_supplied_frac=some.floats(0.0, 1.0),
    yield_frac=some.floats(0.0, 1.0),
)  # fmt: skip


@given(some.lists(GUESS, max_size=8))
def test_deciding_guesses_stand_before_all_others_then_the_larger_share(found):
    order = ranked(found)
    assert sorted(map(id, order)) == sorted(map(id, found))
    deciding = [bool(one.flips) for one in order]
    assert deciding == sorted(deciding, reverse=True)
    rest = [(one.price_frac, one.not_supplied_frac, one.yield_frac)
            for one in order if not one.flips]  # fmt: skip
    assert rest == sorted(rest, reverse=True)
    safety = [one.safety for one in order if one.flips]
    assert safety == sorted(safety, reverse=True)


def test_a_share_is_what_the_wider_end_changes(tmp_path):
    """By the design opened anew with each end of the range: price, energy not supplied, yield."""
    text = demo_sites()["cove-cannery"].read_text(encoding="utf-8")
    made = tmp_path / "cove-cannery.toml"
    made.write_text(text.replace("[runs.string]\nlength_m = 9.0\n", "").replace(
        '"../', f'"{demo_sites()["cove-cannery"].parent.parent}/'), encoding="utf-8")
    design = open_design(made)
    found = {one.key: one for one in ranked_guesses(design)}
    runs = [one for one in found.values() if one.key.startswith("runs.")]
    assert runs
    assert any(one.price_frac > 0.0 for one in runs)
    for one in runs:
        totals = [design.changed(changes_for(one.key, end)).offer.total
                  for end in (one.low, one.high)]  # fmt: skip
        moved = max(abs(total - design.offer.total) for total in totals)
        assert one.price_frac == pytest.approx(moved / design.offer.total)
    weak = found["module.efficiency_200_w_m2_frac"]
    assert weak.price_frac == 0.0
    assert weak.yield_frac > 0.0
    assert 0.0 < weak.not_supplied_frac < 1.0
