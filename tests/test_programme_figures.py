"""Pictures of a programme, counted off the drawing."""

from __future__ import annotations

import io
import runpy
from datetime import date
from pathlib import Path

import matplotlib as mpl
import pytest
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from solarcalc.figures.programme import (
    MOST_LETTERS,
    MOST_NAMED_DAYS,
    draw_programme,
    draw_sites,
)
from solarcalc.programme.days import day_words
from solarcalc.programme.schedule import Crew, SiteWorks, schedule_site, share_crews
from solarcalc.programme.tasks import tasks_of, with_changes
from solarcalc.programme.workdays import Calendar
from solarcalc.sitefile.programme import Task as Change

JOB = runpy.run_path(str(Path(__file__).with_name("programme_cases.py")))["NEW_ROOM"]
MONDAY = date(2027, 3, 1)
CREW = Crew(name="crew", people=3)


def schedule_of(work=JOB, changes=(), name="Shop"):
    tasks = with_changes(tasks_of(work), changes)
    calendar = Calendar(start=date(2027, 3, 1))
    return schedule_site(SiteWorks(name=name, tasks=tasks, calendar=calendar), CREW)


def bars(axis):
    return [p for p in axis.patches if isinstance(p, Rectangle) and p.get_zorder() == 3]


def test_bars_are_the_work_and_hatched_where_the_end_hangs_on_it():
    schedule = schedule_of()
    axis = draw_programme(schedule).axes[0]
    for level, one in enumerate(schedule.planned):
        own = [b for b in bars(axis) if abs(b.get_y() + b.get_height() / 2.0 - level) < 0.1]
        worked = 8.0 * sum(bar.get_width() for bar in own)
        assert worked == pytest.approx(one.task.hours_with(one.people), abs=0.02)
        assert {bool(bar.get_hatch()) for bar in own} == {one.critical}
    names = [text.get_text() for text in axis.get_yticklabels()]
    # A long name is cut at a word, as it would leave the bars no room.
    for name, one in zip(names, schedule.planned, strict=True):
        said = name.removesuffix(" [...]")
        assert one.task.name.startswith(said)
        assert (len(one.task.name) > 44) == (said != one.task.name)
        assert len(name) <= 44
    assert len(set(names)) == len(names)
    assert day_words(schedule.finish().date()) in axis.get_title(loc="left")


def test_drying_and_sundays():
    schedule = schedule_of()
    axis = draw_programme(schedule).axes[0]
    lines = {tuple(line.get_xdata()) for line in axis.lines if line.get_linestyle() == "-"}
    render = schedule.at("render")
    # hand: three days on, at the same hour of its day
    begin = next(line[0] for line in lines if int(line[0]) == (render.finish.date() - MONDAY).days)
    assert any(line == (begin, pytest.approx(begin + 3.0)) for line in lines)
    shaded = [p for p in axis.patches if isinstance(p, Rectangle) and p.get_zorder() == 0]
    assert [p.get_x() for p in shaded] == [6, 13]


def test_a_deferred_task_is_marked_from_the_day_it_was_due():
    figure = draw_programme(schedule_of(changes=[Change(key="battery", deferred_to="2027-03-25")]))
    dotted = [x for x in figure.axes[0].lines if x.get_linestyle() == ":" and len(x.get_xdata())]
    ((due, new),) = [tuple(line.get_xdata()) for line in dotted]
    assert (new, int(due)) == (24.0, 17)
    assert "deferred" in words(figure)
    assert "deferred" not in words(draw_programme(schedule_of()))


def words(figure):
    return [text.get_text() for text in figure.findobj(Text)]


def several():
    sites = [
        SiteWorks(name=name, tasks=tasks_of(JOB), calendar=Calendar(start=date(2027, 3, 1)),
                  priority=n)
        for n, name in enumerate(["School", "Clinic", r"$\frac{a}{0}$ <b>"], start=1)
    ]  # fmt: skip
    return share_crews(sites, [
        Crew(name="masons", people=3, trades=("builder", "painter")),
        Crew(name="fitters", people=3, trades=("roof", "electrician")),
    ])  # fmt: skip


def test_several_sites_show_each_crew_in_one_place_a_day():
    schedule = several()
    axis = draw_sites(schedule).axes[0]
    hatches = {}
    for bar in bars(axis):
        hatches.setdefault(bar.get_hatch() or "", set()).add(int(bar.get_x()))
        assert bar.get_width() <= 1.0
    assert len(hatches) == 2
    level = {
        text.get_text(): number for number, text in enumerate(axis.get_yticklabels())
    }
    for crew in ("masons", "fitters"):
        seen: dict[int, set[str]] = {}
        for bar in bars(axis):
            row = round(bar.get_y() + bar.get_height() / 2.0)
            label = next(name for name, number in level.items() if number == row)
            if label.endswith(crew):
                seen.setdefault(int(bar.get_x() + 1e-9), set()).add(label)
        assert seen
        assert all(len(sites) == 1 for sites in seen.values())
    assert "3 sites, 2 crews" in axis.get_title(loc="left")


def test_long_programmes_name_their_mondays_only():
    large = {**JOB, "module": 900, "row": 30}
    axis = draw_programme(schedule_of(large)).axes[0]
    labels = [text.get_text() for text in axis.get_xticklabels()]
    assert len(labels) <= MOST_NAMED_DAYS
    assert all(label.startswith("M\n") for label in labels)


def test_they_draw_the_same_every_time_and_names_are_plain_text():
    for figure in (draw_programme(schedule_of(name=r"$\frac{x}{0}$")), draw_sites(several())):
        page = io.StringIO()
        figure.savefig(page, format="svg", metadata={"Date": None})
        assert len(page.getvalue()) > 2000
        axis = figure.axes[0]
        assert "[" in axis.get_xlabel()
        for text in figure.findobj(Text):
            assert not text.get_parse_math() or "$" not in text.get_text()
    assert mpl.rcParams["font.size"] == mpl.rcParamsDefault["font.size"]


def test_tasks_without_work_are_marks():
    changes = [Change(key="inspection", name="Inspection", work_h=0.0, after=["tests"])]
    axis = draw_programme(schedule_of(changes=changes)).axes[0]
    assert sum(line.get_marker() == "D" for line in axis.lines) == 1


def test_a_long_name_leaves_room_for_the_picture():
    long = "A task that says far more than fits " * 3
    change = Change(key="extra", name=long[:118].strip(), work_h=2.0, crew=1, after=["tests"])
    figure = draw_programme(schedule_of(changes=[change]))
    figure.savefig(io.BytesIO(), format="png")  # a layout that has collapsed warns: an error here
    names = [text.get_text() for text in figure.axes[0].get_yticklabels()]
    assert max(map(len, names)) <= MOST_LETTERS
