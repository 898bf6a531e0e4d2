"""Tasks on days and crews: nobody twice, deferral, half a crew, several sites, day list, checks."""

from __future__ import annotations

import runpy
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.programme.checks import crews_check, programme_checks
from solarcalc.programme.days import (
    crew_days,
    day_list,
    day_rows,
    go_on_rows,
    person_days,
    programme_answer,
    task_rows,
)
from solarcalc.programme.schedule import (
    Away,
    Crew,
    Schedule,
    SiteWorks,
    programme_cautions,
    schedule_site,
    share_crews,
    site_crew,
    site_schedule,
    what_can_go_on,
)
from solarcalc.programme.tasks import Task, tasks_of, with_changes
from solarcalc.programme.workdays import Calendar, free_from
from solarcalc.sitefile.programme import Programme
from solarcalc.sitefile.programme import Task as Change

CASES = runpy.run_path(str(Path(__file__).with_name("programme_cases.py")))
ROOF, NEW_ROOM = CASES["ROOF"], CASES["NEW_ROOM"]
MONDAY = date(2027, 3, 1)
WEEK = Calendar(start=MONDAY)
THREE = Crew(name="crew", people=3)
FOUR = Crew(name="crew", people=4)


def task(key, work_h=8.0, after=(), crew=(1, 1), **more):
    return Task(key=key, name=key, work_h=work_h, crew_least=crew[0], crew_most=crew[1],
                after=tuple(after), **more)  # fmt: skip


def placed(tasks, crew=THREE, calendar=WEEK):
    return schedule_site(SiteWorks(name="Site", tasks=tuple(tasks), calendar=calendar), crew)


def days_of(schedule, key):
    one = schedule.at(key)
    return one.start.date(), one.finish.date()


def keeps_the_rules(schedule: Schedule) -> None:
    """After, drying, people and places, counted minute by minute at every begin."""
    for site in schedule.sites:
        own = {one.task.key: one for one in schedule.of(site.name)}
        assert set(own) == {one.key for one in site.tasks}
        for one in own.values():
            assert one.task.crew_least <= one.people <= one.task.crew_most
            for key in one.task.after:
                assert one.start >= free_from(own[key].task, own[key].finish, one.task)
            begin, end = next(site.calendar.spells(one.start, one.finish), (one.start, one.finish))
            assert end == one.finish or end - begin >= timedelta(hours=site.calendar.stays_on_h)
            worked = site.calendar.work_between_h(one.start, one.finish)
            assert worked == pytest.approx(one.task.hours_with(one.people), abs=1.01 / 60.0)
    for crew in schedule.crews:
        mine = [one for one in schedule.planned if one.crew == crew.name]
        spells = [
            (begin, end, one)
            for one in mine
            for site in schedule.sites if site.name == one.site
            for begin, end in site.calendar.spells(one.start, one.finish)
        ]  # fmt: skip
        for moment, _, _ in spells:
            at_work = [one for begin, end, one in spells if begin <= moment < end]
            assert sum(one.people for one in at_work) <= crew.people_on(moment.date())
            sites = {one.site for begin, _, one in spells if begin.date() == moment.date()}
            assert len(sites) <= 1


# --- one site


def test_one_person_does_two_tasks_one_after_the_other():
    schedule = placed([task("a"), task("b")], Crew(name="one", people=1))
    assert days_of(schedule, "a") == (MONDAY, MONDAY)
    assert days_of(schedule, "b") == (date(2027, 3, 2), date(2027, 3, 2))
    assert all(one.critical for one in schedule.planned)
    assert placed([task("a"), task("b")]).finish() == datetime(2027, 3, 1, 16)


def test_the_task_with_the_latest_start_that_comes_first_goes_first():
    # hand: long must begin at once, end may begin two days later than short does
    tasks = [task("short"), task("long"), task("end", 16.0, ["long"])]
    schedule = placed(tasks, Crew(name="one", people=1))
    assert [one.task.key for one in schedule.planned] == ["long", "end", "short"]


def test_fewer_people_now_or_more_later_whichever_is_done_first():
    # hand: one is free at once, four from 10:00 on; 8 person-hours are done at 16:00 by one now,
    # at 12:00 by four
    tasks = [task("first", 2.0, crew=(3, 3)), task("second", 2.0, crew=(1, 4))]
    second = placed(tasks, FOUR).at("second")
    assert (second.people, second.start.hour, second.finish.hour) == (4, 10, 12)
    # hand: with four from 16:00 on only, one now is done sooner
    tasks = [task("first", 8.0, crew=(3, 3)), task("second", 2.0, crew=(1, 4))]
    second = placed(tasks, FOUR).at("second")
    assert (second.people, second.start.hour, second.finish.hour) == (1, 8, 16)


