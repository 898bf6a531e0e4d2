"""Lesson 11: which current a fuse must let through and which it must stop; breakers; surge."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from solarcalc.design import Design
from solarcalc.diagrams.lesson_board import Outgoing, draw_lesson_board
from solarcalc.lessons import pictures
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.protection.direct import backfeed_a
from solarcalc.protection.faults import BankFault, curve_band, trip_a
from solarcalc.protection.surge import lead_kv
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.wiring.capacity import ratings_a
from solarcalc.wiring.string_plan import StringFuses, string_fuses

OTHER_CURVE = {"B": "C", "C": "D", "D": "B"}
NAMES = ("W1", "W2", "W3", "W4", "W5")
COPPER_A = {"1.5 mm²": 14, "2.5 mm²": 19, "4 mm²": 26, "6 mm²": 34, "10 mm²": 46}
"""What cables may carry where they lie in the drawing; invented within the usual."""


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner.

    Parameters
    ----------
    module : Module
    strings, max_fuse_a : int
        In parallel in one box; largest fuse on the module's sheet.
    battery_v, inner_mohm, lead_mohm : float
        Voltage of the battery, its own resistance and that of both leads [V], [mohm].
    curve, rated_a : str, int
        Of a breaker.
    device_kv, line_lead_cm, earth_lead_cm : float
        What a surge protective device holds, and its two leads.
    load_a, cable_a : int
        Of a cable that wants a breaker.
    ways : tuple of Outgoing
        Of a board, one with a breaker that is too large for its cable.
    """

    module: Module
    strings: int
    max_fuse_a: int
    battery_v: float
    inner_mohm: float
    lead_mohm: float
    curve: str
    rated_a: int
    device_kv: float
    line_lead_cm: int
    earth_lead_cm: int
    load_a: int
    cable_a: int
    ways: tuple[Outgoing, ...]

    @property
    def fuses(self) -> StringFuses:
        """What the strings need, by the package."""
        return string_fuses(isc_a=self.module.isc_a, strings=self.strings,
                            max_fuse_a=self.max_fuse_a, cold_voc_v=400.0)  # fmt: skip

    @property
    def fault(self) -> BankFault:
        """The short circuit of the battery."""
        ohm = self.inner_mohm / 1000.0
        return BankFault(voltage_v=self.battery_v, string_ohm=ohm, most_string_ohm=ohm, strings=1,
                         known=True, source="the lesson")  # fmt: skip


def draw(rng: Random, design: Design) -> Given:
    """Modules of the invented list in a box of several strings, a battery, a board."""
    module = Module(**rng.choice(list(bundled_equipment()["modules"].values())).values)
    made = ratings_a("ac-breaker")
    place = rng.randint(2, 8)
    return Given(
        module=module, strings=rng.randint(4, 8), max_fuse_a=20 if module.isc_a < 11.0 else 25,
        battery_v=rng.choice((12.8, 25.6, 51.2)), inner_mohm=round(rng.uniform(4.0, 26.0), 1),
        lead_mohm=round(rng.uniform(1.0, 4.0), 1), curve=rng.choice("BCD"),
        rated_a=int(rng.choice(made[:7])), device_kv=rng.choice((1.2, 1.3, 1.4, 1.5)),
        line_lead_cm=5 * rng.randint(4, 14), earth_lead_cm=5 * rng.randint(5, 20),
        load_a=rng.randint(int(made[place - 1]) + 1, int(made[place])),
        cable_a=rng.randint(int(made[place]), int(made[place + 1]) - 1), ways=_ways(rng),
    )  # fmt: skip


def _ways(rng: Random) -> tuple[Outgoing, ...]:
    """Five ways of a board; a thin cable of them behind a breaker one size too large."""
    wrong, made = rng.choice(NAMES), ratings_a("ac-breaker")
    ways = []
    for name in NAMES:
        cable = rng.choice(list(COPPER_A)[:3] if name == wrong else list(COPPER_A))
        fits = [each for each in made if each <= COPPER_A[cable]]
        rated_a = made[len(fits)] if name == wrong else rng.choice(fits[-2:])
        load_a = float(rng.randint(int(0.55 * fits[-1]), int(min(rated_a, fits[-1]))))
        ways.append(Outgoing(name=name, rated_a=rated_a, cable=cable, load_a=load_a,
                             capacity_a=COPPER_A[cable]))  # fmt: skip
    return tuple(ways)


def example() -> dict[str, float]:
    """Four strings of 12.28 A, 20 A at most: 36.84 A flow back, a fuse of 20 A.

    [A], as the formula prints them.
    """
    found = string_fuses(isc_a=12.28, strings=4, max_fuse_a=20.0, cold_voc_v=400.0)
    return {"strings": 4, "isc_a": 12.28, "max_a": 20.0, "back_a": found.backfeed_a,
            "low_a": found.least_a, "high_a": found.most_a, "rated_a": found.rated_a or 0.0}


def picture(given: Given) -> Picture:
    """What flows back, and which fuses fit: drag strings and short-circuit current."""
    def draw_it(strings_in_parallel: int, short_circuit_current_a: float) -> str:
        return pictures.string_fuse(string_fuses(
            isc_a=short_circuit_current_a, strings=strings_in_parallel,
            max_fuse_a=given.max_fuse_a, cold_voc_v=400.0))  # fmt: skip

    return Picture(draw=draw_it, ranges={
        "strings_in_parallel": (1, 10, 1, 2),
        "short_circuit_current_a": (8.0, 16.0, 0.5, round(2.0 * given.module.isc_a) / 2.0),
    })  # fmt: skip


