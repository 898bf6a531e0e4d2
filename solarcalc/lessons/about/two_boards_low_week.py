"""Lesson 10: two boards, a battery between them, and a week with little sun."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from random import Random

import numpy as np

from solarcalc.basis.hours import HOURS_IN_DAY
from solarcalc.battery.bank import Bank
from solarcalc.design import Design
from solarcalc.lessons import pictures
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.loads.days import energy_per_day_wh
from solarcalc.sitefile.loads import Appliance
from solarcalc.supply.system import Board, Shedding, System

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
SCATTER_KWH = 0.1
MISSING_KWH = 0.5
"""More than this lacks in a day's account: no scatter of meters (common practice, no source)."""
LISTED = {
    "essential": (("lamp", (7, 9, 12), (4, 9), 5), ("fridge", (25, 30, 40), (1, 2), 24),
                  ("router", (8, 10, 15), (1, 1), 24), ("fan", (30, 40, 50), (1, 3), 7)),
    "nonessential": (("television", (60, 90, 120), (1, 1), 5), ("iron", (1000, 1200), (1, 1), 1),
                     ("washing machine", (400, 500), (1, 1), 2)),
}  # fmt: skip
"""Invented appliances: powers to choose from [W], fewest and most, hours a day."""


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner; energies are of a day.

    Parameters
    ----------
    boards : dict
        The appliances of each board.
    efficiency_frac, no_load_w : float
        Of the inverter of each board.
    capacity_kwh, reserve_frac, shed_frac : float
        Of the battery, what is left in it at the least, and where the nonessential board is shed.
    low_frac : float
        Sun of the low-irradiance week, of the usual, [0 to 1].
    wish_days : int
        That the essential board shall last after the other one is shed.
    log : tuple of dict
        Seven days of the battery's meter, one with more gone than it says.
    """

    boards: dict[str, tuple[Appliance, ...]]
    efficiency_frac: float
    no_load_w: int
    capacity_kwh: float
    reserve_frac: float
    shed_frac: float
    low_frac: float
    wish_days: int
    log: tuple[dict[str, float], ...]

    @cached_property
    def essential_wh(self) -> float:
        """Demand of the essential board [Wh]."""
        return energy_per_day_wh(self.boards["essential"])

    @cached_property
    def both_wh(self) -> float:
        """Demand of both boards [Wh]."""
        return self.essential_wh + energy_per_day_wh(self.boards["nonessential"])

    @property
    def wish(self) -> str:
        """The days that the essential board shall last, in words."""
        return "one day" if self.wish_days == 1 else f"{self.wish_days} days"

    @property
    def essential_kwh(self) -> float:
        """Drawn from the battery for the essential board [kWh], as it is printed."""
        return round(self._drawn_wh(self.essential_wh, 1) / 1000.0, 2)

    @property
    def both_kwh(self) -> float:
        """Drawn from the battery for both boards [kWh], as it is printed."""
        return round(self._drawn_wh(self.both_wh, 2) / 1000.0, 2)

    @property
    def sun_kwh(self) -> float:
        """Sun of a day of the low-irradiance week [kWh], as it is printed; usual: 1.3 of both."""
        return round(1.3 * self.low_frac * self.both_kwh, 2)

    @property
    def system(self) -> System:
        """The supply, as the package runs it."""
        board = Board(rating_w=1e4, efficiency_frac=self.efficiency_frac,
                      no_load_w=float(self.no_load_w))  # fmt: skip
        return System(
            banks=(_bank(self.capacity_kwh, self.reserve_frac),),
            boards={"essential": board, "nonessential": board},
            shedding=Shedding(off_frac=self.shed_frac, on_frac=min(1.0, self.shed_frac + 0.15)),
        )

    def _drawn_wh(self, demand_wh: float, inverters: int) -> float:
        return demand_wh / self.efficiency_frac + inverters * HOURS_IN_DAY * self.no_load_w


def _bank(capacity_kwh: float, reserve_frac: float) -> Bank:
    """A lithium battery at 25 degC whose own losses are left aside."""
    return Bank(
        capacity_wh=1000.0 * capacity_kwh, voltage_v=51.2, available_frac=1.0, exchange_per_h=0.0,
        min_soc_frac=reserve_frac, charge_efficiency_frac=1.0, discharge_efficiency_frac=1.0,
        max_charge_w=1e5, max_discharge_w=1e5, acceptance_per_h=float("inf"),
        self_discharge_frac_per_h=0.0, capacity_factor=np.ones(1), charge_factor=np.ones(1),
    )  # fmt: skip


def draw(rng: Random, design: Design) -> Given:
    """An invented house of some lamps and a fridge, with a battery for two or three days."""
    given = Given(
        boards={name: tuple(Appliance(
            name=what, power_w=float(rng.choice(powers)), count=rng.randint(*counts),
            use=["00:00-24:00"] if hours == HOURS_IN_DAY else [f"17:00-{17 + hours:02d}:00"],
        ) for what, powers, counts, hours in lines) for name, lines in LISTED.items()},
        efficiency_frac=rng.choice((0.88, 0.9, 0.92)), no_load_w=rng.randint(8, 18),
        capacity_kwh=1.0, reserve_frac=rng.choice((0.1, 0.15, 0.2, 0.25)),
        shed_frac=rng.choice((0.45, 0.5, 0.55, 0.6)), low_frac=rng.choice((0.2, 0.3, 0.4)),
        wish_days=rng.choice((1, 2)), log=(),
    )  # fmt: skip
    capacity_kwh = round(rng.uniform(2.2, 5.5) * given.essential_kwh, 1)
    return replace(given, capacity_kwh=capacity_kwh, log=_log(rng, capacity_kwh))


def _log(rng: Random, capacity_kwh: float) -> tuple[dict[str, float], ...]:
    """A week of the battery's meter; on one day more is gone than it says, and not the worst."""
    thief = rng.choice(DAYS[1:6])
    charge, made = round(0.8 * capacity_kwh, 1), []
    for day in DAYS:
        sun = round(rng.uniform(0.1, 0.25) * capacity_kwh, 1)
        drawn = round(rng.uniform(0.12, 0.25) * capacity_kwh, 1)
        extra = rng.uniform(0.9, 1.4) if day == thief else rng.uniform(-0.4, 0.4) * SCATTER_KWH
        after = round(charge + sun - drawn - extra, 1)
        made.append({"charge": charge, "sun": sun, "drawn": drawn, "after": after})
        charge = after
    return tuple(made)


