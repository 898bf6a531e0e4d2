"""Tasks, their hours and their order; the critical path on a calendar."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.programme import (
    PROGRAMME_ASSUMPTIONS,
    Calendar,
    Task,
    Works,
    critical_path,
    in_order,
    labour_hours,
    tasks_of,
    waits_for,
    with_changes,
)
from solarcalc.programme.tasks import replaced
from solarcalc.sitefile.programme_records import ROOM_KEYS, TASK_KEYS
from solarcalc.sitefile.programme_records import Task as Change

MONDAY = date(2027, 3, 1)
EVERY_DAY = Calendar(start=MONDAY, work_days="every-day", hours_a_day_h=7.0)


def works(**changes):
    usual = {
        "module_count": 20, "rows": 2, "cable_m": 120.0, "pipe_m": 30.0, "battery_units": 12,
        "controller_count": 2, "inverter_count": 2, "rod_count": 3, "room": "new",
        "room_floor_m2": 7.2,
    }  # fmt: skip
    return Works(**{**usual, **changes})


def task(key, work_h=1.0, after=(), crew=1, **more):
    return Task(key=key, name=key, work_h=work_h, crew_most=crew, after=tuple(after), **more)


def hours_into(calendar, moment):
    return calendar.work_between_h(datetime.combine(calendar.start, datetime.min.time()), moment)


# --- the list


def test_keys_are_those_of_the_site_file():
    assert tuple(one.key for one in in_order(tasks_of(works()))) != ()
    assert {one.key for one in tasks_of(works())} == set(TASK_KEYS)
    assert {one.key for one in tasks_of(works(room="existing"))} == set(TASK_KEYS) - set(ROOM_KEYS)


def test_twenty_modules_take_a_crew_about_five_hours():
    """Fact of the trade; common practice, no source."""
    modules = next(one for one in tasks_of(works()) if one.key == "modules")
    assert (modules.work_h, modules.crew_most) == (5.0, 4)


def test_small_room_stands_within_a_week_and_is_painted_in_the_next():
    """Foundation a day, walls a day, roof by the third, plaster the fourth, its back the fifth."""
    times = critical_path(tasks_of(works()), Calendar(start=MONDAY), people=4).times
    ends = {key: (times[key].earliest_finish.date() - MONDAY).days + 1 for key in ROOM_KEYS}
    assert [ends[key] for key in ROOM_KEYS] == [1, 2, 3, 4, 5, 5, 8, 9]


def test_pipe_and_earth_go_in_a_day_before_the_roof_work():
    times = critical_path(tasks_of(works(room="existing")), Calendar(start=MONDAY)).times
    assert times["pipe"].earliest_finish.date() == MONDAY
    assert times["earth"].earliest_finish.date() == MONDAY
    assert times["rails"].earliest_start == datetime(2027, 3, 2, 8)


def test_hours_by_hand():
    hours = labour_hours(tasks_of(works()))
    assert hours["rails"] == 20 * 0.5 + 2 * 1.0
    assert hours["pipe"] == 30 * 0.2
    assert hours["earth"] == 2.0 + 3 * 1.0
    assert hours["boards"] == 6.0 + 4 * 2.0
    assert hours["batteries"] == 2.0 + 12 * 0.5
    assert hours["cables"] == 4.0 + 120 * 0.05
    assert hours["foundation"] == hours["walls"] == 32.0


def test_more_takes_longer_and_nothing_takes_nothing():
    small, large = labour_hours(tasks_of(works())), labour_hours(
        tasks_of(works(module_count=60, rows=5, cable_m=300.0, pipe_m=90.0, battery_units=48,
                       controller_count=6, inverter_count=3, rod_count=8, room_floor_m2=28.8))
    )  # fmt: skip
    assert all(large[key] > small[key] for key in small if key not in ("door", "handover"))
    assert large["foundation"] == 4.0 * small["foundation"]
    assert large["walls"] == 2.0 * small["walls"]
    assert labour_hours(tasks_of(works(module_count=0)))["modules"] == 0.0


def test_outdoor_height_and_cautions():
    for one in tasks_of(works()):
        if one.at_height:
            assert one.crew_least >= 2
            assert "never alone" in one.caution
    assert {one.key for one in tasks_of(works()) if not one.deferrable} == {
        "room-roof", "cables", "tests"
    }  # fmt: skip


@pytest.mark.parametrize(
    ("name", "value"),
    [("module_count", -1), ("cable_m", float("nan")), ("pipe_m", float("inf")), ("room", "old")],
)
def test_quantities_that_are_none(name, value):
    with pytest.raises(InputError, match=f"works: {name}"):
        works(**{name: value})


def test_every_assumption_has_its_source():
    assert len(PROGRAMME_ASSUMPTIONS) >= 20
    assert all(NO_SOURCE in one.source for one in PROGRAMME_ASSUMPTIONS)


# --- changes


def test_a_task_is_changed_with_its_work_kept():
    (one,) = [t for t in with_changes(tasks_of(works()), [Change(key="modules", crew=2)])
              if t.key == "modules"]  # fmt: skip
    assert (one.work_h, one.crew_least, one.crew_most) == (10.0, 2, 2)
    changed = with_changes(
        tasks_of(works()),
        [Change(key="modules", work_h=3.0, wait_h=2.0, after=["earth"], name="Panels up",
                deferred_to="2027-03-15")],
    )  # fmt: skip
    (one,) = [t for t in changed if t.key == "modules"]
    assert (one.work_h, one.wait_h, one.after, one.name) == (3.0, 2.0, ("earth",), "Panels up")
    assert one.not_before == date(2027, 3, 15)


def test_handover_comes_after_a_new_task_that_nothing_waits_for():
    new = Change(key="fence", name="Fence", work_h=6.0, crew=2, after=["foundation"])
    listed = with_changes(tasks_of(works()), [new])
    assert "fence" in waits_for(listed)["handover"]
    assert listed[-1].key == "fence"
    own = with_changes(tasks_of(works()), [new, Change(key="handover", after=["tests"])])
    assert "fence" not in waits_for(own)["handover"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ([Change(key="walls", after=["walls"])], "walls after walls"),
        (
            [Change(key="foundation", after=["plaster-back"])],
            "foundation after plaster-back after plaster-inside after room-roof after walls"
            " after foundation",
        ),
        ([Change(key="moduls")], "did you mean modules?"),
        ([Change(key="walls", after=["fundation"])], "did you mean foundation?"),
        ([Change(key="gate", name="Gate")], "needs both"),
        (
            [Change(key="a", name="A", work_h=1.0, after=["b"]),
             Change(key="b", name="B", work_h=1.0, after=["a"])],
            "a after b after a",
        ),
    ],
)  # fmt: skip
def test_lists_that_cannot_be(changes, words):
    with pytest.raises(InputError) as caught:
        with_changes(tasks_of(works()), changes, where="shop.toml")
    assert words in str(caught.value)
    assert "shop.toml: programme.tasks" in str(caught.value)


def test_order_refuses_keys_twice_and_unknown_ones():
    with pytest.raises(InputError, match="'a' twice"):
        in_order([task("a"), task("a")])
    with pytest.raises(InputError, match="no such task"):
        in_order([task("a", after=["b"])])


def test_an_existing_room_leaves_what_waited_for_it_free():
    listed = with_changes(tasks_of(works(room="existing")), [Change(key="pipe", after=["walls"])])
    assert all(not set(one.after) & set(ROOM_KEYS) for one in listed)


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
                 wait_h=float(draw(st.integers(0, 90))) if waits else 0.0,
                 day_after=draw(st.booleans()) if waits else False)
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
            if found[key].day_after:
                ready.append(datetime.combine(end.date() + timedelta(days=1), datetime.min.time()))
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
        grown = [replaced(o, work_h=o.work_h + more) if o is one else o for o in tasks]
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
