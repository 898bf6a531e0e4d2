"""Lesson 15: tests before switching on, in which order, and what a reading is held against."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from random import Random
from typing import Any

from solarcalc.commissioning.line import (
    LETTERS,
    SYSTEM_FACTOR,
    bond_limit_ohm,
    insulation_test,
    trip_time_ms,
)
from solarcalc.design import Design
from solarcalc.energy.diode import Conditions, isc_at_stc_a, isc_expected_a, voc_expected_v
from solarcalc.lessons import pictures
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.wiring.conductors import hot_ohm_per_km, resistances
from solarcalc.wiring.string_plan import open_circuit_v

WITHIN_FRAC = 0.05
"""Tolerance of string readings against what is expected: common practice, no source."""
FIRST_TESTS: Mapping[str, str] = {
    "continuity": "Continuity of the protective conductors",
    "polarity": "Polarity of each string", "string voltage": "Open-circuit voltage of each string",
    "string current": "Short-circuit current of each string",
    "functions": "Inverter and loads switched on",
}  # fmt: skip
IDS = ("C01", "V01", "R01", "I01", "T01")
"""Lines of the sheet: continuity, voltage, insulation, current, trip time."""


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner: invented strings, the light they are tested in, and a filled sheet.

    Parameters
    ----------
    tests : tuple of str
        Categories of the choices a to d.
    count : int
        Modules in series.
    read_a : float
        Short-circuit current as measured [A].
    strings_v : tuple of float
        Readings for the picture [V].
    bond_mm2, bond_m, bond_c : float
        Size, length and heat of a bonding conductor of copper.
    share : mapping of str to float
        Reading of each line of the sheet, over its limit or what is expected.
    faulty : str
        Its line that is out.
    """

    module: Module
    count: int
    light_w_m2: int
    cell_c: int
    tests: tuple[str, ...]
    read_a: float
    strings_v: tuple[float, ...]
    bond_mm2: float
    bond_m: int
    bond_c: int
    share: Mapping[str, float]
    faulty: str

    @property
    def at(self) -> Conditions:
        """Light and heat while it was tested."""
        return Conditions(light_w_m2=self.light_w_m2, cell_c=self.cell_c)

    @property
    def expected_v(self) -> float:
        """Of a string at open circuit, as a question prints it [V]."""
        return round(voc_expected_v(self.module, self.at, in_series=self.count), 1)


def draw(rng: Random, design: Design) -> Given:
    """A module of the invented list in a short string, its readings, and one line that is out."""
    module = Module(**rng.choice(list(bundled_equipment()["modules"].values())).values)
    at = Conditions(light_w_m2=10 * rng.randint(45, 88), cell_c=rng.randint(38, 60))
    count, faulty = rng.randint(2, 12), rng.choice(IDS)
    one_v = voc_expected_v(module, at)
    return Given(
        module=module, count=count, light_w_m2=round(at.light_w_m2), cell_c=round(at.cell_c),
        tests=tuple(rng.sample(list(FIRST_TESTS), 4)), faulty=faulty,
        read_a=round(isc_expected_a(module, at) * rng.uniform(0.93, 0.965), 2),
        strings_v=tuple(one_v * (count - short) * rng.uniform(0.99, 1.01)
                        for short in (0, 0, 1, 0)),
        bond_mm2=rng.choice((6.0, 10.0, 16.0)), bond_m=rng.randint(8, 30),
        bond_c=rng.randint(35, 50), share=_shares(rng, faulty),
    )  # fmt: skip


def _shares(rng: Random, faulty: str) -> dict[str, float]:
    """Readings over their limits: each passes, the string's voltage narrowly, but for one line."""
    good = {"C01": rng.uniform(0.3, 0.8), "V01": rng.uniform(0.958, 0.97),
            "R01": rng.uniform(2.0, 9.0), "I01": rng.uniform(0.97, 1.03),
            "T01": rng.uniform(0.1, 0.6)}  # fmt: skip
    bad = {"C01": rng.uniform(3.0, 9.0), "V01": rng.uniform(0.8, 0.9),
           "R01": rng.uniform(0.1, 0.7), "I01": rng.uniform(0.75, 0.9),
           "T01": rng.uniform(1.2, 2.0)}  # fmt: skip
    return {**good, faulty: bad[faulty]}