def example() -> dict[str, float]:
    """5 kWh in a day through 90 %, from 80 % of a battery of 48 V and 144.7 Ah: one day.

    [kWh] and [days], as the formula prints them.
    """
    capacity_kwh = 48.0 * 144.67592592593 / 1000.0
    usable_kwh = _bank(capacity_kwh, 0.2).usable_wh() / 1000.0
    return {"demand": 5.0, "efficiency": 0.9, "capacity": capacity_kwh, "reserve": 0.2,
            "days": usable_kwh / (5.0 / 0.9)}  # fmt: skip


def picture(given: Given) -> Picture:
    """Charge of the battery through a low-irradiance week: drag the sun and the shedding level."""
    def draw_it(sun_of_a_usual_day_pct: int, shedding_level_pct: int) -> str:
        house = replace(given, shed_frac=shedding_level_pct / 100.0)
        return pictures.low_week(
            house.system, essential_wh=given.essential_wh,
            nonessential_wh=given.both_wh - given.essential_wh,
            usual_sun_wh=1300.0 * given.both_kwh, low_frac=sun_of_a_usual_day_pct / 100.0,
        )  # fmt: skip

    return Picture(draw=draw_it, ranges={
        "sun_of_a_usual_day_pct": (0, 100, 5, round(100.0 * given.low_frac)),
        "shedding_level_pct": (30, 80, 5, round(100.0 * given.shed_frac)),
    })  # fmt: skip


def when_both_stay_on(given: Given) -> Worked:
    """The prediction: on which day nothing is left where nobody sheds."""
    days = (1.0 - given.reserve_frac) * given.capacity_kwh / (given.both_kwh - given.sun_kwh)
    right = "a" if days < 2.0 else "b" if days < 4.0 else "c" if days < 7.0 else "d"
    return Worked(right=right, steps=_percent(given) | {"days": days})


def essential_energy(given: Given) -> Worked:
    """Energy of the essential board in a day [Wh]."""
    one_each = [one.model_copy(update={"count": 1}) for one in given.boards["essential"]]
    hours = {what: hours for lines in LISTED.values() for what, _, _, hours in lines}
    return Worked(
        right=given.essential_wh, unit="Wh", within_frac=0.005,
        wrong={"both_boards": given.both_wh, "one_of_each": energy_per_day_wh(one_each),
               "forgot_the_hours": sum(one.count * one.power_w
                                       for one in given.boards["essential"])},
        rows=[{"board": board, "appliance": one.name, "number": one.count,
               "each": f"{one.power_w:.0f} W", "in a day": f"{hours[one.name]} h"}
              for board, listed in given.boards.items() for one in listed],
        steps={"sum": " + ".join(f"{one.count} × {one.power_w:.0f} W × {hours[one.name]} h"
                                 for one in given.boards["essential"]),
               "first_wh": energy_per_day_wh(given.boards["essential"][:1])},
    )  # fmt: skip


