"""Lesson 12: what an earth electrode can do and what it cannot, and what a residual device sees."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random

from solarcalc.commissioning.line import RESIDUAL_SHARE, insulation_test, trip_time_ms
from solarcalc.design import Design
from solarcalc.earthing.electrode import rod_ohm, rods_needed, rods_ohm
from solarcalc.earthing.soil import four_pin_ohm_m
from solarcalc.lessons import pictures
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.protection.neutral import most_electrode_ohm
from solarcalc.wiring.capacity import surely_opens_a

MAINS_V, TOUCH_V = 230.0, 50.0
ROD_DIAMETER_M = 0.016
CIRCUITS = (("array", "array", 450.0), ("battery cables", "extra-low", 51.2),
            ("kitchen sockets", "others", 230.0), ("pump", "others", 230.0),
            ("lamps", "others", 230.0))  # fmt: skip
"""Words, kind and voltage of the circuits of an insulation test [V]."""
DEVICES = ("R1", "R2", "R3", "R4", "R5")


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner.

    Parameters
    ----------
    line_a, neutral_a : float
        Read by a clamp meter at the board [A].
    spacing_m, pins_ohm : float
        Of a test with four pins.
    rod_length_m, target_ohm : float
        Of the rods, and what the electrode must come to.
    electrode_ohm, source_ohm, breaker_a : float
        Of the house, of the transformer, and of the pump's breaker.
    well_ohm : float
        Of the electrode in the prediction.
    residual_ma : int
        Of the slowest device on the electrode.
    insulation_megohm : tuple of float
        Readings of `CIRCUITS`, one too low.
    trips : tuple of tuple of float
        Rated [mA], tripped at [mA], and after [ms], of five devices, one not sound.
    """

    line_a: float
    neutral_a: float
    spacing_m: float
    pins_ohm: float
    rod_length_m: float
    target_ohm: int
    electrode_ohm: float
    source_ohm: float
    well_ohm: float
    breaker_a: int
    residual_ma: int
    insulation_megohm: tuple[float, ...]
    trips: tuple[tuple[int, float, int], ...]

    @property
    def soil_ohm_m(self) -> int:
        """Resistivity of the soil by the pins [ohm m], as it is printed."""
        return round(four_pin_ohm_m(spacing_m=self.spacing_m, resistance_ohm=self.pins_ohm))

    @property
    def rods(self) -> dict[str, float]:
        """What the formulas of rods ask for, [ohm m] and [m]."""
        return {"resistivity_ohm_m": float(self.soil_ohm_m), "length_m": self.rod_length_m,
                "diameter_m": ROD_DIAMETER_M}  # fmt: skip

    @property
    def one_rod_ohm(self) -> float:
        """One rod in that soil [ohm], as it is printed."""
        return round(rod_ohm(**self.rods), 1)


def draw(rng: Random, design: Design) -> Given:
    """An invented house on soil between clay and sand."""
    line_a = round(rng.uniform(4.0, 14.0), 3)
    electrode_ohm = float(rng.randint(6, 80))
    return Given(
        line_a=line_a, neutral_a=round(line_a - rng.randint(6, 60) / 1000.0, 3),
        spacing_m=rng.choice((2.0, 3.0, 4.0)), pins_ohm=round(rng.uniform(4.0, 16.0), 1),
        rod_length_m=rng.choice((1.5, 2.0, 2.4)), target_ohm=rng.choice((15, 20, 25, 30, 40)),
        electrode_ohm=electrode_ohm, source_ohm=round(rng.uniform(0.8, 4.0), 1),
        breaker_a=rng.choice((6, 10, 16)), residual_ma=rng.choice((100, 300, 500)),
        insulation_megohm=_insulation(rng), trips=_trips(rng),
        well_ohm=float(rng.choice([each for each in range(6, 81)
                                   if abs(each - electrode_ohm) > 0.25 * electrode_ohm])),
    )  # fmt: skip


def _insulation(rng: Random) -> tuple[float, ...]:
    """The battery's reads least and may; one of the others reads too little, one only just not."""
    low, near = rng.sample([0, 2, 3, 4], 2)
    return tuple(
        round(rng.uniform(0.66, 0.94) if place == low else rng.uniform(1.05, 1.4) if place == near
              else rng.uniform(0.52, 0.62) if kind == "extra-low" else rng.uniform(8.0, 180.0), 2)
        for place, (_, kind, _) in enumerate(CIRCUITS)
    )  # fmt: skip


