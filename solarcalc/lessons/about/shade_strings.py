"""Lesson 4: what a shaded module costs its string, and where the tracker must look."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from random import Random

import numpy as np

from solarcalc.circuit.module import Weather
from solarcalc.circuit.strings import (
    Best,
    StringWiring,
    Strung,
    across_rows,
    best_points,
    string_curve,
)
from solarcalc.commissioning.line import Reading
from solarcalc.commissioning.string_readings import current_causes
from solarcalc.design import Design
from solarcalc.energy.diode import Conditions, cells_of, isc_expected_a
from solarcalc.lessons import pictures_roof
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.equipment import bundled_equipment

NAMES = ("S1", "S2", "S3", "S4", "S5")
WITHIN_FRAC = 0.05
"""Tolerance of string readings against what is expected: common practice, no source."""
SCATTER_FRAC = 0.008
POINTS = 9
"""Voltages of the table of a string."""


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner: a string in part shade, and five strings as measured."""

    module: Module
    light_w_m2: int
    cell_c: int
    left_percent: int
    series: int
    shaded: int
    least_v: float
    suns_w_m2: tuple[int, ...]
    read_a: tuple[float, ...]
    faulty: str

    @property
    def weather(self) -> Weather:
        """Light and heat of the hour."""
        return Weather(light_w_m2=float(self.light_w_m2), cell_c=float(self.cell_c))

    @property
    def module_w(self) -> float:
        """Power of one module in the sun, as it is printed [W]."""
        return float(round(float(_best(self, self.series, 0).global_w[0]) / self.series))

    @property
    def module_v(self) -> float:
        """Its voltage at full power, as it is printed [V]."""
        return round(float(_best(self, self.series, 0).global_v[0]) / self.series, 1)


def draw(rng: Random, design: Design) -> Given:
    """An invented string in part shade, and five on two roof faces of which one reads low."""
    module = Module(**rng.choice(list(bundled_equipment()["modules"].values())).values)
    series = rng.randint(8, 13)
    sunny, weak = 10 * rng.randint(72, 95), 10 * rng.randint(42, 60)
    suns = tuple(rng.sample((sunny, sunny, sunny, weak, weak), 5))
    faulty, lost = rng.choice(NAMES), rng.uniform(0.12, 0.22)
    cell_c = rng.randint(38, 55)
    read = tuple(
        round(_expected_a(module, sun, cell_c) * (1.0 - lost * (name == faulty))
              * (1.0 + rng.uniform(-SCATTER_FRAC, SCATTER_FRAC)), 2)
        for name, sun in zip(NAMES, suns, strict=True)
    )  # fmt: skip
    given = Given(module=module, light_w_m2=10 * rng.randint(65, 95), cell_c=cell_c,
                  left_percent=rng.randint(18, 30), series=series, shaded=rng.randint(2, 3),
                  least_v=0.0, suns_w_m2=suns, read_a=read, faulty=faulty)  # fmt: skip
    return replace(given, least_v=5.0 * round(given.module_v * series * rng.uniform(0.42, 0.8) / 5))


def _expected_a(module: Module, light_w_m2: float, cell_c: float) -> float:
    return isc_expected_a(module, Conditions(light_w_m2=light_w_m2, cell_c=cell_c))


def _best(given: Given, series: int, shaded: int) -> Best:
    """Best point without and with the shade, one string."""
    return _best_of(given, across_rows(series, shaded=shaded))


def _best_of(given: Given, wiring: tuple[StringWiring, ...]) -> Best:
    strung = Strung(cells=cells_of(given.module), wiring=wiring, orientation="portrait")
    return best_points(strung, fraction=np.array([1.0]), weather=given.weather,
                       diffuse_share=np.array([given.left_percent / 100.0]))  # fmt: skip


def _kept(best: Best) -> float:
    return float(best.global_w[1] / best.global_w[0])


def example() -> dict[str, float]:
    """Ten modules of 300 W in series, two in shade: about 2400 [W]."""
    return {"module_w": 300.0, "series": 10, "shaded": 2, "left_w": 300.0 * (10 - 2)}


def picture(given: Given) -> Picture:
    """Power against voltage: drag the count of modules in shade and the light they keep."""
    def draw_it(modules_in_shade: int, light_left_percent: float) -> str:
        return pictures_roof.string_humps(
            given.module, series=given.series, shaded=modules_in_shade,
            left_frac=light_left_percent / 100.0, weather=given.weather)  # fmt: skip

    return Picture(draw=draw_it, ranges={
        "modules_in_shade": (0, given.series, 1, given.shaded),
        "light_left_percent": (10.0, 100.0, 5.0, 25.0),
    })  # fmt: skip


def one_module_in_shade(given: Given) -> Worked:
    """The prediction: what a string keeps with one of its modules in shade."""
    kept = _kept(_best(given, given.series, 1))
    return Worked(right="c" if kept > 0.75 else "b", steps={"kept_percent": 100.0 * kept})