def test_a_job_with_a_new_room_keeps_every_rule():
    schedule = placed(tasks_of(NEW_ROOM))
    keeps_the_rules(schedule)
    assert {v.outcome for v in programme_checks(schedule)} == {"passed", "review"}
    (caution,) = [v for v in programme_checks(schedule) if v.outcome == "review"]
    assert caution.item == "Age of the plaster at the first coat"
    # the plaster dries 72 h, from a Friday to a Monday
    assert (caution.found, caution.unit) == ("3.0", "days")


WORK = {**NEW_ROOM, "generator": 1, "guard": 2}


@given(work=st.fixed_dictionaries({unit: st.one_of(st.just(0.0), st.floats(0.2, 3.0))
                                   for unit in WORK}), crew=st.integers(2, 6))
@settings(max_examples=60, deadline=None)
def test_an_open_trench_is_filled_before_other_work_is_begun(work, crew):
    """Whatever the job and the crew: sooner than where the order goes by latest starts alone."""
    tasks = tasks_of({unit: share * WORK[unit] for unit, share in work.items()})
    if not {"trench", "duct"} <= {one.key for one in tasks}:
        return
    crew = Crew(name="crew", people=crew)
    soon, late = placed(tasks, crew), placed([replace(one, closed_by=()) for one in tasks], crew)
    keeps_the_rules(soon)
    assert soon.at("duct").finish <= late.at("duct").finish
    before = {"trench", "earth", "duct"}
    for one in soon.planned:
        if soon.at("trench").finish <= one.start < soon.at("duct").start:
            # who begins something else beside the open trench is not missed at it
            assert one.task.key in before or any(
                other.start <= one.start < other.finish
                for other in map(soon.at, before) if other is not None)


def test_an_existing_room_takes_days():
    schedule = placed(tasks_of(ROOF))
    keeps_the_rules(schedule)
    assert (schedule.finish().date() - MONDAY).days < 5
    assert {v.outcome for v in programme_checks(schedule)} == {"passed"}


def test_same_in_same_out():
    assert placed(tasks_of(NEW_ROOM)).planned == placed(tasks_of(NEW_ROOM)).planned


def test_half_the_crew_leaves_between_two_days():
    away = Away(people=2, first=date(2027, 3, 4), back=date(2027, 3, 9))
    schedule = placed(tasks_of(NEW_ROOM), replace(FOUR, away=(away,)))
    keeps_the_rules(schedule)
    for day in day_list(schedule):
        most = 2 if away.first <= day.day < away.back else 4
        assert day.people <= most
    assert schedule.finish() > placed(tasks_of(NEW_ROOM), FOUR).finish()


def test_who_never_comes_back_may_leave_nobody_to_do_it():
    crew = Crew(name="crew", people=2, away=(Away(people=1, first=date(2027, 3, 3)),))
    with pytest.raises(InputError, match="at least 2") as caught:
        placed(tasks_of(NEW_ROOM), crew)
    assert "half_crew_back_on" in str(caught.value)


def test_a_crew_of_one_is_too_few_for_a_roof():
    with pytest.raises(InputError, match="rails"):
        placed(tasks_of(ROOF), Crew(name="one", people=1))


# --- deferral


def test_what_can_go_on_while_the_roof_work_is_deferred():
    tasks = with_changes(tasks_of(NEW_ROOM), [Change(key="rails", deferred_to="2027-03-17")])
    schedule = placed(tasks)
    keeps_the_rules(schedule)
    assert schedule.at("rails").start.date() == date(2027, 3, 17)
    # They wait for the earth electrode, and that for the trench: walls and render are done by then.
    room = {"door", "duct", "primer", "top-coat"}
    assert {one.task.key for one in what_can_go_on(schedule, "rails")} == room
    (row,) = [row for row in go_on_rows(schedule)
              if row["postponed task"] == "Roof fixings and rails"]
    assert "Cable duct laid" in row["tasks that can continue"]
    sooner = with_changes(tasks_of(NEW_ROOM), [Change(key="rails", deferred_to="2027-03-16")])
    assert {one.task.key for one in what_can_go_on(placed(sooner), "rails")} == room - {"top-coat"}


def test_what_can_go_on_leaves_out_before_and_after():
    schedule = placed(tasks_of(NEW_ROOM))
    keys = {one.task.key for one in what_can_go_on(schedule, "render")}
    # The electrode is driven into the open trench, and what stands on a roof waits for it.
    assert keys == {"trench", "door", "duct", "earth", "rails", "modules"}
    assert what_can_go_on(schedule, "handover") == ()


