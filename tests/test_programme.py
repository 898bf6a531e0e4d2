"""Tasks, their hours and their order; the critical path on a calendar."""

from __future__ import annotations

import runpy
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.programme.schedule import Crew, SiteWorks, schedule_site
from solarcalc.programme.tasks import Task, in_order, tasks_of, waits_for, with_changes
from solarcalc.programme.workdays import Calendar, critical_path
from solarcalc.sitefile.programme import Task as Change
from solarcalc.sitefile.task_list import UNITS, task_list

CASES = runpy.run_path(str(Path(__file__).with_name("programme_cases.py")))
ROOF, NEW_ROOM = CASES["ROOF"], CASES["NEW_ROOM"]
OF_THE_ROOM = {one.key for one in task_list() if one.of_the_room}
MONDAY = date(2027, 3, 1)
EVERY_DAY = Calendar(start=MONDAY, work_days="every-day", hours_a_day_h=7.0)


def task(key, work_h=1.0, after=(), crew=1, **more):
    return Task(key=key, name=key, work_h=work_h, crew_most=crew, after=tuple(after), **more)


def labour_hours(tasks):
    return {one.key: one.person_h for one in tasks}


def hours_into(calendar, moment):
    return calendar.work_between_h(datetime.combine(calendar.start, datetime.min.time()), moment)


# --- the list


def test_an_existing_room_has_no_task_of_a_room():
    built = [one.key for one in tasks_of({**NEW_ROOM, "generator": 1, "guard": 1})]
    assert built == [one.key for one in task_list()]
    existing = [one.key for one in tasks_of(ROOF)]
    assert existing == [key for key in built if key not in OF_THE_ROOM | {"generator", "guards"}]
    assert {"footing", "walls", "room-roof", "render", "door", "primer", "top-coat"} == OF_THE_ROOM


def test_hours_by_hand():
    """Hand: rates of data/task_hours.csv times fourteen modules in a row and the rest."""
    hours = labour_hours(tasks_of(NEW_ROOM))
    assert hours["modules"] == pytest.approx(14 * 0.45)
    assert hours["rails"] == pytest.approx(1 * 0.6 + 26 * 0.13 + 33.0 * 0.06)
    assert hours["duct"] == pytest.approx(18.0 * (0.12 + 0.25))
    assert hours["battery"] == pytest.approx(1.5 + 8 * 0.4 + 6 * 0.15)
    assert hours["walls"] == pytest.approx(40.0 * 1.6)
    assert hours["handover"] == 3.0


def test_a_wall_of_timber_has_no_plaster_and_nothing_to_paint():
    room = {"dig_m3": 2.5, "concrete_m3": 3.0, "timber_wall_m2": 40.0, "sheet_roof_m2": 18.0,
            "door": 1}  # fmt: skip
    keys = {one.key for one in tasks_of({**ROOF, **room})}
    assert keys >= {"walls", "room-roof", "door"}
    assert not keys & {"render", "primer", "top-coat"}


def test_a_concrete_roof_waits_for_its_props_and_sheets_do_not():
    waits = {
        unit: next(one.wait_h for one in tasks_of({unit: 18.0}) if one.key == "room-roof")
        for unit in ("sheet_roof_m2", "concrete_roof_m2")
    }
    assert waits["sheet_roof_m2"] == 0.0
    assert waits["concrete_roof_m2"] >= 3 * 24.0


def test_what_waited_for_a_task_that_is_not_there_waits_for_what_came_before_it():
    without = {**ROOF, "duct_m": 0.0, "trench_m": 0.0, "rail_m": 0.0, "foot": 0, "row": 0}
    after = {one.key: set(one.after) for one in tasks_of(without)}
    assert after["modules"] == {"set-up", "earth"}
    assert "duct" not in after
    assert after["boards"] == {"set-up", "earth"}


AMOUNTS = st.one_of(st.just(0.0), st.floats(0.01, 500.0), st.integers(1, 200))
JOBS = st.fixed_dictionaries({unit: AMOUNTS for unit in UNITS if unit != "once"})


@given(work=JOBS)
@settings(max_examples=100, deadline=None)
def test_person_hours_are_rates_times_quantities(work):
    expected = sum(
        rate.person_h * (work[rate.unit] if rate.unit != "once" else 1.0)
        for listed in task_list() for rate in listed.rates
        if rate.unit != "once"
        or (any(work.values()) and (len(listed.rates) == 1
                                   or any(work.get(other.unit) for other in listed.rates)))
    )  # fmt: skip
    assert sum(labour_hours(tasks_of(work)).values()) == pytest.approx(expected)