def from_the_battery(given: Given) -> Worked:
    """What the essential board takes from the battery in a day [Wh]."""
    demand, part = given.essential_wh, given.essential_wh / given.efficiency_frac
    standby = HOURS_IN_DAY * given.no_load_w
    return Worked(
        right=part + standby, unit="Wh", within_frac=0.006,
        wrong={"forgot_the_no_load": part, "forgot_the_loss": demand + standby,
               "multiplied": demand * given.efficiency_frac + standby,
               "one_hour_of_no_load": part + given.no_load_w},
        steps={"part": part, "standby": standby, "all": part + standby,
               "efficiency_percent": 100.0 * given.efficiency_frac},
    )  # fmt: skip


def autonomy(given: Given) -> Worked:
    """Days the full battery carries the essential board without any sun."""
    usable = given.system.banks[0].usable_wh() / 1000.0
    return Worked(
        right=usable / given.essential_kwh, unit="days", within_frac=0.02, within=0.055,
        wrong={"down_to_empty": given.capacity_kwh / given.essential_kwh,
               "both_boards": usable / given.both_kwh,
               "the_reserve_itself": (given.capacity_kwh - usable) / given.essential_kwh},
        steps=_percent(given) | {"usable": usable, "days": usable / given.essential_kwh},
    )  # fmt: skip


def days_until_shed(given: Given) -> Worked:
    """Days from full to the level where the nonessential board is shed."""
    above = given.system.banks[0].usable_wh(given.shed_frac) / 1000.0
    net = given.both_kwh - given.sun_kwh
    return Worked(
        right=above / net, unit="days", within_frac=0.02, within=0.055,
        wrong={"forgot_the_sun": above / given.both_kwh, "down_to_empty": given.capacity_kwh / net,
               "down_to_the_reserve": (1.0 - given.reserve_frac) * given.capacity_kwh / net},
        steps=_percent(given) | {"above": above, "net": net, "days": above / net},
    )  # fmt: skip


def shedding_level(given: Given) -> Worked:
    """Level at which to shed, so that the essential board lasts its days [%]."""
    kept = 100.0 * given.wish_days / given.capacity_kwh
    reserve = 100.0 * given.reserve_frac
    level = reserve + kept * given.essential_kwh
    return Worked(
        right=level if level < 85.0 else float("nan"), unit="%", within_frac=0.02,
        wrong={"forgot_the_reserve": level - reserve, "both_boards": reserve + kept
               * given.both_kwh, "measured_from_the_top": 100.0 - level},
        steps=_percent(given) | {"need": given.wish_days * given.essential_kwh, "level": level,
                                 "need_percent": level - reserve},
    )  # fmt: skip


def unmetered_day(given: Given) -> Worked:
    """On which day more left the battery than the boards drew."""
    missing = [row["charge"] + row["sun"] - row["drawn"] - row["after"] for row in given.log]
    odd = [day for day, kwh in zip(DAYS, missing, strict=True) if abs(kwh) > MISSING_KWH]
    place = DAYS.index(odd[0]) if odd else 0
    least = min(row["after"] for row in given.log)
    return Worked(
        right=odd[0] if len(odd) == 1 and least > 0.1 * given.capacity_kwh else "", items=DAYS,
        wrong={"least_sun": DAYS[int(np.argmin([row["sun"] for row in given.log]))],
               "most_drawn": DAYS[int(np.argmax([row["drawn"] for row in given.log]))]},
        rows=[{"day": day, "charge at 6:00_kwh": row["charge"], "sun into it_kwh": row["sun"],
               "drawn by the boards_kwh": row["drawn"], "charge next morning_kwh": row["after"]}
              for day, row in zip(DAYS, given.log, strict=True)],
        steps={"day": DAYS[place], "missing": missing[place], **given.log[place],
               "should": given.log[place]["after"] + missing[place]},
    )  # fmt: skip


def _percent(given: Given) -> dict[str, float]:
    return {"reserve_percent": 100.0 * given.reserve_frac,
            "shed_percent": 100.0 * given.shed_frac}  # fmt: skip