def test_what_can_go_on_wants_a_task_that_is_there():
    with pytest.raises(InputError, match="one of set-up"):
        what_can_go_on(placed(tasks_of(NEW_ROOM)), "walk")


# --- several sites


def two_sites(crews, first=NEW_ROOM, second=NEW_ROOM, **more):
    return share_crews(
        [SiteWorks(name="School", tasks=tasks_of(first), calendar=WEEK, priority=1),
         SiteWorks(name="Clinic", tasks=tasks_of(second), calendar=Calendar(**{
             "start": MONDAY, **more}), priority=2)],
        crews,
    )  # fmt: skip


def test_one_crew_two_sites_never_in_two_places():
    schedule = two_sites([FOUR])
    keeps_the_rules(schedule)
    alone = placed(tasks_of(NEW_ROOM), FOUR).finish()
    assert schedule.finish("School") == alone
    assert schedule.finish("Clinic") > alone
    assert crews_check(schedule).outcome == "passed"


def test_the_second_site_takes_the_days_on_which_the_first_dries():
    wet = (task("plaster", wait_h=72.0), task("paint", after=["plaster"]))
    sites = [SiteWorks(name="A", tasks=wet, calendar=WEEK),
             SiteWorks(name="B", tasks=(task("x"), task("y")), calendar=WEEK, priority=2)]
    schedule = share_crews(sites, [Crew(name="one", people=1)])
    # hand: Monday plaster, dry on Thursday 16:00, paint on Friday; Tuesday and Wednesday at B
    assert schedule.at("paint", "A").start == datetime(2027, 3, 5, 8)
    assert schedule.at("x", "B").start == datetime(2027, 3, 2, 8)
    assert schedule.at("y", "B").start == datetime(2027, 3, 3, 8)


def test_priority_decides_not_the_order_of_the_list():
    sites = [SiteWorks(name="A", tasks=(task("x"),), calendar=WEEK, priority=2),
             SiteWorks(name="B", tasks=(task("y"),), calendar=WEEK, priority=1)]
    schedule = share_crews(sites, [Crew(name="one", people=1)])
    assert schedule.at("y", "B").start < schedule.at("x", "A").start


def test_trades_go_to_who_knows_them():
    masons = Crew(name="masons", people=3, trades=("builder", "painter"))
    fitters = Crew(name="fitters", people=4, trades=("roof", "electrician"))
    schedule = two_sites([masons, fitters], hours_a_day_h=9.0, work_days="mon-fri")
    keeps_the_rules(schedule)
    for one in schedule.planned:
        if one.task.trade:
            assert one.crew == ("masons" if one.task.trade in masons.trades else "fitters")
    with pytest.raises(InputError, match="who do the work of: roof") as error:
        two_sites([masons, replace(fitters, trades=("electrician",))])
    assert "programme.crew" in error.value.faults[0].remedy, "the key of the site file"


