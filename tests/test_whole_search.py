"""Whole systems searched: equal to running every one, equal to their designs, never unsafe."""

from __future__ import annotations

import itertools
import runpy
from dataclasses import asdict, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.cli import main
from solarcalc.design import open_design
from solarcalc.roof.packing import fit_on_roof
from solarcalc.search import axes as axes_module
from solarcalc.search import searched as searched_module
from solarcalc.search.axes import axes_of
from solarcalc.search.bounds import (
    ALONE,
    NEAR,
    Wish,
    before,
    least_figures,
    loosened,
    most_of,
    raised,
)
from solarcalc.search.kits import kits_of
from solarcalc.search.points import changes_of
from solarcalc.search.run import _each_plane, plane_figures, run_all, search_systems
from solarcalc.search.searched import point_at, search
from solarcalc.search.systems import systems_of
from solarcalc.search.whole import Refused, best_under, cheapest_for, front_of, neighbours_of
from solarcalc.search.years import run_jobs, with_engine
from solarcalc.sitefile.array import holds
from solarcalc.sitefile.read import read_site
from solarcalc.stages.array import balance_of
from solarcalc.sweep.roof_rows import rows_for
from solarcalc.views.whole_search import Asked, asked_of, neighbour_rows, printed, variant_text

SITES = runpy.run_path(str(Path(__file__).with_name("site_files.py")))
DEMO = ["coral-pharmacy", "cove-cannery", "orchard-shop", "plateau-school", "ridge-clinic"]
"""Sites of one roof plane (`tests/test_search_planes.py` has those of several) and without a
generator of their own: with one the bound is a margin, which the README names among the limits."""
BOXED = ("coral-pharmacy", "cove-cannery")
"""Demo sites with boxes on their roofs."""
SMALL = {"tilt_deg": [10.0, 20.0, 35.0], "azimuth_deg": [170.0, 200.0],
         "row_pitch_m": [1.6, 2.1, 2.8, 4.3], "controllers": [1], "battery": ["as designed"],
         "units_in_parallel": [1, 2, 5], "strings": [1, 2, 3]}  # fmt: skip


@cache
def _design(name):
    return open_design(name, {"array": {"mounting": "open-frame"}})


@cache
def _systems_of(name, power_w, more):
    design = _design(name)
    limits = {**SMALL, "modules_in_series": [design.site.array.modules_in_series], **dict(more)}
    if power_w:
        limits |= {"generator_w": [0.0, power_w], "units_in_parallel": [1, 2]}
    axes = axes_of(design, limits)
    kits, _ = kits_of(design, axes)
    return systems_of(design, axes, kits)


def _systems(name, power_w=0.0, **more):
    return _systems_of(name, power_w, tuple((key, tuple(one)) for key, one in more.items()))


@cache
def _searched(name, hours=0.0):
    """A search of few systems of which some pass every check."""
    return search(_design(name), wish=Wish(most_hours=hours), limits={
        "tilt_deg": [10.0, 25.0], "row_pitch_m": [2.1, 4.3], "controllers": [1],
        "battery": ["as designed"], "units_in_parallel": [1, 2, 3, 4, 5], "strings": [1, 2, 3],
        "modules_in_series": [_design(name).site.array.modules_in_series],
    })  # fmt: skip


def _few(name):
    """Axes of one value each but the generator's."""
    own = _design(name).site.array
    return {"tilt_deg": [own.tilt_deg], "row_pitch_m": [4.3], "orientation": [own.orientation],
            "modules_in_series": [own.modules_in_series], "strings": [2], "controllers": [1],
            "units_in_parallel": [2], "battery": ["as designed"]}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", DEMO)
