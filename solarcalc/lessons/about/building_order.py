"""Lesson 14: what waits for what on site, the chain that decides the end, and what has slack."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import lru_cache
from random import Random

from solarcalc.design import Design
from solarcalc.lessons import pictures
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.programme.tasks import Task
from solarcalc.programme.workdays import Calendar, Network, critical_path

WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
LETTERS = tuple("ABCDEFGH")
DAY_H = 8.0
WORKDAYS = Calendar(start=date(2027, 3, 1), hours_a_day_h=DAY_H, work_days="every-day")
"""Days that are worked, counted one after another: no Sundays among them."""
BY_THE_WEEK = replace(WORKDAYS, work_days="mon-sat")
ORDER = {
    "base": ("Base of the power room", ()), "walls": ("Walls", ("base",)),
    "cover": ("Roof of the power room", ("walls",)),
    "rails": ("Hooks and rails", ()), "modules": ("Modules", ("rails",)),
    "earth": ("Earth rods and trench", ()),
    "batteries": ("Batteries and inverter", ("cover",)),
    "tests": ("Tests and handover", ("modules", "earth", "batteries")),
}  # fmt: skip
"""Key to name and what it waits for."""
TEN = {"A": (2, ""), "B": (4, "A"), "C": (5, "A"), "D": (2, "B"), "E": (1, "B"), "F": (8, "BC"),
       "G": (3, "DE"), "H": (5, "F"), "I": (4, "F"), "J": (7, "GHI")}  # fmt: skip
"""The example: days, and what a task waits for."""


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner: an invented job of eight tasks, its slab, and a plan with a fault."""

    letters: Mapping[str, str]
    days: Mapping[str, int]
    person_h: int
    crew_most: int
    people: int
    poured: datetime
    wait_h: int
    longer_days: int
    too_early: str
    early_days: int
    idle_days: int

    @property
    def asked(self) -> str:
        """The task whose slack is asked for: rails, or the base where the roof decides."""
        return "base" if "rails" in _network(self.days).critical else "rails"


def draw(rng: Random, design: Design) -> Given:
    """Days, people and a slab that sets over a weekend; letters in no order."""
    days = {key: rng.randint(1, 4) for key in ORDER}
    letters = rng.sample(LETTERS, len(LETTERS))
    crew = rng.randint(2, 3)
    poured = datetime(2027, 3, 1, 14) + timedelta(days=rng.randint(2, 5))
    return Given(
        letters=dict(zip(ORDER, letters, strict=True)), days=days, crew_most=crew,
        person_h=crew * rng.randint(4, 9), people=crew + rng.randint(1, 2), poured=poured,
        wait_h=24 * rng.randint(2, 4), longer_days=rng.randint(3, 9),
        too_early=rng.choice(("walls", "cover", "modules", "batteries")),
        early_days=1, idle_days=1,
    )  # fmt: skip


def example() -> dict[str, int]:
    """Ten tasks of which A, C, F, H and J make the longest chain: 27 days."""
    network = _chained(tuple((key, days, tuple(after)) for key, (days, after) in TEN.items()))
    chain = {key.lower(): TEN[key][0] for key in network.critical}
    return chain | {"finish": _ended(network)}


def picture(given: Given) -> Picture:
    """The programme as bars: drag how long walls and modules take."""
    def draw(days_for_the_walls: int, days_for_the_modules: int) -> str:
        days = {**given.days, "walls": days_for_the_walls, "modules": days_for_the_modules}
        network = _network(days)
        bars = [pictures.Bar(name=ORDER[key][0], first_day=_first_day(network, key),
                             days=days[key], decides=key in network.critical)
                for key in ORDER]  # fmt: skip
        return pictures.task_bars(bars, f"{_ended(network)} working days; dark bars decide the end")

    return Picture(draw=draw, ranges={
        "days_for_the_walls": (1, 10, 1, given.days["walls"]),
        "days_for_the_modules": (1, 10, 1, given.days["modules"]),
    })  # fmt: skip


def side_by_side(given: Given) -> Worked:
    """The prediction: days of all tasks added up against the end of the job."""
    whole, end = sum(given.days.values()), _ended(_network(given.days))
    right = "b" if max(given.days.values()) < end < whole else "a"
    return Worked(right=right, steps={"whole": whole, "end": end})


def first_morning(given: Given) -> Worked:
    """Which third task can begin on the first morning: one that waits for nothing."""
    letters = given.letters
    free = [key for key, (_, after) in ORDER.items() if not after]
    return Worked(
        right=letters[free[2]], items=LETTERS, rows=_rows(given),
        wrong={"waits_for_the_rails": letters["modules"], "waits_for_all": letters["tests"],
               "waits_for_the_base": letters["walls"]},
        steps={"one": letters["base"], "other": letters["rails"], "modules": letters["modules"],
               "walls": letters["walls"], "tests": letters["tests"]},
    )  # fmt: skip


def hours_of_crew(given: Given) -> Worked:
    """Hours of a task when more people are there than can work on it [h]."""
    task = Task(key="rails", name="Hooks and rails", crew_most=given.crew_most,
                work_h=given.person_h / given.crew_most)  # fmt: skip
    return Worked(
        right=task.hours_with(given.people), unit="h", within_frac=0.005,
        wrong={"everybody_helps": given.person_h / given.people, "one_alone": task.hours_with(1),
               "multiplied": float(given.person_h * given.crew_most)},
        steps={"hours": task.hours_with(given.people)},
    )  # fmt: skip