def _trips(rng: Random) -> tuple[tuple[int, float, int], ...]:
    """Sound devices trip between half and all of their rating, in time."""
    wrong, large = rng.sample(range(len(DEVICES)), 2)
    made = []
    for place in range(len(DEVICES)):
        rated_ma = 300 if place == large else 30 if place == wrong else rng.choice((30, 30, 100))
        share = rng.choice((rng.uniform(0.2, 0.42), rng.uniform(1.12, 1.5))
                           ) if place == wrong else rng.uniform(0.6, 0.92)  # fmt: skip
        made.append((rated_ma, round(rated_ma * share, 1), rng.randint(12, 260)))
    return tuple(made)


def example() -> dict[str, float]:
    """A rod of 3 m in 100 ohm m has 33.53 ohm; a device of 30 mA allows 1667 ohm.

    [ohm m], [m], [A], [V] and [ohm], as the formula prints them.
    """
    ohm = rod_ohm(resistivity_ohm_m=100.0, length_m=3.0, diameter_m=0.015875)
    return {"soil": 100.0, "length": 3.0, "thick": 0.015875, "rod": ohm, "touch": TOUCH_V,
            "residual": 0.03, "most": most_electrode_ohm(30.0, TOUCH_V)}  # fmt: skip


def picture(given: Given) -> Picture:
    """Resistance of rods in line against what is allowed: drag soil, rods, device."""
    def draw_it(soil_resistivity_ohm_m: int, rods_in_line: int, residual_current_ma: int) -> str:
        soil = given.rods | {"resistivity_ohm_m": float(soil_resistivity_ohm_m)}
        return pictures.earth_rods(soil, rods_in_line, residual_current_ma, TOUCH_V)

    return Picture(draw=draw_it, ranges={
        "soil_resistivity_ohm_m": (20, 1500, 20, 20 * round(given.soil_ohm_m / 20.0)),
        "rods_in_line": (1, 10, 1, 1),
        "residual_current_ma": {f"{each} mA": each for each in (300, 30, 100, 500)},
    })  # fmt: skip


def breaker_on_earth(given: Given) -> Worked:
    """The prediction: whether a breaker clears a fault that comes back through the ground."""
    fault_a = _fault_a(given.well_ohm, given.source_ohm)
    sure_a = surely_opens_a("ac-breaker", float(given.breaker_a))
    right = "c" if fault_a < 0.95 * given.breaker_a else "b" if fault_a > sure_a else ""
    said = (f"For a breaker of {given.breaker_a} A that is an ordinary load." if right == "c" else
            f"A breaker of {given.breaker_a} A bears that for minutes, or up to an hour.")
    return Worked(right=right, steps={"fault_a": fault_a, "said": said})


def leaked(given: Given) -> Worked:
    """Current that comes back another way [mA]."""
    leak_ma = 1000.0 * (given.line_a - given.neutral_a)
    return Worked(
        right=round(leak_ma, 1), unit="mA", within_frac=0.01,
        wrong={"added_both": 1000.0 * (given.line_a + given.neutral_a),
               "neutral_alone": 1000.0 * given.neutral_a},
        rows=[{"conductor": "line", "reading": f"{given.line_a:.3f} A"},
              {"conductor": "neutral", "reading": f"{given.neutral_a:.3f} A"}],
        steps={"leak_ma": leak_ma, "said": "may trip or not: it lies between half and all of 30 mA"
               if 15.0 <= leak_ma < 30.0 else "must trip" if leak_ma >= 30.0 else "does not trip"},
    )  # fmt: skip


def soil_by_pins(given: Given) -> Worked:
    """Resistivity of the soil by four pins [ohm m]."""
    apart, ohm = given.spacing_m, given.pins_ohm
    soil = four_pin_ohm_m(spacing_m=apart, resistance_ohm=ohm)
    return Worked(
        right=float(given.soil_ohm_m), unit="Ω·m", within_frac=0.01,
        wrong={"forgot_two_pi": apart * ohm, "forgot_the_two": soil / 2.0,
               "outer_pins": 3.0 * soil, "divided": 2.0 * math.pi * ohm / apart}
        | ({} if apart == 2.0 else {"forgot_the_spacing": 2.0 * math.pi * ohm}),
        steps={"soil": soil, "product": apart * ohm},
    )  # fmt: skip


def fault_to_earth(given: Given) -> Worked:
    """Current of a fault that comes back through the ground [A]."""
    whole = given.electrode_ohm + given.source_ohm
    fault_a = _fault_a(given.electrode_ohm, given.source_ohm)
    return Worked(
        right=fault_a, unit="A", within_frac=0.01, within=0.05,
        wrong={"forgot_the_transformer": MAINS_V / given.electrode_ohm,
               "transformer_alone": MAINS_V / given.source_ohm, "multiplied": MAINS_V * whole,
               "upside_down": whole / MAINS_V},
        steps={"whole": whole, "fault_a": fault_a},
    )  # fmt: skip