def test_rows_are_counted_as_they_are_placed(name):
    """For planes along the eaves, square to them and at an angle, with what is on the roof."""
    draw, design = np.random.default_rng(5), _design(name)
    own, counts = design.array.rows, np.arange(1, 25)
    for _ in range(40):
        up = int(draw.integers(1, 3))
        azimuth = own.roof_azimuth_deg + float(draw.choice([0.0, 90.0, draw.uniform(0.0, 359.0)]))
        rows = replace(own, modules_high=up, azimuth_deg=azimuth % 360.0,
                       slant_m=up * own.module_up_m + (up - 1) * own.gap_m,
                       tilt_deg=float(draw.choice([own.roof_slope_deg, draw.uniform(0.0, 60.0)])))
        pitches = rows.least_pitch_m * np.array([1.0, 1.37, 1.9])
        found = rows_for(rows, design.site.roof, pitches_m=pitches, counts=counts)
        for pitch, line in zip(pitches, found, strict=True):
            sizes = fit_on_roof(rows, design.site.roof, pitch_m=float(pitch)).row_sizes
            assert line.tolist() == [
                next((count for count in range(1, len(sizes) + 1) if holds(sizes, count, wanted)),
                     0) for wanted in counts.tolist()
            ]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("criterion", ["hours", "supplied"])
@pytest.mark.parametrize("name", DEMO)
def test_the_best_planes_are_those_of_running_every_one(name, criterion):
    wish = Wish(criterion=criterion)
    for systems in _systems(name):
        found, every = search_systems(systems, wish), run_all(systems, wish)
        assert found.plane.tolist() == every.plane.tolist()
        assert np.array_equal(found.figures, every.figures, equal_nan=True)
        assert (found.held, found.planes) == (every.held, every.planes)
        assert found.run <= every.run


@pytest.mark.slow
@pytest.mark.parametrize("criterion", ["hours", "supplied"])
@pytest.mark.parametrize("hours", [0.0, 30.0])
@pytest.mark.parametrize("name", DEMO)
def test_with_a_generator_too(name, hours, criterion):
    """Its bound is no proof, and these are the cases that it is held by."""
    wish = Wish(most_hours=hours, criterion=criterion)
    for systems in _systems(name, 3000.0):
        found, every = search_systems(systems, wish), run_all(systems, wish)
        assert found.plane.tolist() == every.plane.tolist()
        assert found.run < every.run


@pytest.mark.parametrize("power_w", [0.0, 3000.0])
@pytest.mark.parametrize("name", DEMO)
def test_neighbours_that_are_bounded_together_hide_no_plane(name, power_w):
    """On tilts and azimuths enough for squares of them, and pitches enough for parts."""
    limits = {"tilt_deg": [5.0, 12.0, 18.0, 25.0, 33.0, 40.0],
              "azimuth_deg": [100.0, 140.0, 180.0, 220.0, 260.0],
              "row_pitch_m": [1.6, 1.9, 2.2, 2.6, 3.1, 3.7, 4.4]}  # fmt: skip
    fewer = 0
    for systems in _systems(name, power_w, **limits):
        found, every = search_systems(systems, Wish()), run_all(systems, Wish())
        assert found.plane.tolist() == every.plane.tolist()
        assert np.array_equal(found.figures, every.figures, equal_nan=True)
        assert (found.held, found.planes) == (every.held, every.planes)
        fewer += every.run - found.run - found.bounds
    assert fewer > 0


@pytest.mark.parametrize("name", DEMO)
def test_no_plane_is_better_than_the_most_light_of_its_part(name):
    """Of any part of the nodes: without a generator that is a proof."""
    draw = np.random.default_rng(7)
    for systems in _systems(name):
        own = systems.field
        front = np.array([own.node(number).net for number in range(own.node_count)])
        parts = draw.permutation(np.arange(own.node_count) % 2)
        light = most_of(front, parts)
        assert all((light[part] >= line).all() for part, line in zip(parts, front, strict=True))
        for plane, which, figures in _each_plane(systems, np.arange(len(systems)), every=1):
            node = plane // len(own.pitches_m)
            bound, years = raised(
                systems, Wish(), np.repeat(which, ALONE + 1),
                np.zeros(((ALONE + 1) * len(which), 7)),
                np.full((ALONE + 1) * len(which), parts[node]), light, 1)  # fmt: skip
            assert years == len(which)
            assert before(Wish().keys(np.column_stack([
                bound[:: ALONE + 1, :3], figures[:, 3:]])), Wish().keys(figures)).all()