@given(work=JOBS)
@settings(max_examples=100, deadline=None)
def test_no_task_without_work_and_no_work_without_a_task(work):
    there = {one.key: one for one in tasks_of(work)}
    for listed in task_list():
        own = {rate.unit for rate in listed.rates} - {"once"}
        wanted = any(work[unit] for unit in own) if own else any(work.values())
        assert (listed.key in there) == wanted
    assert all(one.person_h > 0.0 for one in there.values())


@given(work=JOBS, unit=st.sampled_from([unit for unit in UNITS if unit != "once"]),
       more=st.floats(0.1, 100.0))  # fmt: skip
@settings(max_examples=100, deadline=None)
def test_hours_grow_with_every_quantity(work, unit, more):
    before = labour_hours(tasks_of(work))
    after = labour_hours(tasks_of({**work, unit: work[unit] + more}))
    assert sum(after.values()) > sum(before.values())
    assert all(after[key] >= hours for key, hours in before.items())


@given(work=JOBS)
@settings(max_examples=100, deadline=None)
def test_what_comes_before_comes_before_whatever_is_there(work):
    """The order of the whole list holds among the tasks that are there."""
    whole = waits_for(tasks_of(dict.fromkeys(work, 1.0)))
    tasks = tasks_of(work)
    there = {one.key for one in tasks}
    found = waits_for(tasks)
    assert found == {key: whole[key] & there for key in there}
    ordered = [one.key for one in in_order(tasks)]
    for key, before in found.items():
        assert all(ordered.index(one) < ordered.index(key) for one in before)


@given(work=JOBS.filter(lambda work: any(work.values())), crew=st.integers(2, 4))
@settings(max_examples=60, deadline=None)
def test_half_the_crew_is_never_sooner_done(work, crew):
    site = SiteWorks(name="Site", tasks=tasks_of(work), calendar=EVERY_DAY)
    whole = schedule_site(site, Crew(name="crew", people=2 * crew)).finish()
    assert schedule_site(site, Crew(name="crew", people=crew)).finish() >= whole


def test_outdoor_height_and_cautions():
    for one in tasks_of(NEW_ROOM):
        if one.at_height:
            assert one.crew_least >= 2
            assert "never alone" in one.caution
        assert not one.caution or "local codes" in one.caution
    assert {one.key for one in tasks_of(NEW_ROOM) if not one.deferrable} == {
        "room-roof", "connections", "tests"
    }  # fmt: skip


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [("module", -1, "quantities: module"), ("cable_m", float("nan"), "quantities: cable_m"),
     ("duct_m", float("inf"), "quantities: duct_m"), ("modul", 3, "did you mean module?"),
     ("once", 2, "one of module")],
)  # fmt: skip
def test_quantities_that_are_none(name, value, words):
    with pytest.raises(InputError) as caught:
        tasks_of({**ROOF, name: value})
    assert words in str(caught.value)


def test_nothing_to_do_is_no_task():
    assert tasks_of({}) == tasks_of(dict.fromkeys(ROOF, 0)) == ()


# --- changes


def test_a_task_is_changed_with_its_work_kept():
    (one,) = [t for t in with_changes(tasks_of(ROOF), [Change(key="modules", crew=2)])
              if t.key == "modules"]  # fmt: skip
    assert one.person_h == pytest.approx(14 * 0.45)
    assert (one.crew_least, one.crew_most) == (2, 2)
    changed = with_changes(
        tasks_of(ROOF),
        [Change(key="modules", work_h=3.0, wait_h=2.0, after=["earth"], name="Panels up",
                deferred_to="2027-03-15")],
    )  # fmt: skip
    (one,) = [t for t in changed if t.key == "modules"]
    assert (one.work_h, one.wait_h, one.after, one.name) == (3.0, 2.0, ("earth",), "Panels up")
    assert one.not_before == date(2027, 3, 15)


def test_handover_comes_after_a_new_task_that_nothing_waits_for():
    new = Change(key="fence", name="Fence", work_h=6.0, crew=2, after=["footing"])
    listed = with_changes(tasks_of(NEW_ROOM), [new])
    assert "fence" in waits_for(listed)["handover"]
    assert listed[-1].key == "fence"
    own = with_changes(tasks_of(NEW_ROOM), [new, Change(key="handover", after=["tests"])])
    assert "fence" not in waits_for(own)["handover"]


