"""Lesson 8: what a cable keeps for itself, in volts and in heat, and which size is enough."""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random

from solarcalc.design import Design
from solarcalc.lessons import pictures
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.wiring.capacity import capacity, volts_dropped
from solarcalc.wiring.conductors import hot_ohm_per_km, resistances, rise_per_k
from solarcalc.wiring.runs import Run

BOARD_V = 230.0
MOST_FRAC = 0.05
"""Of the board's voltage, for what is no lighting: IEC 60364-5-52 table G.52.1, from memory."""
HOTTEST_C = 70.0
SIZES_MM2 = (1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0)
NAMES = ("C1", "C2", "C3", "C4", "C5")
SCATTER_FRAC = 0.02
LOOSE_FRAC = 0.3
"""More than expected by this share is no scatter: common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Feeder:
    """One cable under load: its figures, and the volts lost along it as they were measured."""

    name: str
    length_m: int
    size_mm2: float
    current_a: int
    ohm_per_km: float
    read_v: float

    @property
    def expected_v(self) -> float:
        """What a cable without a fault loses [V]."""
        return volts_dropped(self.current_a, self.length_m, r_ohm_per_km=self.ohm_per_km)


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner.

    Parameters
    ----------
    lies : Run
        A cable of the site, whose place the one to the pump takes.
    ambient_c, circuits, length_m : float
        Air around the cable to the pump, circuits in its conduit, its length one way.
    size_mm2, current_a, conductor_c : float
        Of that cable, its current, and how hot its copper gets.
    new_current_a, new_length_m : int
        Of the cable that is to be chosen.
    feeders : tuple of Feeder
        Five cables measured under load, one with a loose terminal.
    """

    lies: Run
    ambient_c: int
    circuits: int
    length_m: int
    size_mm2: float
    current_a: int
    conductor_c: int
    new_current_a: int
    new_length_m: int
    feeders: tuple[Feeder, ...]

    @property
    def run(self) -> Run:
        """The cable to the pump, of PVC in conduit, as it lies."""
        return replace(
            self.lies, method="B1", insulation="pvc", material="copper", loaded=2,
            voltage_v=BOARD_V, ambient_c=float(self.ambient_c), grouped_circuits=self.circuits,
            alike=1, company_mm2=(), drop_limit_frac=MOST_FRAC, length_m=float(self.length_m),
        )  # fmt: skip

    @property
    def cold_ohm_per_km(self) -> float:
        """Of its copper at 20 degC [ohm/km]."""
        return _cold(self.size_mm2)

    @property
    def hot_ohm_per_km(self) -> float:
        """Of its copper as hot as it gets [ohm/km], as the questions print it."""
        return round(hot_ohm_per_km(self.cold_ohm_per_km, self.conductor_c, "copper"), 2)


def _cold(size_mm2: float) -> float:
    return resistances("copper_class_2_plain")[size_mm2]


def draw(rng: Random, design: Design) -> Given:
    """A house cable of PVC in conduit, with a length at which the drop can be felt."""
    given = Given(
        lies=next(one.run for one in design.electrical.sized if one.run.current == "ac"),
        ambient_c=5 * rng.randint(7, 10), circuits=rng.randint(2, 4), length_m=1, current_a=1,
        size_mm2=rng.choice(SIZES_MM2[1:5]), conductor_c=rng.randint(45, 68),
        new_current_a=1, new_length_m=1, feeders=_feeders(rng),
    )  # fmt: skip
    most_a = int(0.9 * capacity(given.run, given.size_mm2).capacity_a)
    current_a = rng.randint(6, max(7, most_a))
    per_m = volts_dropped(current_a, 1.0, r_ohm_per_km=1.15 * _cold(given.size_mm2)) / BOARD_V
    length_m = min(max(round(rng.uniform(0.02, 0.085) / per_m), 14), 160)
    return _to_choose(rng, replace(given, current_a=current_a, length_m=length_m))


def _to_choose(rng: Random, given: Given) -> Given:
    """The same with a load for which a size two below carries enough and still loses too much."""
    place = rng.randint(2, 4)
    thin, below, right = SIZES_MM2[place - 2:place + 1]
    most_a = int(capacity(given.run, thin).capacity_a)
    load_a = rng.randint(max(5, int(0.7 * most_a)), max(6, most_a))
    hot = [hot_ohm_per_km(_cold(size), HOTTEST_C, "copper") for size in (below, right)]
    most_ohm_per_km = rng.uniform(max(hot[1], 0.5 * hot[0]), hot[0])
    length_m = round(1000.0 * MOST_FRAC * BOARD_V / (2.0 * load_a * most_ohm_per_km))
    return replace(given, new_current_a=load_a, new_length_m=length_m)