@pytest.mark.slow
@pytest.mark.parametrize("criterion", ["hours", "supplied"])
@pytest.mark.parametrize("name", DEMO)
def test_no_plane_is_better_than_what_bounds_it(name, criterion):
    """Neither than its own sun with nothing missed, nor than its front row, loosened."""
    wish = Wish(criterion=criterion)
    for systems in _systems(name, 3000.0):
        own, every = systems.field, np.arange(len(systems))
        for plane, which, figures in _each_plane(systems, every, every=3):
            node = own.node(plane // len(own.pitches_m))
            line, of = node.net[np.newaxis], np.zeros(len(which), np.int64)
            keys = wish.keys(figures)
            least = wish.keys(least_figures(systems, which, line, of))
            front = run_jobs(systems, which, line, of)
            assert before(least, keys).all()
            assert before(wish.keys(loosened(systems, wish, which, front)), keys).all()


@pytest.mark.parametrize("hours", [0.0, 30.0])
def test_with_a_generator_for_certain_every_plane_runs(hours):
    wish = Wish(most_hours=hours)
    for systems in _systems("ridge-clinic", 3000.0):
        found, every = search_systems(systems, wish, certain=True), run_all(systems, wish)
        assert found.plane.tolist() == every.plane.tolist()
        assert np.array_equal(found.figures, every.figures, equal_nan=True)
        assert found.bounds == len(_fronts(systems, ~with_engine(systems)))


def _fronts(systems, which):
    """Systems of a choice with each node that holds them."""
    own = systems.field
    return [(number, system) for number in range(own.node_count)
            for system in np.flatnonzero(own.node(number).holds[systems.count_at] & which)]


@pytest.mark.parametrize(("name", "generator_w", "few", "cautioned"), [
    ("ridge-clinic", [0.0], 0, False), ("ridge-clinic", [0.0, 3000.0], 0, True),
    ("ridge-clinic", [0.0, 3000.0], 100, False), ("harmattan-clinic", None, 0, True),
    ("harmattan-clinic", None, 100, False),
])  # fmt: skip
def test_a_margin_that_is_not_proven_is_told(monkeypatch, name, generator_w, few, cautioned):
    """Wherever a system that is tried has a generator, the site's own or one of the axes.

    Where there are so few that every plane is run nothing is left out, and nothing is told.
    """
    monkeypatch.setattr(searched_module, "MOST_CERTAIN", few)
    searched = search(_design(name), limits=_few(name) | (
        {} if generator_w is None else {"generator_w": generator_w}))
    asked = Asked(searched=searched, answers={}, neighbours={}, front=None)
    said = [line for line in printed(asked) if "caution: with a generator" in line]
    assert searched.proven != cautioned
    assert len(said) == cautioned
    assert all("24 h/year" in line and "may be passed over" in line for line in said)


def test_every_count_from_one_is_tried():
    """From three controllers one, too; and as many as the largest array tried can feed."""
    three = open_design("plateau-school", {"controller": {"count": 3}})
    axes = axes_of(three)
    assert axes.controllers[:4] == (1, 2, 3, 4)
    balance, site = balance_of(three), three.site
    most_w = site.module.pmax_w * min(
        max(axes.strings) * max(axes.modules_in_series),
        max(way.most_count for way in three.orientation.ways.values()))
    each_w = balance.controller_limit_w / 3 / balance.controller_efficiency_frac
    assert max(axes.controllers) >= min(most_w / each_w, max(axes.strings))
    assert list(axes.controllers) == list(range(1, len(axes.controllers) + 1))


def test_strings_of_the_shortest_fill_the_roof():
    """With shorter strings than the site's own the same roof holds more of them."""
    design = _design("coral-pharmacy")
    axes, held = axes_of(design), max(w.most_count for w in design.orientation.ways.values())
    assert min(axes.modules_in_series) < design.site.array.modules_in_series
    assert max(axes.strings) == min(8, held // min(axes.modules_in_series)) or (
        max(axes.strings) == 3 * design.site.array.string_count)


def test_the_smallest_battery_is_tried_until_it_holds_as_much_as_the_sites_own():
    design = open_design("ridge-clinic", {"battery": {
        "use": "flooded-2v-640ah", "units_in_series": 24, "units_in_parallel": 3}})
    own_ah = 3 * 640.0 * (1.0 - design.site.battery.min_soc_frac)
    most = max(axes_of(design).units_in_parallel)
    assert most * 93.0 * 0.8 >= own_ah  # of the smallest lithium battery down to 20 %
    assert most <= 50


def test_a_large_site_is_tried_at_wider_steps(monkeypatch):
    """Its own counts stay, the least and the most; what [search] asks for is not touched."""
    design = _design("ridge-clinic")
    every = axes_of(design)
    monkeypatch.setattr(axes_module, "MOST_UNASKED", 50_000)
    wider = axes_of(design, {"strings": [1, 2, 3, 4]})
    assert wider.strings == (1, 2, 3, 4)
    assert len(wider.units_in_parallel) < len(every.units_in_parallel)
    assert {1, 8, max(every.units_in_parallel)} <= set(wider.units_in_parallel)


def test_the_customers_own_generator_stays():
    """Systems without it or with another one could not be offered: its price is not in them."""
    design, name = open_design("harmattan-clinic"), "harmattan-clinic"
    own_w = design.site.generator.power_w
    assert axes_of(design).generator_w == (own_w,)
    searched = search(design, limits=_few(name) | {"generator_w": [0.0, own_w, own_w + 1000.0]})
    assert {one.generator_w for one in searched.kits} == {own_w}
    assert [one.value for one in searched.left_out] == ["0 W", f"{own_w + 1000.0:g} W"]
    with pytest.raises(InputError, match="customer's own generator"):
        search(design, limits=_few(name) | {"generator_w": [0.0]})


def test_a_neighbour_that_is_cheaper_to_buy_says_what_it_costs_to_run():
    """The winner over the lifetime is no dearer to buy and to run than a step that can be built."""
    searched = search(open_design("harmattan-clinic"), wish=Wish(most_hours=40.0), limits={
        "battery": ["as designed"], "controllers": [1], "units_in_parallel": [3],
        "strings": [4, 5], "orientation": ["portrait"]})  # fmt: skip
    winner, _ = cheapest_for(searched, most_hours=40.0)
    assert winner.running > 0.0
    several = neighbours_of(searched, winner)
    built = [one for one in several if not one.fault and not one.checks and one.hours <= 40.0]
    assert any(one.price < winner.price for one in built)
    assert all(one.price + one.running >= winner.price + winner.running for one in built)
    for one, row in zip(several, neighbour_rows(winner, several, "USD"), strict=True):
        if one in built and one.price < winner.price:
            assert "more for fuel and services" in row["why not"]


def test_threads_change_nothing():
    for systems in _systems("plateau-school"):
        one, two = (search_systems(systems, Wish(), threads=count) for count in (1, 2))
        assert one.plane.tolist() == two.plane.tolist()
        assert np.array_equal(one.figures, two.figures, equal_nan=True)


@pytest.mark.parametrize("name", DEMO)
def test_a_front_row_is_never_worse_than_a_plane_behind_it(name):
    """More sun serves neither board worse: what the bound of the search rests on."""
    for systems in _systems(name):
        own = systems.field
        for system in range(0, len(systems), 4):
            planes, figures = plane_figures(systems, system)
            for number in range(own.node_count):
                here = planes // len(own.pitches_m) == number
                if here.any():
                    (bound,) = run_jobs(systems, np.array([system]), own.node(number).net[None],
                                        np.zeros(1, np.int64))  # fmt: skip
                    assert (bound[0] <= figures[here, 0]).all()
                    assert (bound[1] <= figures[here, 1] + NEAR).all()
                    assert (bound[3] >= figures[here, 3] - NEAR).all()


@pytest.mark.parametrize("name", DEMO)
def test_a_candidate_is_the_year_of_its_design(name):
    """Sun within 0.05 % without boxes on the roof; hours within 1 %, and one."""
    searched, draw = _searched(name), np.random.default_rng(2)
    lines = searched.table.iloc[draw.choice(len(searched.table), 8)]
    for _, line in lines.iterrows():
        found = searched.found[line["field"]]
        point = _point(found, line)
        changes = changes_of(searched.design, point, searched.kits)
        design = searched.design.changed(changes)
        sun_kwh = float(design.energy.hours["bus_w"].sum()) / 1000.0
        hours = design.supply.hours_without_supply("essential")
        boxed = name in BOXED
        assert line["sun_kwh"] == pytest.approx(sun_kwh, rel=0.02 if boxed else 5e-4)
        assert line["hours"] == pytest.approx(hours, rel=0.05 if boxed else 0.01, abs=3.0)


def _point(found, line):
    return point_at(found.systems, int(line["system"]), int(line["plane"]))


@pytest.mark.slow
@pytest.mark.parametrize("name", DEMO)
def test_a_larger_budget_or_a_laxer_promise_is_never_worse(name):
    table = _searched(name).table
    prices = np.sort(table["price"].unique())
    best = [table[table["price"] <= price]["hours"].min() for price in prices]
    assert (np.diff(best) <= 0.0).all()
    limits = [0.0, 1.0, 10.0, 100.0, 1000.0, 8760.0]
    cheapest = [cheapest_for(_searched(name), most_hours=limit)[0] for limit in limits]
    found = [one.price for one in cheapest if one is not None]
    assert all(later is not None for one, later in itertools.pairwise(cheapest) if one is not None)
    assert all(low >= high for low, high in itertools.pairwise(found))


@pytest.mark.slow
@pytest.mark.parametrize("name", DEMO)
def test_no_cheaper_system_passes_when_every_design_is_built(name):
    """All designs of few candidates, each with all checks: what is passed over would fail too."""
    searched = search(_design(name), limits={
        "tilt_deg": [10.0, 30.0], "row_pitch_m": [4.3], "controllers": [1, 2],
        "battery": ["as designed", "lithium-26v-142ah"], "units_in_parallel": [2, 5],
        "strings": [1, 2], "orientation": [_design(name).site.array.orientation],
        "modules_in_series": [_design(name).site.array.modules_in_series],
    })  # fmt: skip
    most_hours = 60.0
    winner, refused = cheapest_for(searched, most_hours=most_hours)
    passing = []
    for found in searched.found:
        for system in range(len(found.systems)):
            for plane in plane_figures(found.systems, system)[0]:
                point = _point(found, {"system": system, "plane": plane})
                design = searched.design.changed(
                    changes_of(searched.design, point, searched.kits))
                try:
                    unsafe = any(one.kind == "safety" for one in design.failed)
                except InputError:
                    continue
                if not unsafe and design.supply.hours_without_supply("essential") <= most_hours:
                    costs = found.systems.costs[system : system + 1]
                    passing.append(float(searched.pricing.asked(costs)[0]))
    assert (winner is None) == (not passing)
    if winner is not None:
        assert winner.price == pytest.approx(min(passing))
        assert winner.hours <= most_hours
        assert not [one for one in winner.design.failed if one.kind == "safety"]
    assert all(one.checks or one.fault for one in refused)


@pytest.mark.slow
def test_a_winner_that_would_be_unsafe_is_named_with_its_check():
    """More than four strings of this battery are beyond what its fuses break."""
    winner, refused = cheapest_for(_searched("orchard-shop"), most_hours=0.0)
    rules = {one.rule for each in refused for one in each.checks}
    assert winner is not None or rules
    five = search(open_design("orchard-shop"), limits={
        "units_in_parallel": [5, 6], "battery": ["as designed"], "strings": [1]})
    winner, refused = cheapest_for(five, most_hours=8760.0)
    assert winner is None
    assert "protection/breaking-capacity" in {one.rule for one in refused[0].checks}
    assert [one.point.units_in_parallel for one in refused] == [5], "more of them cannot be broken"
    assert sum(1 + one.alike for one in refused) == len(five.table)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["ridge-clinic", "plateau-school"])