def test_a_task_of_the_list_without_work_is_there_when_the_site_file_gives_it_hours():
    listed = with_changes(tasks_of(ROOF), [Change(key="generator", work_h=4.0)])
    (one,) = [task for task in listed if task.key == "generator"]
    assert (one.work_h, one.crew_least, one.name) == (4.0, 2, "Generator on its base")
    assert "generator" in waits_for(listed)["connections"]
    with pytest.raises(InputError, match="generator"):
        with_changes(tasks_of(ROOF), [Change(key="generator", crew=3)])


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ([Change(key="walls", after=["walls"])], ["walls after walls"]),
        (
            [Change(key="footing", after=["render"])],
            ["footing after render after room-roof after walls after footing",
             "room-roof after walls after footing after render after room-roof",
             "walls after footing after render after room-roof after walls",
             "render after room-roof after walls after footing after render"],
        ),
        ([Change(key="moduls")], ["did you mean modules?"]),
        ([Change(key="walls", after=["footin"])], ["did you mean footing?"]),
        ([Change(key="gate", name="Gate")], ["needs both"]),
        (
            [Change(key="a", name="A", work_h=1.0, after=["b"]),
             Change(key="b", name="B", work_h=1.0, after=["a"])],
            ["a after b after a", "b after a after b"],
        ),
    ],
)  # fmt: skip
def test_lists_that_cannot_be(changes, words):
    with pytest.raises(InputError) as caught:
        with_changes(tasks_of(NEW_ROOM), changes, where="shop.toml")
    assert any(one in str(caught.value) for one in words)
    assert "shop.toml: programme.tasks" in str(caught.value)


def test_order_refuses_keys_twice_and_unknown_ones():
    with pytest.raises(InputError, match="'a' twice"):
        in_order([task("a"), task("a")])
    with pytest.raises(InputError, match="no such task"):
        in_order([task("a", after=["b"])])


def test_an_existing_room_leaves_what_waited_for_it_free():
    listed = with_changes(tasks_of(ROOF), [Change(key="duct", after=["walls"])])
    assert all(not set(one.after) & OF_THE_ROOM for one in listed)
    assert "set-up" in waits_for(listed)["duct"]


# --- critical path


@pytest.mark.published("programme/critical-path.toml")
def test_worked_examples(case):
    tasks = [task(key, case["takes"][key], after) for key, after in case["after"].items()]
    network = critical_path(tasks, EVERY_DAY)
    assert hours_into(EVERY_DAY, network.finish) == case["finish"]
    assert sorted(network.critical) == case["critical"]
    for key, figures in case["times"].items():
        times = network.times[key]
        got = [times.earliest_start, times.earliest_finish, times.latest_start,
               times.latest_finish]  # fmt: skip
        assert [*(hours_into(EVERY_DAY, one) for one in got), times.float_h] == figures


@st.composite
def lists_of_tasks(draw, *, waits=False):
    count = draw(st.integers(1, 9))
    listed = []
    for number in range(count):
        after = draw(st.sets(st.integers(0, number - 1), max_size=3)) if number else set()
        listed.append(
            task(f"t{number}", draw(st.integers(0, 40)) / 2.0, [f"t{one}" for one in sorted(after)],
                 wait_h=float(draw(st.integers(0, 90))) if waits else 0.0)
        )  # fmt: skip
    return draw(st.permutations(listed))


@given(tasks=lists_of_tasks())
@settings(max_examples=150, deadline=None)
def test_against_the_longest_path_of_networkx(tasks):
    graph = nx.DiGraph()
    hours = {one.key: one.work_h for one in tasks}
    for one in tasks:
        graph.add_edge("begin", one.key, weight=0.0)
        graph.add_edge(one.key, "end", weight=one.work_h)
        graph.add_edges_from((key, one.key, {"weight": hours[key]}) for key in one.after)
    network = critical_path(tasks, EVERY_DAY)
    length = nx.dag_longest_path_length(graph)
    assert hours_into(EVERY_DAY, network.finish) == pytest.approx(length)
    for key, times in network.times.items():
        ahead = graph.subgraph(nx.ancestors(graph, key) | {key})
        behind = graph.subgraph(nx.descendants(graph, key) | {key})
        early = nx.dag_longest_path_length(ahead)
        late = length - nx.dag_longest_path_length(behind)
        assert hours_into(EVERY_DAY, times.earliest_start) == pytest.approx(early)
        assert hours_into(EVERY_DAY, times.latest_start) == pytest.approx(late)
        assert times.float_h == pytest.approx(late - early)