def example() -> dict[str, float]:
    """Nine modules of 49.5 V and 14 A in 720 W/m2, cells at 52 degC: 10.216 A, 413.02 V."""
    listed = next(iter(bundled_equipment()["modules"].values())).values
    module = Module(**{**listed, "voc_v": 49.5, "beta_voc_pct_per_k": -0.27, "isc_a": 14.0,
                       "alpha_isc_pct_per_k": 0.05})  # fmt: skip
    at = Conditions(light_w_m2=720.0, cell_c=52.0)
    return {"isc_a": isc_expected_a(module, at), "voc_v": 9 * open_circuit_v(module, at.cell_c)}


def picture(given: Given) -> Picture:
    """Readings beside what is expected: drag the light and the heat that are written down."""
    def draw(cell_temperature_c: float, irradiance_w_per_m2: float) -> str:
        at = Conditions(light_w_m2=irradiance_w_per_m2, cell_c=cell_temperature_c)
        expected_v = voc_expected_v(given.module, at, in_series=given.count)
        return pictures.readings(expected_v, given.strings_v, WITHIN_FRAC)

    return Picture(draw=draw, ranges={
        "cell_temperature_c": (5.0, 75.0, 1.0, float(given.cell_c)),
        "irradiance_w_per_m2": (200.0, 1100.0, 10.0, float(given.light_w_m2)),
    })  # fmt: skip


def without_expecting(given: Given) -> Worked:
    """The prediction: a string reads less than the sheet says in heat, though nothing is wrong."""
    sheet_v = given.count * given.module.voc_v
    less_percent = 100.0 * (1.0 - given.expected_v / sheet_v)
    return Worked(right="b" if less_percent > 1.0 else "a",
                  steps={"sheet_v": sheet_v, "less_percent": less_percent})  # fmt: skip


def first_test(given: Given) -> Worked:
    """Which of four tests comes first: what is tested dead, then what is live."""
    order = [test for test in LETTERS if test in given.tests]
    letter = {test: "abcd"[given.tests.index(test)] for test in order}
    return Worked(
        right=letter[order[0]],
        wrong={"the_second": letter[order[1]], "the_third": letter[order[2]],
               "the_last": letter[order[3]]},
        steps={"first": FIRST_TESTS[order[0]].lower(), **{
            name: FIRST_TESTS[test] for name, test in zip("wxyz", given.tests, strict=True)}},
    )  # fmt: skip


def current_at_stc(given: Given) -> Worked:
    """A measured short-circuit current carried to 1000 W/m2 and 25 degC [A]."""
    share = given.light_w_m2 / 1000.0
    right = isc_at_stc_a(given.read_a, given.module, given.at)
    return Worked(
        right=right, unit="A", within_frac=0.02,
        wrong={"multiplied": given.read_a * share, "as_it_was_read": given.read_a,
               "took_the_sheet": given.module.isc_a},
        steps={"share": share, "bright_a": given.read_a / share, "right_a": right,
               "less_percent": 100.0 * (1.0 - right / given.module.isc_a)},
    )  # fmt: skip


def bond_resistance(given: Given) -> Worked:
    """Resistance that a bonding conductor should have, without its joint [milliohm]."""
    cold = resistances("copper_class_2_plain")[given.bond_mm2]
    hot = round(hot_ohm_per_km(cold, given.bond_c, "copper"), 3)  # as the text has it
    return Worked(
        right=hot * given.bond_m, unit="mΩ", within_frac=0.01,
        wrong={"there_and_back": 2.0 * hot * given.bond_m, "forgot_the_heat": cold * given.bond_m,
               "forgot_the_length": hot},
        steps={"cold": cold, "hot": hot, "warmer_k": given.bond_c - 20,
               "right": hot * given.bond_m},
    )  # fmt: skip


def insulation_voltage(given: Given) -> Worked:
    """Voltage of the insulation test of an array [V]."""
    plain_v = given.count * given.module.voc_v
    system_v = float(SYSTEM_FACTOR) * plain_v
    right = insulation_test("array", system_v).test_v
    wrong = {"forgot_the_quarter": insulation_test("array", plain_v).test_v,
             "one_module": insulation_test("array", given.module.voc_v).test_v,
             "that_voltage_itself": system_v}  # fmt: skip
    if wrong["one_module"] == wrong["forgot_the_quarter"]:
        del wrong["one_module"]
    return Worked(
        right=right, unit="V", within_frac=0.001,
        wrong={slip: volts for slip, volts in wrong.items() if volts != right},
        rows=[{"1.25 × open-circuit voltage": words, "test voltage [V]": test.test_v,
               "insulation at least [MΩ]": test.least_megohm}
              for words, volts in (("below 120 V", 100.0), ("120 V to 500 V", 400.0),
                                   ("above 500 V, to 1000 V", 900.0))
              for test in (insulation_test("array", volts),)],
        steps={"plain_v": plain_v, "system_v": system_v, "right_v": right},
    )  # fmt: skip


