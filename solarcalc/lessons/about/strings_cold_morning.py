"""Lesson 7: how many modules in series, between the coldest morning and the hottest roof."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from random import Random

from solarcalc.basis.physics import STC_C
from solarcalc.commissioning.line import Reading
from solarcalc.commissioning.string_readings import voltage_causes
from solarcalc.design import Design
from solarcalc.energy.diode import Conditions, voc_expected_v
from solarcalc.lessons import pictures
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.sitefile.supply import Controller
from solarcalc.wiring.string_plan import StringCase, open_circuit_v, series_limits, working_v

WITHIN_FRAC = 0.05
"""Tolerance of string readings against what is expected: common practice, no source."""
NAMES = ("S1", "S2", "S3", "S4", "S5")
SCATTER_FRAC = 0.004
FAULTS = {"one-module": "a", "one-diode": "b", "turned": "c"}
"""What is wrong with a string, to the letter of its choice."""


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner.

    Parameters
    ----------
    case : StringCase
        Module, an invented controller, record low and hottest cell.
    count : int
        Modules in series of the string that is asked about.
    light_w_m2, cell_c : int
        While the strings were measured.
    planned, read_v : tuple
        Modules in series of each string by the plan; its open-circuit voltage as measured [V].
    faulty, fault : str
        Name of the string with a fault, and which.
    """

    case: StringCase
    count: int
    light_w_m2: int
    cell_c: int
    planned: tuple[int, ...]
    read_v: tuple[float, ...]
    faulty: str
    fault: str

    @property
    def module(self) -> Module:
        """Of the strings."""
        return self.case.module

    @property
    def colder_k(self) -> float:
        """How far the coldest cell is below the sheet's temperature [K]."""
        return STC_C - self.case.coldest_c


def draw(rng: Random, design: Design) -> Given:
    """An invented module on an invented controller, in the cold of the site or near it."""
    site_case = design.electrical.case
    module = Module(**rng.choice(list(bundled_equipment()["modules"].values())).values)
    highest_v = rng.choice((250.0, 300.0, 400.0, 450.0, 500.0, 550.0, 600.0))
    lowest_v = 10.0 * rng.randint(9, 16)
    controller = Controller(
        label=f"Invented input {highest_v:g} V", max_pv_voltage_v=highest_v,
        min_tracking_voltage_v=lowest_v, max_tracking_voltage_v=0.92 * highest_v,
        max_charge_current_a=60.0, efficiency_frac=0.97,
    )  # fmt: skip
    coldest_c = min(round(site_case.coldest_c) + rng.randint(-6, 3), 8)
    case = replace(site_case, module=module, controller=controller,
                   bank_v=24.0, bank_top_v=29.0, coldest_c=float(max(coldest_c, -35)),
                   hottest_cell_c=float(rng.randint(64, 78)))  # fmt: skip
    given = Given(case=case, count=rng.randint(4, 11), light_w_m2=10 * rng.randint(60, 95),
                  cell_c=rng.randint(32, 55), planned=(), read_v=(), faulty=rng.choice(NAMES),
                  fault=rng.choice(tuple(FAULTS)))  # fmt: skip
    return _measured(rng, given)


def _measured(rng: Random, given: Given) -> Given:
    """The same with readings of five strings, one with a fault and one shorter by its plan."""
    long = rng.randint(6, 9)
    shorter = rng.choice([name for name in NAMES if name != given.faulty])
    planned = tuple(long - (name == shorter) for name in NAMES)
    groups = given.module.bypass_diodes
    lost = {"one-module": 1.0, "one-diode": 1.0 / groups, "turned": 2.0}[given.fault]
    at = Conditions(light_w_m2=given.light_w_m2, cell_c=given.cell_c)
    one_v = voc_expected_v(given.module, at)
    read_v = tuple(
        round(one_v * (count - lost * (name == given.faulty))
              * (1.0 + rng.uniform(-SCATTER_FRAC, SCATTER_FRAC)), 1)
        for name, count in zip(NAMES, planned, strict=True)
    )  # fmt: skip
    return replace(given, planned=planned, read_v=read_v)


