"""Lesson 6: how dust adds up between rains and washes, and which wash is worth its cost."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from random import Random

import numpy as np
import pandas as pd

from solarcalc.basis.hours import TYPICAL_YEAR
from solarcalc.commissioning.line import Reading
from solarcalc.commissioning.string_readings import current_causes
from solarcalc.design import Design
from solarcalc.lessons import pictures_roof
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.sitefile.losses import Soiling
from solarcalc.soiling import RATE_TILT_DEG, dirt_band_over_cells_m, soiling_loss_frac

NAMES = ("S1", "S2", "S3", "S4", "S5")
WITHIN_FRAC = 0.05
"""Tolerance of string readings against one another: common practice, no source."""
SEASON_DAYS = 180
INTERVALS_DAYS = (6, 15, 30, 60, 90)
FIRST = pd.Timestamp(TYPICAL_YEAR, 1, 1)
LEAST_RAIN_MM = 3.0
"""A drizzle is told from rain by this at the least."""
CHOICES = tuple(f"{days} days" for days in INTERVALS_DAYS)


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner: sensors, a dry spell, an array, a frame, strings before and after."""

    clean_w_m2: int
    dirty_w_m2: int
    rate_percent: float
    cleaning_rain_mm: float
    dry_days: int
    drizzle_days: int
    drizzle_mm: float
    interval_days: int
    day_kwh: int
    wash_kwh: float
    lip_mm: float
    margin_mm: int
    before_percent: tuple[float, ...]
    after_percent: tuple[float, ...]
    faulty: str

    @property
    def rate_frac(self) -> float:
        """Loss a dry day [0 to 1]."""
        return self.rate_percent / 100.0