@given(tasks=lists_of_tasks(waits=True), days=st.sampled_from(["mon-fri", "mon-sat", "every-day"]),
       off=st.sets(st.integers(0, 20)))  # fmt: skip
@settings(max_examples=150, deadline=None)
def test_drying_by_the_clock_is_kept_and_no_time_is_wasted(tasks, days, off):
    calendar = Calendar(
        start=MONDAY, work_days=days, days_off=frozenset(MONDAY + timedelta(days=n) for n in off)
    )
    network = critical_path(tasks, calendar)
    found = {one.key: one for one in tasks}
    for one in tasks:
        times = network.times[one.key]
        ready = [datetime(2027, 3, 1)]
        for key in one.after:
            end = network.times[key].earliest_finish
            ready.append(end + timedelta(hours=found[key].wait_h))
        assert times.earliest_start >= max(ready)
        assert calendar.work_between_h(max(ready), times.earliest_start) == 0.0
        assert calendar.is_work_day(times.earliest_start.date())
        assert calendar.work_between_h(times.earliest_start, times.earliest_finish) == one.work_h
        assert times.earliest_start <= times.latest_start or times.float_h == 0.0
    assert network.critical


@given(tasks=lists_of_tasks(waits=True), data=st.data())
@settings(max_examples=80, deadline=None)
def test_float_is_what_a_task_may_slip(tasks, data):
    """Begun at its latest the end is the same; an hour of work later the end slips."""
    calendar = Calendar(start=MONDAY)
    network = critical_path(tasks, calendar)
    one = data.draw(st.sampled_from(tasks))
    late = network.times[one.key].float_h
    for more, slips in ((late, False), (late + 1.0, True)):
        grown = [replace(o, work_h=o.work_h + more) if o is one else o for o in tasks]
        assert (critical_path(grown, calendar).finish > network.finish) == slips


# --- calendar


def test_plaster_of_a_friday_dries_over_the_sunday():
    """Hand: work ends Friday 16:00, 48 h later is Sunday, the next work is on Monday."""
    tasks = [task("plaster", 8.0, wait_h=48.0), task("paint", 4.0, ["plaster"])]
    times = critical_path(tasks, Calendar(start=date(2027, 3, 5))).times
    assert times["paint"].earliest_start == datetime(2027, 3, 8, 8)
    assert times["plaster"].float_h == 0.0


def test_days_off_and_weeks_of_five_days():
    calendar = Calendar(
        start=date(2027, 3, 5), work_days="mon-fri", days_off=frozenset({date(2027, 3, 8)})
    )
    assert calendar.after_work(datetime(2027, 3, 5, 8), 10.0) == datetime(2027, 3, 9, 10)
    assert calendar.before_work(datetime(2027, 3, 9, 10), 10.0) == datetime(2027, 3, 5, 8)
    assert calendar.next_work(datetime(2027, 3, 1)) == datetime(2027, 3, 5, 8)


def test_a_deferred_task_waits_for_its_day():
    times = critical_path(
        [task("a"), task("b", after=["a"], not_before=date(2027, 3, 7))], Calendar(start=MONDAY)
    ).times
    assert times["b"].earliest_start == datetime(2027, 3, 8, 8)


def test_fewer_people_take_longer():
    network = critical_path([task("a", 4.0, crew=4)], Calendar(start=MONDAY), people=2)
    assert hours_into(Calendar(start=MONDAY), network.finish) == 8.0


@pytest.mark.parametrize("hours", [0.0, -1.0, 17.0, float("nan")])
def test_days_that_cannot_be(hours):
    with pytest.raises(InputError, match="hours_a_day_h"):
        Calendar(start=MONDAY, hours_a_day_h=hours)


def test_work_without_end_is_refused():
    with pytest.raises(InputError, match="2500"):
        critical_path([task("a", wait_h=2000.0), *(
            task(f"b{n}", 0.0, ["a" if n == 0 else f"b{n - 1}"], wait_h=1.0e5) for n in range(60)
        )], Calendar(start=MONDAY))  # fmt: skip