def example() -> dict[str, float]:
    """A module of 49.5 V open circuit, -0.27 %/K, at -10 degC: 54.18 V; eleven under 600 V.

    [V] and [degC]; each name ends in its unit.
    """
    listed = next(iter(bundled_equipment()["modules"].values())).values
    module = Module(**{**listed, "voc_v": 49.5, "beta_voc_pct_per_k": -0.27})
    cold_v = open_circuit_v(module, -10.0)
    return {"voc_v": 49.5, "beta": -0.27, "coldest_c": -10.0, "cold_v": cold_v, "most_v": 600.0,
            "share": 600.0 / cold_v, "most": math.floor(600.0 / cold_v)}  # fmt: skip


def picture(given: Given) -> Picture:
    """A string's voltages against the controller's limits: drag the cold and the count."""
    def draw(coldest_cell_c: float, modules_in_series: int) -> str:
        colder = replace(given.case, coldest_c=coldest_cell_c)
        return pictures.cold_string(colder, modules_in_series)

    return Picture(draw=draw, ranges={
        "coldest_cell_c": (-35.0, 25.0, 1.0, given.case.coldest_c),
        "modules_in_series": (1, 20, 1, given.count),
    })  # fmt: skip


def cold_against_sheet(given: Given) -> Worked:
    """The prediction: what the cold does to the open-circuit voltage of a string."""
    cold_v = open_circuit_v(given.module, given.case.coldest_c)
    more_percent = 100.0 * (cold_v / given.module.voc_v - 1.0)
    right = "c" if more_percent > 1.0 else "b"
    return Worked(right=right, steps={"sheet_v": given.count * given.module.voc_v,
                                      "cold_v": given.count * cold_v,
                                      "more_percent": more_percent})  # fmt: skip


def kelvin_below_sheet(given: Given) -> Worked:
    """How far the coldest cell is below the temperature of the sheet [K]."""
    coldest_c = given.case.coldest_c
    return Worked(right=given.colder_k, unit="K", within_frac=0.0, within=0.4, wrong={
        "counted_from_zero": abs(coldest_c), "wrong_way": STC_C + coldest_c})


def cold_module_voltage(given: Given) -> Worked:
    """Open-circuit voltage of one module in the record cold [V]."""
    module, coldest_c = given.module, given.case.coldest_c
    colder, beta = given.colder_k, module.beta_voc_pct_per_k / 100.0
    return Worked(
        right=open_circuit_v(module, coldest_c), unit="V", within_frac=0.003,
        wrong={"forgot_the_cold": module.voc_v,
               "less_in_the_cold": module.voc_v * (1.0 + beta * colder),
               "voltage_at_full_power": module.vmp_v * (1.0 - beta * colder),
               "percent_as_volts": module.voc_v - module.beta_voc_pct_per_k * colder},
        steps={"more_percent": -100.0 * beta * colder},
    )  # fmt: skip


def cold_string_voltage(given: Given) -> Worked:
    """Open-circuit voltage of the string in the record cold [V]."""
    module, count, cold_v = given.module, given.count, _cold_v(given)
    return Worked(
        right=count * cold_v, unit="V", within_frac=0.003,
        wrong={"forgot_the_cold": count * module.voc_v, "one_module_only": cold_v,
               "voltage_at_full_power": count * module.vmp_v * cold_v / module.voc_v},
        steps={"cold_v": cold_v},
    )  # fmt: skip


def most_in_series(given: Given) -> Worked:
    """Most modules in series that the controller takes on the coldest morning."""
    module, most_v = given.module, given.case.controller.max_pv_voltage_v
    cold_v = _cold_v(given)
    return Worked(
        right=series_limits(given.case)[1], unit="modules", within_frac=0.0,
        by_printed=math.floor(most_v / round(cold_v, 2)),
        wrong={"forgot_the_cold": math.floor(most_v / module.voc_v),
               "voltage_at_full_power": math.floor(most_v / module.vmp_v)},
        steps={"cold_v": cold_v, "share": most_v / round(cold_v, 2), "most_v": most_v},
    )  # fmt: skip