@given(
    st.lists(st.tuples(st.integers(0, 24), st.integers(1, 3), st.integers(0, 60),
                       st.integers(0, 7)), min_size=1, max_size=7),
    st.lists(st.tuples(st.integers(0, 24), st.integers(1, 3), st.integers(0, 60),
                       st.integers(0, 7)), min_size=1, max_size=7),
    st.integers(3, 6), st.integers(0, 10), st.sampled_from(["mon-fri", "every-day"]),
    st.sampled_from([0.0, 0.25]),
)  # fmt: skip
@settings(max_examples=80, deadline=None)
def test_any_two_sites_on_two_crews_keep_the_rules(first, second, people, leaves, days, stays):
    def listed(rows):
        return tuple(
            task(f"t{n}", hours / 2.2, [f"t{k}" for k in range(n) if links >> k & 1],
                 crew=(1, crew), wait_h=float(wait))
            for n, (hours, crew, wait, links) in enumerate(rows)
        )  # fmt: skip

    gone = MONDAY + timedelta(days=leaves)
    crews = [
        Crew(name="a", people=people, away=(
            Away(people=people // 2, first=gone, back=gone + timedelta(days=5)),)),
        Crew(name="b", people=2),
    ]  # fmt: skip
    schedule = share_crews(
        [SiteWorks(name="A", tasks=listed(first), calendar=replace(WEEK, stays_on_h=stays)),
         SiteWorks(name="B", tasks=listed(second), calendar=Calendar(
             start=MONDAY, work_days=days, hours_a_day_h=6.5, stays_on_h=stays), priority=2)],
        crews,
    )  # fmt: skip
    keeps_the_rules(schedule)
    assert crews_check(schedule).outcome == "passed"
    for site in schedule.sites:
        network = schedule.networks[site.name]
        assert schedule.finish(site.name) >= network.finish
        assert any(one.critical for one in schedule.of(site.name))


@given(st.lists(st.integers(0, 160), min_size=1, max_size=9), st.sampled_from([6.5, 8.0, 16.0]))
@settings(max_examples=120, deadline=None)
def test_nobody_comes_or_comes_back_for_minutes_of_a_task(tenths, a_day_h):
    """Tasks in a chain: what a day has left over is done on it, and none is begun at its very end.
    """
    chain = [task(f"t{n}", tenth / 10.0, [f"t{n - 1}"] if n else [])
             for n, tenth in enumerate(tenths)]  # fmt: skip
    stays, leaves = (
        placed(chain, calendar=replace(WEEK, hours_a_day_h=a_day_h, stays_on_h=stays_on_h))
        for stays_on_h in (0.25, 0.0)
    )  # fmt: skip
    keeps_the_rules(stays)
    few, calendar = timedelta(minutes=15), stays.sites[0].calendar
    # what is not begun at the end of a day is begun later by less than that time of work
    lost_h = calendar.work_between_h(leaves.finish(), stays.finish())
    begins = len({one.start.date() for one in stays.planned}) - 1
    assert lost_h <= 0.25 * begins
    for one in stays.planned:
        spells = list(calendar.spells(one.start, one.finish))
        if len(spells) > 1:
            assert spells[0][1] - spells[0][0] >= few
        if len(spells) > 1 and a_day_h < 16.0:  # which ends at midnight
            begin, end = spells[-1]
            assert end - begin > few
        for begin, end in spells:
            assert end <= calendar.hours_of(begin.date())[1] + few
    network = stays.networks["Site"]
    assert [(one.start, one.finish) for one in stays.planned] == [
        (network.times[one.task.key].earliest_start, network.times[one.task.key].earliest_finish)
        for one in stays.planned
    ]  # fmt: skip
    assert all(one.critical for one in stays.planned if one.task.work_h)
    # a task that slips to its latest start does not move the end
    for times in network.times.values():
        assert times.float_h <= 0.25 * max(begins, 1)
    assert sum(one.person_h for one in day_list(stays)) == pytest.approx(
        sum(tenths) / 10.0, abs=len(tenths) / 60.0)  # fmt: skip


@pytest.mark.parametrize(
    ("sites", "crews", "words"),
    [
        ([], [FOUR], "at least one crew"),
        ([SiteWorks(name="A", tasks=(), calendar=WEEK)], [FOUR], "one task a site"),
        ([SiteWorks(name="A", tasks=(task("x"),), calendar=WEEK)], [], "at least one crew"),
        ([SiteWorks(name="A", tasks=(task("x"),), calendar=WEEK)] * 2, [FOUR], "'A' twice"),
        ([SiteWorks(name="A", tasks=(task("x"),), calendar=WEEK)], [FOUR, FOUR], "'crew' twice"),
    ],
)
def test_what_cannot_be_shared(sites, crews, words):
    with pytest.raises(InputError, match=words):
        share_crews(sites, crews)


# --- days


def test_the_day_list_has_all_the_work_and_every_day():
    schedule = placed(tasks_of(NEW_ROOM))
    days = day_list(schedule)
    span = (schedule.finish().date() - MONDAY).days + 1
    assert [day.day for day in days] == [MONDAY + timedelta(days=n) for n in range(span)]
    work = sum(one.person_h for one in tasks_of(NEW_ROOM))
    # a task ends on a whole minute, so up to a minute of each of its people is added
    minutes = sum(one.people for one in schedule.planned)
    assert work <= sum(day.person_h for day in days) <= work + minutes / 60.0
    assert person_days(schedule) == pytest.approx(work / 8.0)
    assert crew_days(schedule) == sum(1 for day in days if day.work)
    assert max(day.people for day in days) == 3


def test_days_in_words():
    rows = day_rows(placed(tasks_of(NEW_ROOM)))
    assert rows[0]["day"] == "Mon 1 Mar 2027"
    # hand: 3 person-hours of set-up by three people
    assert rows[0]["work"].startswith("Site set-up: unload, mark out, fence off (3 people, 08:00 to"
                                      " 09:00); Footing and floor slab (3 people")  # fmt: skip
    assert "continues next day" in rows[0]["work"]
    assert rows[6]["work"] == "day off"
    assert rows[1]["curing"].startswith("Footing and floor slab until Thu 4 Mar 2027")
    many = day_rows(two_sites([FOUR]))
    assert {row["site"] for row in many} == {"School", "Clinic"}


def test_task_rows_are_alike_and_say_the_float():
    rows = task_rows(placed(tasks_of(NEW_ROOM)))
    assert len({tuple(row) for row in rows}) == 1
    found = {row["key"]: row for row in rows}
    assert found["boards"]["float [h]"] == 0.0
    assert found["earth"]["float [h]"] > 8.0
    # hand: 72 h after Friday 12 March
    assert found["render"]["cured"].startswith("Mon 15 Mar 2027")


def test_the_answer_names_days_work_and_what_it_hangs_on():
    answer = programme_answer(placed(tasks_of(ROOF)))
    assert answer.startswith("Work from Mon 1 Mar 2027 to ")
    assert answer.endswith("; tests; handover.")


def test_cautions_end_with_local_codes():
    lines = programme_cautions(tasks_of(NEW_ROOM))
    assert "Local codes" in lines[-1]
    assert any("burns and blinds" in line for line in lines)
    assert any("live in any light" in line for line in lines)


# --- checks


def outcome(changes, item):
    schedule = placed(with_changes(tasks_of(NEW_ROOM), changes))
    (found,) = [v for v in programme_checks(schedule) if v.item == item]
    assert (found.outcome == "passed") == (found.remedy == "")
    return found.outcome


@pytest.mark.parametrize(
    ("changes", "item", "expected"),
    [
        ([Change(key="battery", after=["duct"])],
         "Batteries placed in a closed room with dry paint", "failed"),
        ([Change(key="earth", after=["modules"]), Change(key="rails", after=["trench"]),
          Change(key="boards", after=["modules"])], "Earth before equipment", "failed"),
        ([Change(key="handover", after=["connections"]), Change(key="tests", after=["connections"],
          deferred_to="2027-03-25")], "Tests before handover", "failed"),
        ([Change(key="modules", crew=1)], "People at work at height", "failed"),
        ([Change(key="battery", crew=1)], "People who carry batteries", "failed"),
        ([Change(key="primer", deferred_to="2027-04-12")],
         "Age of the plaster at the first coat", "passed"),
    ],
)  # fmt: skip
def test_a_list_that_breaks_a_rule_is_seen(changes, item, expected):
    assert outcome([], item) == ("review" if item.startswith("Age") else "passed")
    assert outcome(changes, item) == expected


def test_drying_is_judged_on_what_is_planned_not_on_how():
    schedule = placed(tasks_of(NEW_ROOM))
    early = tuple(
        replace(one, start=one.start - timedelta(days=2)) if one.task.key == "primer" else one
        for one in schedule.planned
    )
    found = {v.item: v for v in programme_checks(replace(schedule, planned=early))}
    assert found["Curing time between tasks"].outcome == "failed"
    assert found["Curing time between tasks"].found.startswith("24.0 from plaster of the room")


def test_a_crew_in_two_places_or_too_few_is_seen():
    schedule = two_sites([FOUR])
    twice = tuple(replace(one, start=one.start.replace(day=1), finish=one.finish.replace(day=1))
                  for one in schedule.planned if one.task.key == "set-up")  # fmt: skip
    found = crews_check(replace(schedule, planned=twice))
    assert (found.outcome, found.found) == ("failed", "crew: School and Clinic on Mon 1 Mar 2027")
    few = replace(schedule, crews=(replace(FOUR, people=3),))
    assert crews_check(few).found.startswith("crew: 4 people on")


# --- from the site file


def test_a_site_file_becomes_a_programme():
    programme = Programme(
        start="2027-05-03", crew=5, half_crew_released_on="2027-05-06",
        half_crew_back_on="2027-05-10",
        days_off=["2027-05-05"], work_days="mon-fri", tasks=[Change(key="modules", work_h=3.0)],
    )  # fmt: skip
    schedule = site_schedule(programme, NEW_ROOM, name="Shop")
    keeps_the_rules(schedule)
    assert schedule.planned[0].start == datetime(2027, 5, 3, 8)
    assert site_crew(programme).people_on(date(2027, 5, 7)) == 3
    assert site_crew(programme).people_on(date(2027, 5, 10)) == 5
    assert not any(day.work for day in day_list(schedule) if day.day == date(2027, 5, 5))
    assert schedule.at("modules").task.work_h == 3.0


@pytest.mark.parametrize("name", ["start", "half_crew_released_on"])
def test_days_that_are_none_are_refused_without_a_site_file_too(name):
    with pytest.raises(InputError, match=f"programme.{name}"):
        site_schedule(Programme(**{name: "2027-02-30"}), ROOF, name="Shop")