def spanner(given: Given) -> Worked:
    """The prediction: what flows when a spanner falls across the battery's terminals."""
    fault_a = given.fault.string_a
    right = "b" if fault_a < 1000.0 else "c" if fault_a < 5000.0 else "d"
    return Worked(right=right, steps={"fault_a": fault_a,
                                      "power_kw": given.battery_v * fault_a / 1000.0})


def current_back(given: Given) -> Worked:
    """What the other strings drive into a shorted one [A]."""
    isc_a, strings = given.module.isc_a, given.strings
    back_a = backfeed_a(isc_a, strings)
    return Worked(
        right=back_a, unit="A", within_frac=0.005,
        wrong={"counted_itself": strings * isc_a, "one_string": isc_a,
               "current_at_full_power": (strings - 1) * given.module.imp_a},
        rows=[{"short circuit current": f"{isc_a:.2f} A",
               "current at full power": f"{given.module.imp_a:.2f} A",
               "largest fuse": f"{given.max_fuse_a} A", "strings in parallel": strings}],
        steps={"others": strings - 1, "back_a": back_a},
    )  # fmt: skip


def trips_at_once(given: Given) -> Worked:
    """Current that trips a breaker at once in any case [A]."""
    low, high = curve_band(given.curve)
    other = OTHER_CURVE[given.curve]
    return Worked(
        right=trip_a(given.curve, given.rated_a), unit="A", within_frac=0.005,
        wrong={"lower_end": low * given.rated_a, "rated_current": float(given.rated_a),
               "other_curve": trip_a(other, given.rated_a)},
        rows=[{"curve": each, "may trip from": f"{curve_band(each)[0]:.0f} × rated current",
               "trips for sure from": f"{curve_band(each)[1]:.0f} × rated current"}
              for each in OTHER_CURVE],
        steps={"high": high, "other": other, "trip": trip_a(given.curve, given.rated_a)},
    )  # fmt: skip


def fault_at_leads(given: Given) -> Worked:
    """Short circuit of the battery at the end of its leads [A]."""
    lead_ohm = given.lead_mohm / 1000.0
    fault_a = given.fault.least_far_a(lead_ohm)
    return Worked(
        right=fault_a, unit="A", within_frac=0.01,
        wrong={"forgot_the_leads": given.fault.string_a, "leads_alone": given.battery_v / lead_ohm,
               "multiplied": given.battery_v * (given.inner_mohm + given.lead_mohm)},
        steps={"mohm": given.inner_mohm + given.lead_mohm, "fault_a": fault_a,
               "ohm": (given.inner_mohm + given.lead_mohm) / 1000.0},
    )  # fmt: skip


def surge_let_through(given: Given) -> Worked:
    """Voltage that reaches the inverter while a surge is led off [kV]."""
    line_m, earth_m = given.line_lead_cm / 100.0, given.earth_lead_cm / 100.0
    seen_kv = given.device_kv + lead_kv(line_m + earth_m)
    return Worked(
        right=seen_kv, unit="kV", within_frac=0.01,
        wrong={"forgot_the_leads": given.device_kv, "one_lead": given.device_kv + lead_kv(line_m),
               "leads_alone": lead_kv(line_m + earth_m)},
        steps={"leads_m": line_m + earth_m, "leads_kv": lead_kv(line_m + earth_m),
               "seen_kv": seen_kv},
    )  # fmt: skip


def string_fuse(given: Given) -> Worked:
    """The fuse of each string [A]."""
    found, isc_a, made = given.fuses, given.module.isc_a, ratings_a("dc-fuse")
    return Worked(
        right=found.rated_a or float("nan"), unit="A", within_frac=0.0,
        wrong={"just_above_the_current": next(each for each in made if each >= isc_a),
               "largest_of_the_sheet": float(given.max_fuse_a),
               "above_the_window": next(each for each in made if each >= found.most_a)},
        rows=[{"fuses that are made": ", ".join(f"{each:g} A" for each in made
                                                if 10.0 <= each <= 40.0)}],
        steps={"low_a": found.least_a, "high_a": found.most_a, "fuse_a": found.rated_a or 0.0},
    )  # fmt: skip


def breaker_for_cable(given: Given) -> Worked:
    """The breaker between the load and what the cable carries [A]."""
    made = ratings_a("ac-breaker")
    fits = [each for each in made if given.load_a <= each <= given.cable_a]
    place = made.index(fits[0])
    return Worked(
        right=fits[0] if len(fits) == 1 else float("nan"), unit="A", within_frac=0.0,
        wrong={"below_the_load": made[place - 1], "above_the_cable": made[place + 1]},
        rows=[{"breakers that are made": ", ".join(f"{each:g} A" for each in made[:12])}],
        steps={"breaker_a": fits[0]},
    )  # fmt: skip


def wrong_breaker(given: Given) -> Worked:
    """Which way of a board has a breaker that does not protect its cable."""
    wrong = [way for way in given.ways if way.rated_a > way.capacity_a]
    found = wrong[0] if wrong else given.ways[0]
    return Worked(
        right=found.name if len(wrong) == 1 else "", items=NAMES,
        wrong={"largest_breaker": max(given.ways, key=lambda way: way.rated_a).name,
               "closest_to_its_load": max(given.ways, key=lambda way: way.load_a / way.rated_a
                                          ).name},
        drawing=draw_lesson_board(given.ways),
        steps={"way": found.name, "breaker_a": found.rated_a, "carries_a": found.capacity_a,
               "its_load_a": found.load_a, "cable": found.cable},
    )  # fmt: skip