def test_the_front_is_beaten_by_none_and_passes_its_checks(name):
    searched = _searched(name)
    front = front_of(searched)
    assert len(front) > 1
    for cheaper, dearer in itertools.pairwise(front):
        assert cheaper.price < dearer.price
        assert cheaper.hours > dearer.hours
    for one in front:
        assert not [check for check in one.design.failed if check.kind == "safety"]
        winner, _ = cheapest_for(searched, most_hours=float(one.hours))
        assert winner is not None
        assert winner.price <= one.price


def test_a_budget_holds_for_the_real_offer_and_more_of_it_serves_no_worse():
    searched = _searched("ridge-clinic")
    found = [best_under(searched, budget=budget)[0] for budget in (9e3, 12e3, 15e3, 25e3)]
    hours = [one.hours for one in found if one is not None]
    assert len(hours) > 1
    assert hours == sorted(hours, reverse=True)
    for one, budget in zip(found, (9e3, 12e3, 15e3, 25e3), strict=True):
        if one is not None:
            assert one.offer.total <= budget
            assert one.offer.total == pytest.approx(one.price, rel=0.1)


def test_the_site_itself_costs_what_its_offer_says():
    design = open_design("ridge-clinic")
    own = design.site
    searched = search(design, limits={
        "tilt_deg": [own.array.tilt_deg], "row_pitch_m": [4.36], "orientation": ["portrait"],
        "strings": [2], "modules_in_series": [7], "units_in_parallel": [8],
        "controllers": [1], "battery": ["as designed"]})  # fmt: skip
    assert searched.table["price"].tolist() == pytest.approx([design.offer.total], abs=0.01)
    assert searched.table["hours"].tolist() == [design.supply.hours_without_supply("essential")]


