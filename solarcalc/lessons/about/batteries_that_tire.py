"""Lesson 9: how many years a battery lasts, by depth and by heat, and which one is at its end."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random

from solarcalc.basis.hours import DAYS_IN_YEAR
from solarcalc.battery.ageing import LifeCurve, calendar_damage_per_year_frac, cycles_to_end
from solarcalc.battery.existing_battery import capacity_left_frac
from solarcalc.design import Design
from solarcalc.lessons import pictures
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.sitefile.existing import Existing

DEPTHS = (0.2, 0.3, 0.5, 0.8)
NEIGHBOUR_DEPTH = 0.5
"""Of another battery than that of the tasks before it, whose years its question would print."""
REFERENCE_C = 25.0
END_FRAC = 0.8
"""Of the rated capacity, where a battery is called worn out: IEEE 1188, IEC 61427-1 (memory)."""
NAMES = ("B1", "B2", "B3", "B4", "B5")


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner.

    Parameters
    ----------
    curve : LifeCurve
        Of an invented sheet.
    depth_frac : float
        Taken out each night, one of the sheet's depths.
    guess_c, room_c : int
        Of the room in the prediction and of the neighbour's, and in the tasks.
    wish_years, night_kwh, unit_kwh : float
        Of the battery that is to be chosen.
    tested : tuple of Existing
        Five batteries after a discharge test, one worn out.
    """

    curve: LifeCurve
    depth_frac: float
    guess_c: int
    room_c: int
    wish_years: int
    night_kwh: float
    unit_kwh: float
    tested: tuple[Existing, ...]

    @property
    def cycles(self) -> float:
        """Their number by the sheet, at the depth of each night."""
        return round(float(cycles_to_end(self.depth_frac, self.curve)))

    @property
    def cycle_years(self) -> float:
        """The neighbour's by one cycle a day alone [years], as a question prints it."""
        return round(_cycles(self, NEIGHBOUR_DEPTH) / DAYS_IN_YEAR, 1)

    @property
    def time_years(self) -> float:
        """The neighbour's by time in the heat of the room [years], as a question prints it."""
        return round(_time_years(self, self.guess_c), 1)


def draw(rng: Random, design: Design) -> Given:
    """An invented sheet in the usual ranges, a warm room, five batteries of a test."""
    at_80, power = rng.choice(((500, 1.1), (650, 1.2), (1500, 0.95), (3500, 0.85)))
    curve = LifeCurve(
        depth_frac=DEPTHS, reference_c=REFERENCE_C, calendar_years=float(rng.randint(8, 14)),
        cycles=tuple(50.0 * round(rng.uniform(0.97, 1.03) * at_80 * (0.8 / depth) ** power / 50.0)
                     for depth in DEPTHS), source="an invented sheet",
    )  # fmt: skip
    room_c = rng.choice((30, 40, 45))
    return Given(
        curve=curve, depth_frac=rng.choice((0.2, 0.8)), room_c=room_c,
        guess_c=rng.choice([each for each in (30, 35, 45) if each != room_c]),
        wish_years=rng.randint(3, 9), night_kwh=round(rng.uniform(2.2, 9.5), 1),
        unit_kwh=rng.choice((1.2, 2.4, 2.6, 4.8, 5.1)), tested=_tested(rng),
    )  # fmt: skip


def _tested(rng: Random) -> tuple[Existing, ...]:
    """A tired one that was drawn slowly, a sound one drawn fast, and the oldest of all is sound."""
    tired, fast, oldest = rng.sample(NAMES, 3)
    made = []
    for name in NAMES:
        plate_ah = float(rng.choice((80, 100, 120, 150, 200)))
        hours = {tired: 12.0, fast: 7.0}.get(name, 10.0)
        left = rng.uniform(0.66, 0.75) if name == tired else rng.uniform(0.9, 1.01)
        test_a = round(plate_ah / hours, 1)
        test_h = round(left * plate_ah / test_a, 1)
        made.append(Existing(
            kind="battery", label=name, count=1, chemistry="agm", unit_voltage_v=12.0,
            age_years=float(9 if name == oldest else rng.randint(3, 7)),
            unit_capacity_ah=plate_ah, rated_discharge_h=10.0, measured_discharge_h=test_h,
            measured_capacity_ah=round(test_a * test_h, 1),
        ))  # fmt: skip
    return tuple(made)


