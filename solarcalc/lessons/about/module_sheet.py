"""Lesson 1: what each figure of a module's sheet says, and at which sun and heat."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random
from typing import Any

from solarcalc.basis.physics import STC_W_M2
from solarcalc.design import Design
from solarcalc.energy.diode import Conditions, isc_expected_a
from solarcalc.lessons import pictures
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.sitefile.array import PMAX_TOLERANCE_FRAC, Module
from solarcalc.sitefile.equipment import bundled_equipment

NAMES = ("A", "B", "C", "D", "E")


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner: two sheets, two warm hours, a wish, and five sheets, one false."""

    module: Module
    torn: Module
    cell_c: int
    noon_c: int
    light_w_m2: int
    wish_kwp: float
    sheets: tuple[dict[str, float], ...]
    false_name: str
    false_words: str


def draw(rng: Random, design: Design) -> Given:
    """A module of the invented list, and five sheets of others of which one contradicts itself."""
    listed = [Module(**entry.values) for entry in bundled_equipment()["modules"].values()]
    sheets = [{"pmax_w": one.pmax_w, "voc_v": one.voc_v, "isc_a": one.isc_a, "vmp_v": one.vmp_v,
               "imp_a": one.imp_a} for one in rng.sample(listed, len(NAMES))]  # fmt: skip
    place = rng.randrange(len(NAMES))
    words = _spoil(rng, sheets[place])
    module, cell_c = rng.choice(listed), rng.randint(48, 68)
    return Given(
        module=module, cell_c=cell_c,
        light_w_m2=10 * rng.randint(35, 85), wish_kwp=round(rng.uniform(2.0, 9.0), 1),
        sheets=tuple(sheets), false_name=NAMES[place], false_words=words,
        torn=rng.choice([one for one in listed if one.pmax_w != module.pmax_w]),
        noon_c=rng.choice([each for each in range(46, 71) if abs(each - cell_c) > 4]),
    )  # fmt: skip


def _spoil(rng: Random, sheet: dict[str, float]) -> str:
    """Put one mistake into a sheet, and say which."""
    kind = rng.randrange(3)
    if kind == 0:
        sheet["vmp_v"], sheet["voc_v"] = sheet["voc_v"], sheet["vmp_v"]
        return "its voltage at full power stands above its open-circuit voltage"
    if kind == 1:
        sheet["imp_a"], sheet["isc_a"] = sheet["isc_a"], sheet["imp_a"]
        return "its current at full power stands above its short-circuit current"
    sheet["pmax_w"] = float(round(1.12 * sheet["pmax_w"]))
    return (f"its rated power is not the product {sheet['vmp_v']:.2f} V × {sheet['imp_a']:.2f} A ="
            f" {sheet['vmp_v'] * sheet['imp_a']:.0f} W")


def contradicts(sheet: dict[str, float]) -> bool:
    """Whether a sheet cannot be true: what the site file refuses as well."""
    product = sheet["vmp_v"] * sheet["imp_a"]
    return (sheet["vmp_v"] >= sheet["voc_v"] or sheet["imp_a"] >= sheet["isc_a"]
            or abs(sheet["pmax_w"] - product) > PMAX_TOLERANCE_FRAC * product)


def example() -> dict[str, float]:
    """A module of 550 W, -0.35 %/K, with cells at 65 degC: 473 W.

    [W] and [degC]; each name ends in its unit.
    """
    hot = Conditions(light_w_m2=STC_W_M2, cell_c=65.0)
    return {"pmax_w": 550.0, "gamma": -0.35, "cell_c": 65.0,
            "hot_w": 550.0 * hot.over_stc(-0.35)}  # fmt: skip


def picture(given: Given) -> Picture:
    """Current and power against voltage: drag the sun and the heat of the cells."""
    def draw(irradiance_w_per_m2: float, cell_temperature_c: float) -> str:
        return pictures.module_curve(given.module, irradiance_w_per_m2, cell_temperature_c)

    return Picture(draw=draw, ranges={
        "irradiance_w_per_m2": (200.0, 1100.0, 50.0, 1000.0),
        "cell_temperature_c": (0.0, 75.0, 5.0, 25.0),
    })  # fmt: skip


def rated_in_sun(given: Given) -> Worked:
    """The prediction: what a module gives in full sun, its cells at their usual heat."""
    hot_w = _hot_w(given.module, given.noon_c)
    less_percent = 100.0 * (1.0 - hot_w / given.module.pmax_w)
    right = "b" if less_percent < 20.0 else "c"
    return Worked(right=right, steps={"hot_w": hot_w, "less_percent": less_percent})