def test_a_variant_to_copy_makes_the_winner(tmp_path):
    searched = search(open_design("plateau-school"), wish=Wish(most_hours=20.0), limits={
        "battery": ["as designed", "lithium-51v-93ah"], "tilt_deg": [15.0],
        "strings": [1, 2, 3], "units_in_parallel": [1, 2]})  # fmt: skip
    winner, _ = cheapest_for(searched, most_hours=20.0)
    path = demo_sites()["plateau-school"]
    text = path.read_text(encoding="utf-8").replace("../weather", str(path.parents[1] / "weather"))
    copy = tmp_path / "school.toml"
    copy.write_text(f"{text}\n{variant_text(winner, 'Found')}\n", encoding="utf-8")
    built = open_design(copy).variant("found")
    assert built.supply.hours_without_supply("essential") == winner.hours
    assert built.offer.total == winner.offer.total


def test_what_would_do_and_is_refused_comes_before_nothing_where_nothing_is_found():
    searched = search(open_design("orchard-shop"), limits={
        "units_in_parallel": [5, 6, 7], "battery": ["as designed"], "strings": [1]})
    answer = cheapest_for(searched, most_hours=8760.0)
    assert answer[0] is None
    assert [one.point.units_in_parallel for one in answer[1]] == [5]
    asked = Asked(searched=searched, answers={"any": answer}, neighbours={}, front=None)
    assert any("would do, but:" in line for line in printed(asked))