def _feeders(rng: Random) -> tuple[Feeder, ...]:
    """Five cables, a short one of them with a terminal that is loose."""
    loose, made = rng.choice(NAMES), []
    for name in NAMES:
        size_mm2 = rng.choice(SIZES_MM2[:4])
        one = Feeder(
            name=name, length_m=rng.randint(9, 16) if name == loose else rng.randint(14, 60),
            size_mm2=size_mm2, current_a=rng.randint(6, 13), read_v=0.0,
            ohm_per_km=round(hot_ohm_per_km(_cold(size_mm2), 50.0, "copper"), 2),
        )  # fmt: skip
        more = rng.uniform(0.7, 1.3) if name == loose else rng.uniform(-SCATTER_FRAC, SCATTER_FRAC)
        made.append(replace(one, read_v=round(one.expected_v * (1.0 + more), 1)))
    return tuple(made)


def example() -> dict[str, float]:
    """20 A over 30 m of 2.5 mm2 with the copper at 70 degC: 10.64 V of 230 V.

    [ohm/km], [m], [A], [V], as the formula prints them.
    """
    hot = hot_ohm_per_km(_cold(2.5), HOTTEST_C, "copper")
    drop_v = volts_dropped(20.0, 30.0, r_ohm_per_km=hot)
    return {"cold": _cold(2.5), "hot": hot, "current_a": 20.0, "length_m": 30.0, "drop_v": drop_v,
            "drop_percent": 100.0 * drop_v / BOARD_V, "hot_c": HOTTEST_C,
            "heat_w": 20.0 * drop_v}  # fmt: skip


def picture(given: Given) -> Picture:
    """Voltage along the cable, and how hot it gets: drag current, length and size."""
    def draw_it(current_a: int, cable_length_m: int, size_mm2: float) -> str:
        return pictures.cable_drop(given.run, current_a, cable_length_m, size_mm2)

    return Picture(draw=draw_it, ranges={
        "current_a": (2, 32, 1, given.current_a),
        "cable_length_m": (5, 160, 5, 5 * round(given.length_m / 5.0)),
        "size_mm2": {f"{given.size_mm2:g} mm² (now)": given.size_mm2,
                     **{f"{size:g} mm²": size for size in SIZES_MM2 if size != given.size_mm2}},
    })  # fmt: skip


def volts_at_pump(given: Given) -> Worked:
    """The prediction: how much of the board's voltage is lost on the way."""
    drop_v = _drop_v(given)
    percent = 100.0 * drop_v / BOARD_V
    right = "b" if percent < 3.0 else "c" if percent < 6.0 else "d"
    return Worked(right=right, steps={"drop_v": drop_v, "percent": percent,
                                      "left_v": BOARD_V - drop_v})  # fmt: skip


def cold_loop(given: Given) -> Worked:
    """Resistance of both conductors at 20 degC, from a row of the table [ohm]."""
    per_km, km = given.cold_ohm_per_km, given.length_m / 1000.0
    beside = SIZES_MM2[SIZES_MM2.index(given.size_mm2) + 1]
    return Worked(
        right=2.0 * km * per_km, unit="Ω", within_frac=0.01,
        wrong={"one_way_only": km * per_km, "row_beneath": 2.0 * km * _cold(beside),
               "divided_by_the_length": per_km / (2.0 * given.length_m)},
        rows=[{"size": f"{size:g} mm²", "resistance at 20 °C": f"{_cold(size):.2f} Ω/km"}
              for size in SIZES_MM2],
        steps={"both_m": 2.0 * given.length_m, "both_km": 2.0 * km, "loop_ohm": 2.0 * km * per_km},
    )  # fmt: skip


def hot_resistance(given: Given) -> Worked:
    """Resistance of a kilometre of the copper when it is hot [ohm/km]."""
    cold, hot_c, rise = given.cold_ohm_per_km, given.conductor_c, rise_per_k("copper")
    return Worked(
        right=hot_ohm_per_km(cold, hot_c, "copper"), unit="Ω/km", within_frac=0.008,
        wrong={"forgot_the_heat": cold, "counted_from_zero": cold * (1.0 + rise * hot_c),
               "less_when_hot": cold * (1.0 - rise * (hot_c - 20.0)),
               "the_rise_alone": cold * rise * (hot_c - 20.0)},
        steps={"rise_percent": 100.0 * rise, "warmer_k": hot_c - 20.0,
               "more_percent": 100.0 * rise * (hot_c - 20.0)},
    )  # fmt: skip