def most_ohm(given: Given) -> Worked:
    """Most that the electrode may have with a residual current device [ohm]."""
    amperes = given.residual_ma / 1000.0
    return Worked(
        right=most_electrode_ohm(given.residual_ma, TOUCH_V), unit="Ω", within_frac=0.01,
        wrong={"mains_voltage": MAINS_V / amperes, "multiplied": TOUCH_V * amperes,
               "half_the_current": TOUCH_V / (0.5 * amperes)},
        steps={"amperes": amperes, "most": TOUCH_V / amperes},
    )  # fmt: skip


def rods_for_target(given: Given) -> Worked:
    """Rods in line for a resistance."""
    length, ratios = given.rod_length_m, {}
    for count in range(1, 9):
        together = rods_ohm(**given.rods, count=count, spacing_m=length)
        ratios[count] = round(together / rod_ohm(**given.rods), 2)
    needed = rods_needed(target_ohm=given.target_ohm, **given.rods, spacing_m=length,
                         most=8)  # fmt: skip
    count = needed or 1
    return Worked(
        right=float(needed or "nan"), unit="rods", within_frac=0.0,
        by_printed=next((float(each) for each, ratio in ratios.items()
                         if ratio * given.one_rod_ohm <= given.target_ohm), 0.0),
        wrong={"shared_evenly": math.ceil(given.one_rod_ohm / given.target_ohm),
               "one_too_many": count + 1.0},
        rows=[{"rods in line": each, "share of one rod": f"{ratio:.2f}"}
              for each, ratio in ratios.items()],
        steps={"share": given.target_ohm / given.one_rod_ohm, "ratio": ratios[count],
               "count": count, "ohm": ratios[count] * given.one_rod_ohm},
    )  # fmt: skip


def low_insulation(given: Given) -> Worked:
    """Which circuit's insulation is below its own limit."""
    tests = [insulation_test(kind, 1.25 * volts if kind == "array" else volts)  # type: ignore[arg-type]
             for _, kind, volts in CIRCUITS]  # fmt: skip
    read, names = given.insulation_megohm, tuple(words for words, _, _ in CIRCUITS)
    low = [place for place, test in enumerate(tests) if read[place] < test.least_megohm]
    just = min((place for place in range(len(read)) if read[place] >= 1.0), key=read.__getitem__)
    return Worked(
        right=names[low[0]] if len(low) == 1 else "", items=names,
        wrong={"lowest_reading": names[read.index(min(read))], "just_above": names[just]},
        rows=[{"circuit": words, "voltage": f"{volts:g} V", "tested with": f"{test.test_v:.0f} V",
               "reading": f"{value:.2f} MΩ"}
              for (words, _, volts), test, value in zip(CIRCUITS, tests, read, strict=True)],
        steps={"found": names[low[0]], "value": read[low[0]]},
    )  # fmt: skip


def residual_test(given: Given) -> Worked:
    """Which of five residual current devices is not sound."""
    least, most = RESIDUAL_SHARE
    odd = [place for place, (rated, at, after_ms) in enumerate(given.trips)
           if not least * rated <= at <= most * rated or after_ms > trip_time_ms(1)]
    rated_ma, at_ma, _ = given.trips[odd[0]]
    return Worked(
        right=DEVICES[odd[0]] if len(odd) == 1 else "", items=DEVICES,
        wrong={"largest_current": DEVICES[max(range(5), key=lambda place: given.trips[place][1])],
               "slowest": DEVICES[max(range(5), key=lambda place: given.trips[place][2])]},
        rows=[{"device": name, "rated": f"{rated} mA", "tripped at": f"{at:.1f} mA",
               "after": f"{after_ms} ms"}
              for name, (rated, at, after_ms) in zip(DEVICES, given.trips, strict=True)],
        steps={"found": DEVICES[odd[0]], "at_ma": at_ma, "rated_ma": rated_ma,
               "half_ma": least * rated_ma, "most_ms": trip_time_ms(1),
               "why": "only with more than its rating, too much for a person"
               if at_ma > rated_ma else "too soon, so that a little usual leakage trips it"},
    )  # fmt: skip


def _fault_a(electrode_ohm: float, source_ohm: float) -> float:
    return MAINS_V / (electrode_ohm + source_ohm)