def test_neighbours_say_why_they_lose():
    searched = _searched("ridge-clinic", 20.0)
    winner, _ = cheapest_for(searched, most_hours=20.0)
    for one in neighbours_of(searched, winner):
        differs = {key for key, value in asdict(one.point).items()
                   if value != asdict(winner.point)[key]}
        assert differs == {one.axis}
        loses = one.fault or one.checks or one.price > winner.price or one.hours > 20.0 or (
            one.hours >= winner.hours)
        assert loses


@pytest.mark.slow
@settings(deadline=None, max_examples=12, suppress_health_check=[HealthCheck.too_slow])
@given(changes=SITES["site_changes"](), hours=some.sampled_from([0.0, 40.0]))
def test_random_sites_are_searched_as_if_every_system_ran(changes, hours):
    roof = {"roof": {"length_m": 12.0, "depth_m": 7.0}}
    design = open_design(SITES["_base"](), {**changes, **roof})
    limits = {"tilt_deg": [8.0, 25.0], "azimuth_deg": [150.0, 180.0], "row_pitch_m": [2.2, 3.0],
              "modules_in_series": [2], "strings": [1, 3], "units_in_parallel": [1, 3],
              "controllers": [1], "battery": ["as designed"],
              "generator_w": sorted({0.0, design.site.generator.power_w})}  # fmt: skip
    if design.site.supply.separate_banks:
        with pytest.raises(InputError, match="one for each board"):
            search(design, limits=limits)
        return
    searched = search(design, wish=Wish(most_hours=hours), limits=limits)
    for found in searched.found:
        every = run_all(found.systems, Wish(most_hours=hours))
        assert found.plane.tolist() == every.plane.tolist()
    winner, refused = cheapest_for(searched, most_hours=hours)
    if winner is not None:
        assert winner.hours <= hours
        assert not [one for one in winner.design.failed if one.kind == "safety"]
    assert all(isinstance(one, Refused) for one in refused)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"tilt_deg": [100.0]}, "values from 0 to 90"),
        ({"strings": [2, 2]}, "each value once"),
        ({"strings": [1], "controllers": [2]}, "a count of at most 1"),
        ({"inverter": ["inverter-2700w", "1 x inverter-2700w"]}, "each value once"),
        ({"tilt_deg": {"from": 5, "to": 1, "step": 1}}, "a range that rises"),
        ({"tilt_deg": {"from": 5}}, "a list, or a range"),
        ({"orientation": ["sideways"]}, "portrait"),
        ({"battery": ["no-such-battery"]}, "lithium-51v-93ah"),
        ({"units": [1]}, "no such key"),
    ],
)
def test_a_table_that_cannot_be_searched_is_refused(table, said):
    with pytest.raises(InputError) as caught:
        axes_of(open_design("ridge-clinic", {"search": table}))
    assert said in str(caught.value)