def draw(rng: Random, design: Design) -> Given:
    """A dry season by the site's own rule of rain, and five strings of which one stays low."""
    rain_mm = max(design.site.soiling.cleaning_rain_mm, LEAST_RAIN_MM)
    rate, day_kwh = 0.05 * rng.randint(3, 10), rng.randint(10, 40)
    best_days = rng.uniform(12.0, 62.0)
    dry_days = rng.randint(18, 40)
    states = rng.sample(("faulty", "dirtiest", "clean", "dusty", "dusty"), 5)
    before = {"faulty": (84.0, 88.0), "dirtiest": (78.0, 82.0), "clean": (96.5, 98.5),
              "dusty": (87.0, 93.0)}  # fmt: skip
    after = {"faulty": (88.5, 91.5)}
    clean = rng.randint(760, 980)
    return Given(
        clean_w_m2=clean, dirty_w_m2=round(clean * rng.uniform(0.84, 0.97)),
        rate_percent=round(rate, 2), cleaning_rain_mm=rain_mm, dry_days=dry_days,
        drizzle_days=rng.randint(4, dry_days // 2),
        drizzle_mm=round(rng.uniform(0.1, 0.4) * rain_mm, 1), day_kwh=day_kwh,
        interval_days=rng.choice((10, 14, 20, 21, 28, 30, 45)),
        wash_kwh=max(0.5, round(rate / 100.0 * day_kwh * best_days**2 / 2.0 * 2.0) / 2.0),
        lip_mm=0.5 * rng.randint(3, 6), margin_mm=rng.randint(8, 16),
        before_percent=tuple(round(rng.uniform(*before[one]), 1) for one in states),
        after_percent=tuple(round(rng.uniform(*after.get(one, (98.6, 100.4))), 1)
                            for one in states),
        faulty=NAMES[states.index("faulty")],
    )  # fmt: skip


@lru_cache(maxsize=256)
def _loss(
    rate_frac: float, cleaning_rain_mm: float, washes: tuple[str, ...] = (),
    rains: tuple[tuple[int, float], ...] = (),
) -> np.ndarray:  # fmt: skip
    """Loss by hour of a year that begins clean, with rains [mm] on days counted from 0."""
    index = pd.date_range(FIRST, periods=8760, freq="h", tz="UTC")
    fell = pd.Series(0.0, index=index)
    for day, rain_mm in rains:
        fell.iloc[24 * day] += rain_mm
    plan = Soiling(loss_per_dry_day_frac=rate_frac, cleaning_rain_mm=cleaning_rain_mm,
                   cleaning_dates=["01-01", *washes], max_loss_frac=0.9)
    loss = soiling_loss_frac(pd.DataFrame({"precipitation": fell}), plan,
                             tilt_deg=float(RATE_TILT_DEG))  # fmt: skip
    return loss.to_numpy()


def _washes(interval_days: int, season_days: int = SEASON_DAYS) -> tuple[str, ...]:
    """Days of the washes of a season that begins clean."""
    return tuple(f"{FIRST + pd.Timedelta(days=day):%m-%d}"
                 for day in range(interval_days, season_days, interval_days))


def _mean_loss(rate_frac: float, interval_days: int) -> float:
    """Mean loss from a wash to the next without rain [0 to 1]."""
    return float(_loss(rate_frac, 6.0)[: 24 * interval_days].mean())


def example() -> dict[str, float]:
    """0.2 % a dry day, a wash every 30 days: a mean of 3 [%]."""
    return {"rate": 0.2, "days": 30.0, "mean_percent": 100.0 * _mean_loss(0.002, 30)}


def picture(given: Given) -> Picture:
    """The saw of dust: drag the interval and the rate, let it rain."""
    def draw_it(interval_days: int, loss_per_dry_day_percent: float, rain_mm: float) -> str:
        rains = ((100, rain_mm),) if rain_mm else ()
        loss = _loss(round(loss_per_dry_day_percent / 100.0, 5), given.cleaning_rain_mm,
                     _washes(interval_days), rains)  # fmt: skip
        return pictures_roof.dust(loss[: 24 * SEASON_DAYS].tolist(), interval_days=interval_days)

    return Picture(draw=draw_it, ranges={
        "interval_days": (5, 90, 1, 30),
        "loss_per_dry_day_percent": (0.05, 0.8, 0.05, given.rate_percent),
        "rain_mm": {"no rain": 0.0, "drizzle on day 100": given.drizzle_mm,
                    "heavy rain on day 100": 5.0 * given.cleaning_rain_mm},
    })  # fmt: skip


def after_drizzle(given: Given) -> Worked:
    """The prediction: what a drizzle takes off the dust."""
    drizzled, dry = _at_end(given, given.drizzle_mm), _at_end(given, 0.0)
    return Worked(right="b" if abs(drizzled - dry) < 0.1 * dry else "a")


def _at_end(given: Given, drizzle_mm: float) -> float:
    """Loss at the end of the dry spell [0 to 1]."""
    day = given.dry_days - given.drizzle_days
    loss = _loss(given.rate_frac, given.cleaning_rain_mm, (), ((day, drizzle_mm),))
    return float(loss[24 * given.dry_days])


def soiling_by_sensors(given: Given) -> Worked:
    """Soiling loss out of a clean and a dirty sensor [%]."""
    ratio = given.dirty_w_m2 / given.clean_w_m2
    return Worked(
        right=100.0 * (1.0 - ratio), unit="%", within_frac=0.0, within=0.15,
        wrong={"ratio_not_loss": 100.0 * ratio, "share_not_percent": 1.0 - ratio,
               "difference_alone": float(given.clean_w_m2 - given.dirty_w_m2)},
        steps={"less": given.clean_w_m2 - given.dirty_w_m2, "ratio": ratio},
    )  # fmt: skip


def loss_of_dry_spell(given: Given) -> Worked:
    """Soiling loss at the end of a dry spell with a drizzle in it [%]."""
    rate, days = given.rate_percent, given.dry_days
    return Worked(
        right=100.0 * _at_end(given, given.drizzle_mm), unit="%", within_frac=0.02,
        by_printed=rate * days,
        wrong={"drizzle_cleans": rate * given.drizzle_days, "one_day": rate,
               "mean_not_end": rate * days / 2.0})  # fmt: skip


def mean_between_washes(given: Given) -> Worked:
    """Mean soiling loss between two washes [%]."""
    rate, days = given.rate_percent, given.interval_days
    return Worked(
        right=100.0 * _mean_loss(given.rate_frac, days), unit="%", within_frac=0.03,
        by_printed=rate * days / 2.0,
        wrong={"loss_at_the_end": rate * days, "one_day": rate, "halved_twice": rate * days / 4.0},
        steps={"end": rate * days},
    )  # fmt: skip


def energy_lost(given: Given) -> Worked:
    """Energy lost to dust between two washes [kWh]."""
    days, clean_kwh = given.interval_days, float(given.day_kwh * given.interval_days)
    mean = given.rate_frac * days / 2.0
    return Worked(
        right=clean_kwh * _mean_loss(given.rate_frac, days), unit="kWh", within_frac=0.03,
        by_printed=clean_kwh * mean,
        wrong={"loss_at_the_end": 2.0 * clean_kwh * mean, "one_day": given.day_kwh * mean,
               "what_is_left": clean_kwh * (1.0 - mean)},
        steps={"clean_kwh": clean_kwh, "mean_percent": 100.0 * mean},
    )  # fmt: skip


def least_tilt(given: Given) -> Worked:
    """Least tilt at which water behind the frame stays below the first cells [deg]."""
    share = given.lip_mm / given.margin_mm
    right = math.degrees(math.atan(share))
    plan = Soiling(dirt_band_lip_m=given.lip_mm / 1000.0,
                   dirt_band_margin_m=given.margin_mm / 1000.0)  # fmt: skip
    stays = (dirt_band_over_cells_m(plan, tilt_deg=right + 0.1) == 0.0
             and dirt_band_over_cells_m(plan, tilt_deg=right - 0.1) > 0.0)
    return Worked(
        right=right if stays else math.nan, unit="°", within_frac=0.02, within=0.2,
        wrong={"upside_down": 90.0 - right, "tangent_not_turned_back": share,
               "margin_as_degrees": float(given.margin_mm)},
        steps={"share": share},
    )  # fmt: skip


def best_interval(given: Given) -> Worked:
    """Interval between washes at which dust and washes together cost least."""
    lost = [given.day_kwh * SEASON_DAYS * _mean_loss(given.rate_frac, days)
            for days in INTERVALS_DAYS]  # fmt: skip
    counts = [SEASON_DAYS // days for days in INTERVALS_DAYS]
    sums = [round(dust) + count * given.wash_kwh for dust, count in zip(lost, counts, strict=True)]
    first, second = sorted(sums)[:2]
    place = sums.index(first)
    return Worked(
        right=CHOICES[place] if second > 1.03 * first else "", items=CHOICES,
        wrong={"least_dust": CHOICES[0], "fewest_washes": CHOICES[-1]},
        rows=[{"wash every": name, "washes in the season": count, "taken by dust_kwh": round(dust)}
              for name, count, dust in zip(CHOICES, counts, lost, strict=True)],
        steps={"name": CHOICES[place], "count": counts[place], "dust": lost[place],
               "washes_kwh": counts[place] * given.wash_kwh, "sum": first},
    )  # fmt: skip


def not_dust(given: Given) -> Worked:
    """Which string stays low after the wash."""
    readings = [Reading(id=name, name=name, modules=10, ratio=percent / 100.0)
                for name, percent in zip(NAMES, given.after_percent, strict=True)]
    low = [name for cause in current_causes(readings, within=WITHIN_FRAC, working=False)
           for name in cause.ids]  # fmt: skip
    gains = [after - before for before, after
             in zip(given.before_percent, given.after_percent, strict=True)]  # fmt: skip
    place = NAMES.index(given.faulty)
    return Worked(
        right=low[0] if len(low) == 1 else "", items=NAMES,
        wrong={"dirtiest": NAMES[given.before_percent.index(min(given.before_percent))],
               "least_gain": NAMES[gains.index(min(gains))]},
        rows=[{"string": name, "before the wash [% of expected]": before,
               "after the wash [% of expected]": after}
              for name, before, after
              in zip(NAMES, given.before_percent, given.after_percent, strict=True)],
        steps={"before": given.before_percent[place], "after": given.after_percent[place]},
    )  # fmt: skip