def lowest_good(given: Given) -> Worked:
    """Lowest reading of a string that still passes [V]."""
    expected_v = given.expected_v
    return Worked(
        right=expected_v * (1.0 - WITHIN_FRAC), unit="V", within_frac=0.004,
        wrong={"upper_end": expected_v * (1.0 + WITHIN_FRAC), "no_tolerance": expected_v,
               "percent_as_volts": expected_v - 100.0 * WITHIN_FRAC,
               "five_percent_alone": expected_v * WITHIN_FRAC},
        steps={"percent": 100.0 * WITHIN_FRAC, "off_v": expected_v * WITHIN_FRAC,
               "right_v": expected_v * (1.0 - WITHIN_FRAC)},
    )  # fmt: skip


def faulty_line(given: Given) -> Worked:
    """Which line of a filled-in sheet is out."""
    right = "".join(line["line"] for line in _sheet(given)
                    if not line["low"] <= line["read"] <= line["high"])
    wrong = {"narrowly_within": "V01", "kilohm_and_megohm": "R01"}
    return Worked(
        right=right, items=IDS, wrong={slip: line for slip, line in wrong.items() if line != right},
        rows=[{"line": line["line"], "test": line["test"], "reading": line["shown"],
               "to pass": line["limit"]} for line in _sheet(given)],
        steps={"right": right, "reading": next(line["shown"] for line in _sheet(given)
                                               if line["line"] == given.faulty)},
    )  # fmt: skip


def what_first(given: Given) -> Worked:
    """What to look at first behind the line that is out."""
    slips = {"C01": ("a", "took_it_for_a_bond"), "V01": ("b", "took_it_for_a_module"),
             "R01": ("c", "took_it_for_insulation"), "I01": ("d", "took_it_for_shade"),
             "T01": ("e", "took_it_for_a_trip")}  # fmt: skip
    right = slips[given.faulty][0]
    return Worked(right=right, wrong={slip: letter for letter, slip in slips.values()
                                      if letter != right},
                  steps={"line": given.faulty})  # fmt: skip


def _sheet(given: Given) -> list[dict[str, Any]]:
    """Lines of the sheet: limits as the package has them, readings as drawn."""
    share = given.share
    bond = round(bond_limit_ohm(given.bond_mm2, given.bond_m), 2)
    short_a = round(isc_expected_a(given.module, given.at), 2)
    least = insulation_test("array", float(SYSTEM_FACTOR) * given.count * given.module.voc_v)
    trip, volts = trip_time_ms(1), given.expected_v

    def line(name: str, test: str, limit: float, unit: str, digits: int, *, kind: str
             ) -> dict[str, Any]:  # fmt: skip
        read = round(share[name] * limit, digits)
        low, high = {"most": (0.0, limit), "least": (limit, float("inf")),
                     "near": ((1 - WITHIN_FRAC) * limit, (1 + WITHIN_FRAC) * limit)}[kind]
        words = {"most": "at most", "least": "at least", "near": "5 % around"}[kind]
        return {"line": name, "test": test, "read": read, "low": low, "high": high,
                "shown": f"{read:.{digits}f} {unit}", "limit": f"{words} {limit:g} {unit}"}

    insulation = line("R01", "insulation of the array", 1000.0 * least.least_megohm, "kΩ", 0,
                      kind="least")
    insulation["limit"] = f"at least {least.least_megohm:g} MΩ"
    return [
        line("C01", "main earthing terminal to rail", bond, "Ω", 2, kind="most"),
        line("V01", "string 1, open circuit", volts, "V", 1, kind="near"), insulation,
        line("I01", "string 1, short circuit", short_a, "A", 2, kind="near"),
        line("T01", "residual current device, rated current", trip, "ms", 0, kind="most"),
    ]  # fmt: skip