def example() -> dict[str, float]:
    """10 years at 25 degC are 5 at 35 degC; with 1500 cycles used daily 2.3 years remain.

    [years] and [degC], as the formula prints them.
    """
    curve = LifeCurve(depth_frac=(0.5, 0.8), cycles=(1500.0, 900.0), calendar_years=10.0,
                      reference_c=REFERENCE_C, source="example")  # fmt: skip
    by_time = calendar_damage_per_year_frac(35.0, curve)
    by_cycles = DAYS_IN_YEAR / float(cycles_to_end(0.5, curve))
    return {"rest_years": 10.0, "room_c": 35.0, "time_years": 1.0 / by_time, "cycles": 1500.0,
            "cycle_years": 1.0 / by_cycles, "years": 1.0 / (by_time + by_cycles)}  # fmt: skip


def picture(given: Given) -> Picture:
    """Years by depth, and what heat takes off: drag depth and heat of the room."""
    def draw_it(daily_depth_pct: int, room_temperature_c: int) -> str:
        return pictures.battery_life(given.curve, daily_depth_pct / 100.0, room_temperature_c)

    return Picture(draw=draw_it, ranges={
        "daily_depth_pct": (10, 90, 5, round(100.0 * given.depth_frac)),
        "room_temperature_c": (15, 50, 1, 25),
    })  # fmt: skip


def life_in_heat(given: Given) -> Worked:
    """The prediction: what is left of the life of a battery at rest in a warm room."""
    years = _time_years(given, given.guess_c)
    left = years / given.curve.calendar_years
    right = "b" if left > 0.6 else "c" if left > 0.4 else "d"
    return Worked(right=right, steps={"years": years, "left_percent": 100.0 * left})


def cycles_from_sheet(given: Given) -> Worked:
    """Cycles by the sheet, where the display shows what is left in the morning."""
    near = DEPTHS[1] if given.depth_frac == DEPTHS[0] else DEPTHS[2]
    return Worked(
        right=given.cycles, unit="cycles", within_frac=0.002,
        wrong={"charge_for_depth": _cycles(given, 1.0 - given.depth_frac),
               "neighbour_row": _cycles(given, near), "counted_days": given.cycles / DAYS_IN_YEAR},
        rows=[{"depth of discharge": f"{depth:.0%}".replace("%", " %"), "cycles": f"{count:.0f}"}
              for depth, count in zip(DEPTHS, given.curve.cycles, strict=True)],
        steps=_percent(given),
    )  # fmt: skip


def years_by_cycles(given: Given) -> Worked:
    """Years that the cycles last, one a day [years]."""
    return Worked(
        right=given.cycles / DAYS_IN_YEAR, unit="years", within_frac=0.015, within=0.06,
        wrong={"one_a_month": given.cycles / 12.0, "one_a_week": given.cycles / 52.0,
               "days_for_years": given.cycles, "upside_down": DAYS_IN_YEAR / given.cycles},
        steps=_percent(given) | {"years": given.cycles / DAYS_IN_YEAR},
    )  # fmt: skip


def years_by_heat(given: Given) -> Worked:
    """Years at rest in the heat of the room [years]."""
    rest, warmer_k = given.curve.calendar_years, given.room_c - REFERENCE_C
    tens = warmer_k / 10.0
    part_step = {} if tens <= 1.0 or tens == int(tens) else {
        "half_a_step": rest / 2.0 * (1.0 - (tens - 1.0) / 2.0),
        "twice_the_steps": rest / 2.0 / tens,
    }  # fmt: skip
    return Worked(
        right=_time_years(given, given.room_c), unit="years", within_frac=0.02, within=0.06,
        wrong={"forgot_the_heat": rest, "longer_when_warm": rest * rest / _time_years(
            given, given.room_c), "straight_line": rest * max(0.0, 1.0 - warmer_k / 20.0),
            "counted_from_zero": rest * 2.0 ** (-given.room_c / 10.0),
            "halved_once": rest / 2.0, **part_step},
        steps={"rest": rest, "warmer_k": warmer_k, "tens": tens,
               "factor": 2.0 ** (warmer_k / 10.0), "years": _time_years(given, given.room_c)},
    )  # fmt: skip