def rated_power(given: Given) -> Worked:
    """Rated power out of voltage and current at full power [W]."""
    module = given.torn
    return Worked(
        right=module.vmp_v * module.imp_a, unit="W", within_frac=0.006,
        wrong={"open_and_short_circuit": module.voc_v * module.isc_a,
               "open_circuit_voltage": module.voc_v * module.imp_a,
               "short_circuit_current": module.vmp_v * module.isc_a},
        rows=[{"open circuit voltage": f"{module.voc_v:.2f} V",
               "short circuit current": f"{module.isc_a:.2f} A",
               "voltage at full power": f"{module.vmp_v:.2f} V",
               "current at full power": f"{module.imp_a:.2f} A"}],
    )  # fmt: skip


def efficiency(given: Given) -> Worked:
    """Share of the sun's power that becomes electric at standard test conditions [%]."""
    module = given.module
    area_m2 = module.length_m * module.width_m
    return Worked(
        right=100.0 * module.pmax_w / (area_m2 * STC_W_M2), unit="%", within_frac=0.01,
        wrong={"long_side_only": 100.0 * module.pmax_w / (module.length_m * STC_W_M2),
               "fill_factor": 100.0 * module.pmax_w / (module.voc_v * module.isc_a),
               "share_not_percent": module.pmax_w / (area_m2 * STC_W_M2),
               "watts_by_area": module.pmax_w / area_m2,
               "upside_down": area_m2 * STC_W_M2 / module.pmax_w},
        steps={"area_m2": area_m2, "sun_w": area_m2 * STC_W_M2},
    )  # fmt: skip


def hot_power(given: Given) -> Worked:
    """Power in 1000 W/m2 with hot cells, by the sheet's coefficient [W]."""
    module, warmer_k = given.module, given.cell_c - 25.0
    gamma = module.gamma_pmax_pct_per_k / 100.0
    return Worked(
        right=_hot_w(module, given.cell_c), unit="W", within_frac=0.005,
        wrong={"forgot_the_heat": module.pmax_w,
               "more_with_heat": module.pmax_w * (1.0 - gamma * warmer_k),
               "counted_from_zero": module.pmax_w * (1.0 + gamma * given.cell_c),
               "coefficient_of_voltage":
                   module.pmax_w * (1.0 + module.beta_voc_pct_per_k / 100.0 * warmer_k),
               "the_loss_alone": -module.pmax_w * gamma * warmer_k,
               "percent_as_watts": module.pmax_w + 100.0 * gamma * warmer_k},
        steps={"warmer_k": warmer_k, "lost_percent": -100.0 * gamma * warmer_k,
               "left_percent": 100.0 + 100.0 * gamma * warmer_k},
    )  # fmt: skip


def short_circuit(given: Given) -> Worked:
    """Short-circuit current in other light than that of the sheet [A]."""
    module, share = given.module, given.light_w_m2 / STC_W_M2
    at = Conditions(light_w_m2=given.light_w_m2, cell_c=given.cell_c)
    return Worked(
        right=isc_expected_a(module, at), unit="A", within_frac=0.02,
        wrong={"as_on_the_sheet": module.isc_a, "current_at_full_power": module.imp_a * share,
               "divided_by_the_light": module.isc_a / share,
               "percent_as_number": module.isc_a * share * (
                   1.0 + module.alpha_isc_pct_per_k * (given.cell_c - 25.0))},
        steps={"share": share, "cold_a": module.isc_a * share},
    )  # fmt: skip


def modules_for_wish(given: Given) -> Worked:
    """Modules for at least a rated power of the array."""
    module, wish_w = given.module, 1000.0 * given.wish_kwp
    return Worked(
        right=math.ceil(wish_w / module.pmax_w), unit="modules", within_frac=0.0,
        wrong={"rounded_down": math.floor(wish_w / module.pmax_w),
               "open_and_short_circuit": math.ceil(wish_w / (module.voc_v * module.isc_a)),
               "power_of_a_hot_module": math.ceil(wish_w / _hot_w(module, given.cell_c))},
        steps={"share": wish_w / module.pmax_w, "wish_w": wish_w},
    )  # fmt: skip


def false_sheet(given: Given) -> Worked:
    """Which of five sheets contradicts itself."""
    rows: list[dict[str, Any]] = [{"module": name, **sheet} for name, sheet
                                  in zip(NAMES, given.sheets, strict=True)]
    false = "".join(row["module"] for row in rows if contradicts(row))
    return Worked(
        right=false, items=NAMES,
        wrong={"largest_power": max(rows, key=lambda row: row["pmax_w"])["module"],
               "lowest_voltage": min(rows, key=lambda row: row["voc_v"])["module"]},
        rows=rows, steps={"because": given.false_words},
    )  # fmt: skip


def _hot_w(module: Module, cell_c: float) -> float:
    at = Conditions(light_w_m2=STC_W_M2, cell_c=cell_c)
    return module.pmax_w * at.over_stc(module.gamma_pmax_pct_per_k)