def tracker_voltage(given: Given) -> Worked:
    """The voltage of a table at which the string gives most [V]."""
    strung = Strung(cells=cells_of(given.module), orientation="portrait",
                    wiring=across_rows(given.series, shaded=given.shaded))  # fmt: skip
    volts, amps = string_curve(strung, fraction=1.0, left_frac=given.left_percent / 100.0,
                               weather=given.weather)  # fmt: skip
    asked = np.round(np.linspace(0.25, 0.97, POINTS) * volts[0])
    read = np.round(np.interp(asked, volts[::-1], amps[::-1]), 2)
    watts = np.round(asked * read)
    top = int(watts.argmax())
    humps = [at for at in range(top + 2, POINTS - 1)
             if watts[at] > watts[at - 1] and watts[at] > watts[at + 1]]  # fmt: skip
    return Worked(
        right=float(asked[top]), unit="V", within_frac=0.0, within=0.6,
        wrong={"other_hump": float(asked[humps[0]]) if humps else math.nan,
               "highest_voltage": float(asked[-1]), "highest_current": float(asked[0])},
        rows=[{"string voltage_v": int(volt), "string current_a": float(amp)}
              for volt, amp in zip(asked, read, strict=True)],
        steps={"top_w": float(watts[top]), "top_v": float(asked[top])},
    )  # fmt: skip


def voltage_left(given: Given) -> Worked:
    """Voltage of the string at its best point, the shaded modules bridged [V]."""
    lit, one_v = given.series - given.shaded, given.module_v
    return Worked(
        right=float(_best(given, given.series, given.shaded).global_v[1]), unit="V",
        within_frac=0.03, by_printed=lit * one_v,
        wrong={"all_modules": given.series * one_v, "shaded_modules": given.shaded * one_v,
               "one_module_off": (given.series - 1) * one_v},
        steps={"lit": lit, "simple_v": lit * one_v},
    )  # fmt: skip


def power_left(given: Given) -> Worked:
    """Power of the string at its best point [W]."""
    lit, whole_w = given.series - given.shaded, given.series * given.module_w
    return Worked(
        right=whole_w * _kept(_best(given, given.series, given.shaded)), unit="W",
        within_frac=0.04, by_printed=lit * given.module_w,
        wrong={"weakest_rules": whole_w * given.left_percent / 100.0, "forgot_the_shade": whole_w,
               "each_its_own":
                   (lit + given.shaded * given.left_percent / 100.0) * given.module_w},
        steps={"lit": lit, "simple_w": lit * given.module_w},
    )  # fmt: skip


def low_hump(given: Given) -> Worked:
    """Power of the string where a tracker stays that only climbs from the old voltage [W]."""
    best, whole_w = _best(given, given.series, given.shaded), given.series * given.module_w
    sits = float(best.local_w[1] / best.global_w[0])
    return Worked(
        right=whole_w * sits if sits < 0.6 * _kept(best) else math.nan, unit="W", within_frac=0.2,
        by_printed=whole_w * given.left_percent / 100.0,
        wrong={"best_point": (given.series - given.shaded) * given.module_w, "nothing": 0.0},
        steps={"whole_w": whole_w, "simple_w": whole_w * given.left_percent / 100.0},
    )  # fmt: skip


def bridged_at_most(given: Given) -> Worked:
    """Modules that may be bridged before the string falls below the tracker's lowest voltage."""
    share = given.least_v / given.module_v
    return Worked(
        right=given.series - math.ceil(share), unit="modules", within_frac=0.0,
        wrong={"that_must_work": math.ceil(share), "rounded_wrongly": given.series - int(share),
               "open_circuit":
                   given.series - math.ceil(given.least_v / given.module.voc_v)},
        steps={"share": share, "must": math.ceil(share)},
    )  # fmt: skip


def own_trackers(given: Given) -> Worked:
    """Power of two strings, one in part shade, each on a tracker of its own [W]."""
    series, shaded, whole_w = given.series, given.shaded, given.series * given.module_w
    lit_w = (series - shaded) * given.module_w
    parallel = (StringWiring(by_tier=(shaded,), unshaded=series - shaded),
                StringWiring(by_tier=(0,), unshaded=series))  # fmt: skip
    together_w = 2.0 * whole_w * _kept(_best_of(given, parallel))
    return Worked(
        right=whole_w * (1.0 + _kept(_best(given, series, shaded))), unit="W", within_frac=0.02,
        by_printed=whole_w + lit_w,
        wrong={"on_one_tracker": together_w, "one_string": lit_w, "forgot_the_shade": 2.0 * whole_w,
               "both_in_shade": 2.0 * lit_w},
        steps={"whole_w": whole_w, "lit_w": lit_w, "together_w": together_w},
    )  # fmt: skip


def low_string(given: Given) -> Worked:
    """Which string gives less current than its own sun explains."""
    ratios = [read / _expected_a(given.module, sun, given.cell_c)
              for read, sun in zip(given.read_a, given.suns_w_m2, strict=True)]  # fmt: skip
    readings = [Reading(id=name, name=name, modules=given.series, ratio=ratio)
                for name, ratio in zip(NAMES, ratios, strict=True)]
    low = [name for cause in current_causes(readings, within=WITHIN_FRAC, working=False)
           for name in cause.ids]  # fmt: skip
    weak = min(given.suns_w_m2)
    place = NAMES.index(given.faulty)
    return Worked(
        right=low[0] if len(low) == 1 else "", items=NAMES,
        wrong={"weaker_sun": next(name for name, sun in zip(NAMES, given.suns_w_m2, strict=True)
                                  if sun == weak and name != given.faulty),
               "highest_current": NAMES[given.read_a.index(max(given.read_a))]},
        rows=[{"string": name, "irradiance on its face [W/m²]": sun,
               "short circuit current_a": read}
              for name, sun, read in zip(NAMES, given.suns_w_m2, given.read_a, strict=True)],
        steps={"its_a": given.read_a[place], "its_sun": given.suns_w_m2[place],
               "should_a": _expected_a(given.module, given.suns_w_m2[place], given.cell_c)},
    )  # fmt: skip