def both_together(given: Given) -> Worked:
    """Years with cycles and heat at once [years]."""
    by_cycles, by_time = given.cycle_years, given.time_years
    years = 1.0 / (1.0 / by_cycles + 1.0 / by_time)
    return Worked(
        right=years, unit="years", within_frac=0.03, within=0.06,
        wrong={"the_shorter_alone": min(by_cycles, by_time), "added_the_years": by_cycles + by_time,
               "the_middle": (by_cycles + by_time) / 2.0,
               "difference": abs(by_cycles - by_time),
               "share_of_a_year": 1.0 / by_cycles + 1.0 / by_time},
        steps={"by_cycles_percent": 100.0 / by_cycles, "by_time_percent": 100.0 / by_time,
               "year_percent": 100.0 / years, "years": years},
    )  # fmt: skip


def batteries_for_years(given: Given) -> Worked:
    """Batteries for a night's energy, as deep as the years that are wanted allow."""
    wanted = DAYS_IN_YEAR * given.wish_years
    allowed = [depth for depth in DEPTHS if _cycles(given, depth) >= wanted]
    depth = allowed[-1] if allowed else float("nan")
    deeper = next((each for each in DEPTHS if each > depth), 1.0)
    exact = given.night_kwh / (given.unit_kwh * depth)
    return Worked(
        right=math.ceil(exact) if allowed else float("nan"), unit="batteries", within_frac=0.0,
        wrong={"rounded_down": math.floor(exact) if allowed else 0,
               "emptied_them": math.ceil(given.night_kwh / given.unit_kwh),
               "a_row_too_deep": math.ceil(given.night_kwh / (given.unit_kwh * deeper))},
        rows=cycles_from_sheet(given).rows,
        steps={"wanted": wanted, "deepest_percent": 100.0 * depth, "exact": exact,
               "each_kwh": given.unit_kwh * depth, "count": math.ceil(exact) if allowed else 0},
    )  # fmt: skip


def worn_battery(given: Given) -> Worked:
    """Which of five tested batteries is at its end."""
    left = {one.label: capacity_left_frac(one) or 0.0 for one in given.tested}
    worn = [name for name, frac in left.items() if frac < END_FRAC]
    rows = [{"battery": one.label, "age": f"{one.age_years:.0f} years",
             "rating plate": f"{one.unit_capacity_ah:.0f} Ah",
             "test current": f"{_test_a(one):.1f} A",
             "hours to 10.5 V": f"{one.measured_discharge_h:.1f} h"} for one in given.tested]
    found = next(one for one in given.tested if one.label == (worn or NAMES)[0])
    gave = found.measured_capacity_ah or 0.0
    return Worked(
        right=worn[0] if len(worn) == 1 else "", items=NAMES,
        wrong={"shortest_test": min(given.tested, key=lambda one: one.measured_discharge_h or 0.0
                                    ).label,
               "oldest": max(given.tested, key=lambda one: one.age_years).label},
        rows=rows, steps={"worn": found.label, "gave_ah": gave, "plate_ah": found.unit_capacity_ah,
                          "left_percent": 100.0 * gave / (found.unit_capacity_ah or 1.0)},
    )  # fmt: skip


def _cycles(given: Given, depth_frac: float) -> float:
    return float(cycles_to_end(depth_frac, given.curve))


def _time_years(given: Given, room_c: float) -> float:
    return 1.0 / calendar_damage_per_year_frac(room_c, given.curve)


def _test_a(one: Existing) -> float:
    return (one.measured_capacity_ah or 0.0) / (one.measured_discharge_h or 1.0)


def _percent(given: Given) -> dict[str, float]:
    return {"depth_percent": 100.0 * given.depth_frac, "left": 100.0 * (1.0 - given.depth_frac)}