def fewest_in_series(given: Given) -> Worked:
    """Fewest modules in series that still reach the tracking window on the hottest roof."""
    least_v = given.case.controller.min_tracking_voltage_v
    hot_v = working_v(given.module, given.case.hottest_cell_c)
    return Worked(
        right=series_limits(given.case)[0], unit="modules", within_frac=0.0,
        by_printed=math.ceil(least_v / round(hot_v, 1)),
        wrong={"rounded_down": math.floor(least_v / hot_v),
               "open_circuit_voltage": math.ceil(least_v / _cold_v(given))},
        steps={"hot_v": hot_v, "share": least_v / round(hot_v, 1), "least_v": least_v},
    )  # fmt: skip


def faulty_string(given: Given) -> Worked:
    """Which string reads what its plan does not explain."""
    causes = _causes(given)
    shorter = NAMES[given.planned.index(min(given.planned))]
    ratios = dict(zip(NAMES, _ratios(given), strict=True))
    return Worked(
        right=causes[0] if len(causes) == 1 else "", items=NAMES,
        wrong={"shorter_by_plan": shorter, "highest_reading": max(ratios, key=ratios.__getitem__)},
        rows=_rows(given), steps=_found(given),
    )  # fmt: skip


def kind_of_fault(given: Given) -> Worked:
    """What the missing volts say: a module, a group of cells, or a module the wrong way round."""
    right = FAULTS[_fault_by_volts(given)]
    slips = {"a": "took_it_for_one_module", "b": "took_it_for_one_group",
             "c": "took_it_for_a_turned_module", "d": "took_it_for_weak_light"}  # fmt: skip
    return Worked(right=right, wrong={slip: letter for letter, slip in slips.items()
                                      if letter != right}, steps=_found(given))  # fmt: skip


def _cold_v(given: Given) -> float:
    return open_circuit_v(given.module, given.case.coldest_c)


def _one_v(given: Given) -> float:
    at = Conditions(light_w_m2=given.light_w_m2, cell_c=given.cell_c)
    return voc_expected_v(given.module, at)


def _ratios(given: Given) -> list[float]:
    return [read / (count * _one_v(given))
            for read, count in zip(given.read_v, given.planned, strict=True)]


def _causes(given: Given) -> list[str]:
    """Names of strings that the package's own rules find at fault."""
    readings = [Reading(id=name, name=name, modules=count, ratio=ratio) for name, count, ratio
                in zip(NAMES, given.planned, _ratios(given), strict=True)]  # fmt: skip
    found = voltage_causes(readings, bypass_diodes=given.module.bypass_diodes, within=WITHIN_FRAC)
    return [name for cause in found for name in cause.ids]


def _fault_by_volts(given: Given) -> str:
    """The fault by what its string lacks, in modules."""
    short = _found(given)["short_modules"]
    if short > 1.5:
        return "turned"
    return "one-module" if short > 0.75 else "one-diode"


def _rows(given: Given) -> list[dict[str, object]]:
    return [{"string": name, "modules in series": count, "open circuit voltage read_v": read}
            for name, count, read in zip(NAMES, given.planned, given.read_v, strict=True)]


def _found(given: Given) -> dict[str, float]:
    """What a learner finds from the figures as they are printed."""
    place, one_v = NAMES.index(given.faulty), round(_one_v(given), 2)
    expected_v = round(given.planned[place] * one_v, 1)
    missing_v = round(expected_v - given.read_v[place], 1)
    return {"one_v": one_v, "expected_v": expected_v, "read_v": given.read_v[place],
            "missing_v": missing_v, "short_modules": missing_v / one_v,
            "group_v": one_v / given.module.bypass_diodes}  # fmt: skip