def walls_from(given: Given) -> Worked:
    """The day from which walls stand on a slab that sets by the clock."""
    set_at = given.poured + timedelta(hours=given.wait_h)
    right = _weekday(BY_THE_WEEK.next_work(set_at))
    next_morning = BY_THE_WEEK.next_work(given.poured + timedelta(hours=12))
    wrong = {"next_morning": _weekday(next_morning), "sunday_is_free": _weekday(set_at),
             "working_hours": _weekday(BY_THE_WEEK.after_work(given.poured, given.wait_h))}
    return Worked(
        right=right, items=WEEK, wrong={slip: day for slip, day in wrong.items() if day != right},
        steps={"poured_on": _weekday(given.poured), "set_on": _weekday(set_at),
               "set_days": given.wait_h // 24, "right": right},
    )  # fmt: skip


def days_in_all(given: Given) -> Worked:
    """Working days until all is done, with enough people."""
    days, end = given.days, _ended(_network(given.days))
    room = days["base"] + days["walls"] + days["cover"] + days["batteries"] + days["tests"]
    roof = days["rails"] + days["modules"] + days["tests"]
    return Worked(
        right=end, unit="days", within_frac=0.0, rows=_rows(given),
        wrong={"all_in_a_row": sum(days.values()), "shorter_branch": min(room, roof),
               "forgot_the_last": end - days["tests"]},
        steps={"room": room, "roof": roof, "end": end},
    )  # fmt: skip


def slack(given: Given) -> Worked:
    """Days that a task may slip without the end slipping."""
    network, own = _network(given.days), given.days[given.asked]
    found = round(network.times[given.asked].float_h / DAY_H)
    return Worked(
        right=found, unit="days", within_frac=0.0, rows=_rows(given),
        wrong={"its_own_days": own, "none": 0, "up_to_the_end": _ended(network) - own},
        steps={**_asked(given), "end": _ended(network), "slack": found,
               "chain": _ended(network) - found},
    )  # fmt: skip


def late_by(given: Given) -> Worked:
    """Days that the end slips when a task takes longer than its slack."""
    days = {**given.days, given.asked: given.days[given.asked] + given.longer_days}
    end, found = _ended(_network(given.days)), _asked(given)
    slack_days = round(_network(given.days).times[given.asked].float_h / DAY_H)
    return Worked(
        right=_ended(_network(days)) - end, unit="days", within_frac=0.0,
        wrong={"the_whole_delay": given.longer_days, "nothing": 0,
               "added_the_slack": given.longer_days + slack_days},
        steps={**found, "slack": slack_days, "late": _ended(_network(days)) - end},
    )  # fmt: skip


def faulty_plan(given: Given) -> Worked:
    """Which bar begins before what it waits for is done."""
    letters, bars = given.letters, _bars(given)
    ends = {key: bar.first_day + bar.days for key, bar in bars.items()}
    wrong_ones = [key for key, bar in bars.items()
                  if any(bar.first_day < ends[before] for before in ORDER[key][1])]  # fmt: skip
    right = "".join(letters[key] for key in wrong_ones)
    first = ORDER[given.too_early][1][0]
    shown = sorted(bars.values(), key=lambda bar: bar.name)
    return Worked(
        right=right, items=LETTERS, rows=_rows(given),
        wrong={"begins_late": letters["earth"], "begins_the_day_after": letters["tests"],
               "waits_for_nothing": letters["rails"]},
        drawing=lambda: pictures.task_bars(shown, "The plan"),
        steps={"right": right, "first": letters[first], "begins": bars[given.too_early].first_day,
               "done": ends[first] - 1, "earth": letters["earth"], "tests": letters["tests"],
               "rails": letters["rails"]},
    )  # fmt: skip


def _network(days: Mapping[str, int]) -> Network:
    return _chained(tuple((key, days[key], after) for key, (_, after) in ORDER.items()))


@lru_cache(maxsize=64)
def _chained(tasks: tuple[tuple[str, int, tuple[str, ...]], ...]) -> Network:
    return critical_path([Task(key=key, name=key, crew_most=1, work_h=DAY_H * days, after=after)
                          for key, days, after in tasks], WORKDAYS)  # fmt: skip


def _ended(network: Network) -> int:
    """Working days until the end."""
    return (network.finish.date() - WORKDAYS.start).days + 1


def _first_day(network: Network, key: str) -> int:
    return (network.times[key].earliest_start.date() - WORKDAYS.start).days + 1


def _bars(given: Given) -> dict[str, pictures.Bar]:
    """A plan at the earliest days, the earth a day late by right, one task a day early by fault."""
    network = _network(given.days)
    moved = {"earth": given.idle_days, given.too_early: -given.early_days}
    return {key: pictures.Bar(name=f"{given.letters[key]}  {name}", days=given.days[key],
                              first_day=_first_day(network, key) + moved.get(key, 0))
            for key, (name, _) in ORDER.items()}  # fmt: skip


def _rows(given: Given) -> list[dict[str, object]]:
    rows = [{"task": given.letters[key], "work": name, "days": given.days[key],
             "waits for": ", ".join(sorted(given.letters[one] for one in after)) or "nothing"}
            for key, (name, after) in ORDER.items()]  # fmt: skip
    return sorted(rows, key=lambda row: str(row["task"]))


def _asked(given: Given) -> dict[str, object]:
    return {"letter": given.letters[given.asked], "name": ORDER[given.asked][0],
            "own": given.days[given.asked]}  # fmt: skip


def _weekday(moment: datetime) -> str:
    return WEEK[moment.weekday()]