def drop_at_pump(given: Given) -> Worked:
    """Volts lost on the way to the pump and back [V]."""
    drop_v = _drop_v(given)
    three = volts_dropped(given.current_a, given.length_m, r_ohm_per_km=given.hot_ohm_per_km,
                          loaded=3)  # fmt: skip
    return Worked(
        right=drop_v, unit="V", within_frac=0.01,
        wrong={"one_way_only": drop_v / 2.0, "three_phases": three,
               "forgot_the_current": drop_v / given.current_a, "what_is_left": BOARD_V - drop_v},
        steps={"drop_v": drop_v, "loop_ohm": drop_v / given.current_a,
               "percent": 100.0 * drop_v / BOARD_V},
    )  # fmt: skip


def heat_in_cable(given: Given) -> Worked:
    """Heat in both conductors [W]."""
    drop_v = _drop_v(given)
    return Worked(
        right=drop_v * given.current_a, unit="W", within_frac=0.015,
        wrong={"current_not_squared": drop_v, "one_conductor": drop_v * given.current_a / 2.0,
               "power_of_the_pump": BOARD_V * given.current_a},
        steps={"drop_v": drop_v, "loop_ohm": drop_v / given.current_a,
               "heat_w": drop_v * given.current_a},
    )  # fmt: skip


def carries_as_it_lies(given: Given) -> Worked:
    """Current that the cable may carry in its heat and company [A]."""
    carries = capacity(given.run, given.size_mm2)
    air, group = carries.factors.values()
    table_a = carries.table_a
    return Worked(
        right=carries.capacity_a, unit="A", within_frac=0.01,
        wrong={"as_in_the_table": table_a, "forgot_the_neighbours": table_a * air,
               "forgot_the_hot_air": table_a * group, "divided": table_a / (air * group),
               "took_both_off": table_a * (air + group - 1.0)},
        steps={"table_a": table_a, "air": air, "group": group, "in_air_a": table_a * air,
               "may_a": carries.capacity_a},
    )  # fmt: skip


def smallest_size(given: Given) -> Worked:
    """Smallest size that carries the current and keeps the drop [mm2]."""
    rows = [(size, round(capacity(given.run, size).capacity_a, 1),
             round(hot_ohm_per_km(_cold(size), HOTTEST_C, "copper"), 2)) for size in SIZES_MM2]

    def first(most_v: float, least_a: float) -> float:
        return next((size for size, holds_a, ohm in rows if holds_a >= least_a and volts_dropped(
            given.new_current_a, given.new_length_m, r_ohm_per_km=ohm) <= most_v), 0.0)  # fmt: skip

    most_v = MOST_FRAC * BOARD_V
    right = first(most_v, given.new_current_a)
    larger = next((size for size in SIZES_MM2 if size > right), 0.0)
    ohm = next((ohm for size, _, ohm in rows if size == right), 1.0)
    return Worked(
        right=right or float("nan"), unit="mm²", within_frac=0.0,
        wrong={"carries_it_only": first(1e9, given.new_current_a),
               "one_way_only": first(2.0 * most_v, given.new_current_a),
               "one_size_too_many": larger},
        rows=[{"size": f"{size:g} mm²", "may carry": f"{holds_a:.1f} A",
               "resistance at 70 °C": f"{ohm:.2f} Ω/km"} for size, holds_a, ohm in rows],
        steps={
            "most_v": most_v, "chosen_mm2": right, "chosen_ohm": ohm,
            "most_ohm_per_km": 1000.0 * most_v / (2 * given.new_current_a * given.new_length_m),
            "chosen_v": volts_dropped(given.new_current_a, given.new_length_m, r_ohm_per_km=ohm),
        },
    )  # fmt: skip


def loose_terminal(given: Given) -> Worked:
    """Which of five cables loses more volts than its copper explains."""
    more = {one.name: one.read_v / one.expected_v - 1.0 for one in given.feeders}
    high = [name for name, frac in more.items() if frac > LOOSE_FRAC]
    right = high[0] if len(high) == 1 else ""
    found = next((one for one in given.feeders if one.name == right), given.feeders[0])
    expected_v = round(found.expected_v, 1)  # from here on as it is printed
    extra_v = round(found.read_v - expected_v, 1)
    return Worked(
        right=right, items=NAMES,
        wrong={"largest_drop": max(given.feeders, key=lambda one: one.read_v).name,
               "largest_current": max(given.feeders, key=lambda one: one.current_a).name},
        rows=[{"cable": one.name, "length": f"{one.length_m} m", "size": f"{one.size_mm2:g} mm²",
               "current": f"{one.current_a} A", "copper at 50 °C": f"{one.ohm_per_km:.2f} Ω/km",
               "volts lost, read": f"{one.read_v:.1f} V"} for one in given.feeders],
        steps={"found": right, "read_v": found.read_v, "expected_v": expected_v,
               "extra_v": extra_v, "extra_w": extra_v * found.current_a, "its_a": found.current_a},
    )  # fmt: skip


def _drop_v(given: Given) -> float:
    return volts_dropped(given.current_a, given.length_m, r_ohm_per_km=given.hot_ohm_per_km)