def test_controllers_without_a_string_are_told_by_a_check():
    with pytest.raises(InputError, match="a count of at most 1"):
        open_design("ridge-clinic", {"search": {"strings": [1], "controllers": [2]}})
    open_design("ridge-clinic", {"search": {"strings": [1], "controllers": [1, 2]}})


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"array": {"string_layout": "across-rows"}}, "strings to lie within one row"),
        ({"existing": [{"kind": "battery", "label": "Old", "age_years": 3.0, "count": 1, "used": 1,
                        "chemistry": "lifepo4", "unit_voltage_v": 51.2, "unit_capacity_ah": 93.0,
                        "rated_discharge_h": 5.0}]},
         "does not grow"),
    ],
)
def test_a_site_that_cannot_be_scaled_is_refused(changes, said):
    with pytest.raises(InputError, match=said):
        axes_of(open_design("ridge-clinic", changes))


def test_beside_one_used_battery_string_all_else_is_tried():
    """The bank of an owner who keeps it: arrays and controllers around it, no other battery."""
    used = {"kind": "battery", "label": "Old", "age_years": 3.0, "count": 1, "used": 1,
            "chemistry": "lifepo4", "unit_voltage_v": 51.2, "unit_capacity_ah": 93.0,
            "rated_discharge_h": 5.0, "measured_capacity_ah": 80.0, "measured_discharge_h": 4.3,
            "measured_temp_c": 25.0}  # fmt: skip
    battery = {"use": "lithium-51v-93ah", "units_in_series": 1, "units_in_parallel": 1}
    design = open_design("valley-workshop", {"battery": battery, "existing": [used]})
    axes = axes_of(design)
    assert (axes.battery, axes.units_in_parallel) == (("as designed",), (1,))
    assert len(axes.strings) > 1
    for limits in ({"units_in_parallel": [1, 2]}, {"battery": ["lithium-13v-118ah"]}):
        with pytest.raises(InputError, match="does not grow"):
            axes_of(design, limits)


def test_axes_without_a_system_name_the_file_and_why():
    with pytest.raises(InputError) as caught:
        search(open_design("valley-workshop"), limits={"inverter_nonessential": ["inverter-4300w"]})
    fault, = caught.value.faults
    assert fault.where == "valley-workshop.toml: search"
    assert fault.given == "0 systems"
    assert "one-a-phase" in fault.why


def test_ranges_are_spelled_out():
    search_ = open_design("ridge-clinic", {"search": {
        "tilt_deg": {"from": 0, "to": 1.0, "step": 0.25},
        "strings": {"from": 1, "to": 7, "step": 3},
    }}).site.search  # fmt: skip
    assert search_.tilt_deg == [0.0, 0.25, 0.5, 0.75, 1.0]
    assert search_.strings == [1, 4, 7]


def test_flush_modules_have_the_tilt_of_their_roof():
    with pytest.raises(InputError, match="flush with the roof"):
        open_design("orchard-shop", {"search": {"tilt_deg": [10.0]}})


@pytest.mark.slow
def test_the_command_prints_winners_neighbours_and_a_variant(tmp_path, capsys):
    site = tmp_path / "shop.toml"
    text = demo_sites()["orchard-shop"].read_text(encoding="utf-8")
    site.write_text(f'{text}\n[search]\nbattery = ["as designed"]\nstrings = [1]\n'
                    "units_in_parallel = { from = 1, to = 5, step = 1 }\n", encoding="utf-8")
    assert main(["search", str(site), "--hours", "40", "--budget", "9000"]) == 0
    out = capsys.readouterr().out
    for words in ("cheapest for at most 40 h/year without supply", "one step on each axis",
                  "[[variants]]", "battery.units_in_parallel = 3", "stay as designed: inverters",
                  "example: equipment and prices invented"):  # fmt: skip
        assert words in out
    assert main(["search", str(site), "--hours", "-1"]) == 1
    assert "--hours" in capsys.readouterr().err


def test_without_a_question_the_front_is_told(tmp_path):
    site = tmp_path / "shop.toml"
    text = demo_sites()["orchard-shop"].read_text(encoding="utf-8")
    site.write_text(f'{text}\n[search]\nbattery = ["as designed"]\nstrings = [1]\n'
                    "units_in_parallel = [1, 2, 3]\n", encoding="utf-8")
    asked = asked_of(site)
    lines = list(printed(asked))
    told = lines[lines.index("trade-off curve of price and hours without supply") + 1 :]
    assert len(asked.front) > 1
    for one, line in zip(asked.front, told, strict=False):
        assert f"essential loads without supply {one.hours} h/year" in line
    assert read_site(demo_sites()["orchard-shop"]).site.search.tilt_deg is None


def test_where_nothing_is_found_the_least_price_and_the_fault_of_the_site_are_told(tmp_path):
    site = tmp_path / "shop.toml"
    text = demo_sites()["orchard-shop"].read_text(encoding="utf-8")
    site.write_text(f'{text}\n[search]\nbattery = ["as designed"]\nstrings = [1]\n'
                    "units_in_parallel = [1, 2]\n", encoding="utf-8")
    asked = asked_of(site, budget=10.0)
    least = asked.searched.table["price"].min()
    out = "\n".join(printed(asked)).replace("\N{NARROW NO-BREAK SPACE}", "").replace(" ", "")
    assert f"thecheapestofthemisestimatedat{least:.0f}USD" in out
    failed = [one for one in asked.searched.design.all_checks
              if one.outcome == "failed" and one.kind == "safety"]
    assert out.count("put it right first".replace(" ", "")) == len(failed)


@pytest.mark.parametrize(("option", "needs"), [
    ({"criterion": "supplied"}, "--budget"), ({"criterion": "supplied", "most_hours": 20.0},
    "--budget"), ({"weigh": "price", "budget": 9000.0}, "--hours")])  # fmt: skip
def test_an_option_that_would_change_nothing_is_refused(option, needs):
    with pytest.raises(InputError, match=needs):
        asked_of("orchard-shop", **option)
