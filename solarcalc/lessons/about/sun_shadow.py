"""Lesson 2: how long a shadow is on the shortest day, and how far rows must stand apart."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random

from solarcalc.design import Design
from solarcalc.figures.lessons import draw_row_gaps
from solarcalc.figures.style import svg_of
from solarcalc.lessons import pictures_roof
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.roof.rows import Rows, shadow_rule_pitch_m
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.sun import (
    SHORTEST_DAY_NORTH,
    SHORTEST_DAY_SOUTH,
    profile_angle_deg,
    sun_at_solar_time,
)

NAMES = ("gap A", "gap B", "gap C", "gap D", "gap E")
FROM_H, TO_H = 9.0, 15.0
"""Hours of sundial time through which no row shades the next: the default of the site file."""
HOURS_H = (9.0, 10.0, 11.0, 12.0)
STEP_MIN = 20
CLOCK_MIN = tuple(range(640, 820, STEP_MIN))
"""Minutes of the day at which the shadow of a stick was read."""
ORIENTATIONS = ("portrait", "landscape")


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner: a place, a row on its level roof, a pipe, gaps as built.

    ``noon_min`` are the minutes from clock noon to sundial noon.
    """

    latitude_deg: int
    module: Module
    orientation: str
    tilt_deg: int
    pipe_m: float
    depth_m: float
    noon_min: int
    heights_m: tuple[float, ...]
    gaps_m: tuple[float, ...]

    @property
    def north(self) -> bool:
        """Whether the place lies north of the equator."""
        return self.latitude_deg > 0

    @property
    def facing(self) -> str:
        """Where the rows look."""
        return "south" if self.north else "north"

    @property
    def day(self) -> str:
        """The shortest day there."""
        return "21 December" if self.north else "21 June"

    @property
    def latitude(self) -> str:
        """Latitude in words."""
        return f"{abs(self.latitude_deg)}° {'north' if self.north else 'south'}"

    @property
    def slant_m(self) -> float:
        """Side of the module that runs up the slope [m]."""
        module = self.module
        return module.length_m if self.orientation == "portrait" else module.width_m

    @property
    def other_side_m(self) -> float:
        """The other side [m]."""
        return self.module.length_m + self.module.width_m - self.slant_m

    @property
    def rows(self) -> Rows:
        """One module up its slope, on a level roof, facing the equator."""
        return level_rows(self.slant_m, self.tilt_deg, 180.0 if self.north else 0.0)


def level_rows(slant_m: float, tilt_deg: float, azimuth_deg: float) -> Rows:
    """Rows on a level roof."""
    return Rows(orientation="portrait", slant_m=slant_m, along_m=1.0, gap_m=0.02, modules_high=1,
                tilt_deg=tilt_deg, azimuth_deg=azimuth_deg, roof_slope_deg=0.0,
                roof_azimuth_deg=azimuth_deg)


def draw(rng: Random, design: Design) -> Given:
    """A place near the site, a row of invented modules, five gaps of which one is too small."""
    at = round(design.site.site.latitude_deg) + rng.randint(-6, 4)
    sign = 1 if design.site.site.latitude_deg >= 0.0 else -1
    module = Module(**rng.choice(list(bundled_equipment()["modules"].values())).values)
    latitude = sign * min(max(sign * at, 4), 40)
    heights = tuple(round(rng.uniform(0.30, 0.70), 2) for _ in NAMES)
    bad = rng.randrange(len(NAMES))
    per_m = _per_m(latitude)
    gaps = tuple(
        round(per_m * rise * (rng.uniform(0.72, 0.86) if place == bad else rng.uniform(1.06, 1.3)),
              2) for place, rise in enumerate(heights)
    )  # fmt: skip
    return Given(latitude_deg=latitude, module=module, orientation=rng.choice(ORIENTATIONS),
                 tilt_deg=rng.choice((18, 20, 22, 25, 28, 30)),
                 pipe_m=round(rng.uniform(0.6, 2.4), 1), depth_m=round(rng.uniform(7.0, 18.0), 1),
                 noon_min=STEP_MIN * rng.choice((-2, -1, 1, 2, 3)), heights_m=heights,
                 gaps_m=gaps)  # fmt: skip


def _sun(latitude_deg: float, hour_h: float) -> tuple[float, float, float]:
    """Altitude, azimuth and profile angle of the sun on the shortest day [deg]."""
    north = latitude_deg >= 0.0
    zenith, azimuth = sun_at_solar_time(SHORTEST_DAY_NORTH if north else SHORTEST_DAY_SOUTH,
                                        hour_h, latitude_deg)
    seen = profile_angle_deg(zenith, azimuth, facing_deg=180.0 if north else 0.0)
    return 90.0 - float(zenith), float(azimuth), float(seen)


def _tan(angle_deg: float) -> float:
    return math.tan(math.radians(angle_deg))


def _per_m(latitude_deg: float) -> float:
    """Shadow across the rows of an edge 1 m high, at the first hour of the rule [m]."""
    return 1.0 / _tan(_sun(latitude_deg, FROM_H)[2])


def example() -> dict[str, float]:
    """At 40 degrees north, 21 December, 9 o'clock: altitude 14.0, from the side 18.5 degrees."""
    altitude, azimuth, seen = _sun(40.0, FROM_H)
    return {"altitude_deg": altitude, "from_south_deg": 180.0 - azimuth, "seen_deg": seen,
            "height_m": 1.0, "shadow_m": 1.0 / _tan(seen)}  # fmt: skip


def picture(given: Given) -> Picture:
    """Two rows from the side: drag the time of day and the pitch."""
    def draw_it(sundial_time_h: float, pitch_m: float, shortest_day: bool) -> str:
        short, long = SHORTEST_DAY_NORTH, SHORTEST_DAY_SOUTH
        day = short if shortest_day == given.north else long
        return pictures_roof.row_shadow(
            given.rows, latitude_deg=float(given.latitude_deg), day_of_year=day,
            sundial_time_h=sundial_time_h, pitch_m=pitch_m)  # fmt: skip

    covers_m = given.rows.footprint_m  # at first the row behind is in shade, to be dragged clear
    least_m = math.ceil(10.0 * covers_m) / 10.0
    half_m = math.floor(5.0 * (covers_m + _pitch_printed(given))) / 10.0
    return Picture(draw=draw_it, ranges={
        "sundial_time_h": (7.0, 17.0, 0.5, 9.0),
        "pitch_m": (least_m, 6.0, 0.1, max(least_m, half_m)),
        "shortest_day": {"shortest day": True, "longest day": False},
    })  # fmt: skip


def nine_against_noon(given: Given) -> Worked:
    """The prediction: the shadow at nine against that at noon, on the shortest day."""
    noon_m, nine_m = (1.0 / _tan(_sun(given.latitude_deg, hour)[0]) for hour in (12.0, FROM_H))
    right = "d" if nine_m > 1.75 * noon_m else "c"
    return Worked(right=right, steps={"noon_m": noon_m, "nine_m": nine_m, "times": nine_m / noon_m})


def sundial_noon(given: Given) -> Worked:
    """Clock time at which the shadow of a stick is shortest."""
    names = tuple(f"{at // 60}:{at % 60:02d}" for at in CLOCK_MIN)
    shadows = [round(1.0 / _tan(_sun(given.latitude_deg, (at - given.noon_min) / 60.0)[0]), 2)
               for at in CLOCK_MIN]  # fmt: skip
    shortest = min(shadows)
    return Worked(
        right=names[shadows.index(shortest)] if shadows.count(shortest) == 1 else "", items=names,
        wrong={"clock_noon": "12:00", "longest_shadow": names[shadows.index(max(shadows))]},
        rows=[{"clock time": name, "length of the shadow_m": shadow}
              for name, shadow in zip(names, shadows, strict=True)],
        steps={"noon": names[shadows.index(shortest)], "shortest": shortest},
    )  # fmt: skip


def noon_altitude(given: Given) -> Worked:
    """Altitude of the sun at noon on the shortest day [deg]."""
    high, low = abs(given.latitude_deg), 23.45
    return Worked(
        right=_sun(given.latitude_deg, 12.0)[0], unit="°", within_frac=0.0, within=0.3,
        wrong={"forgot_the_season": 90.0 - high, "longest_day": 90.0 - high + low,
               "from_straight_up": high + low},
        steps={"high": high},
    )  # fmt: skip


def pipe_shadow(given: Given) -> Worked:
    """Length of a pipe's shadow at noon on the shortest day [m]."""
    altitude = round(_sun(given.latitude_deg, 12.0)[0], 1)
    turn = math.radians(altitude)
    return Worked(
        right=given.pipe_m / math.tan(turn), unit="m", within_frac=0.02,
        wrong={"times_tangent": given.pipe_m * math.tan(turn),
               "sine": given.pipe_m / math.sin(turn), "cosine": given.pipe_m * math.cos(turn),
               "radians": given.pipe_m / math.tan(altitude)},
        steps={"altitude": altitude, "tangent": math.tan(turn)},
    )  # fmt: skip


def upper_edge(given: Given) -> Worked:
    """How far the upper edge of a row stands above its lower edge [m]."""
    turn, slant = math.radians(given.tilt_deg), given.slant_m
    return Worked(
        right=slant * math.sin(turn), unit="m", within_frac=0.015,
        wrong={"cosine": slant * math.cos(turn), "other_side": given.other_side_m * math.sin(turn),
               "tangent": slant * math.tan(turn), "radians": slant * math.sin(given.tilt_deg)},
        steps={"sine": math.sin(turn)},
    )  # fmt: skip


def row_pitch(given: Given) -> Worked:
    """Pitch of the rows by the rule from 9 to 15 on the shortest day [m]."""
    rows, slant, turn = given.rows, given.slant_m, math.radians(given.tilt_deg)
    table = [(hour, *_sun(given.latitude_deg, hour)) for hour in HOURS_H]
    altitude, seen = round(table[0][1], 1), round(table[0][3], 1)
    rise, depth = round(slant * math.sin(turn), 3), slant * math.cos(turn)
    gap = rise / _tan(seen)
    right = shadow_rule_pitch_m(rows, latitude_deg=given.latitude_deg, from_solar_h=FROM_H,
                                to_solar_h=TO_H)  # fmt: skip
    return Worked(
        right=math.nan if right is None else right, unit="m", within_frac=0.01,
        by_printed=depth + gap,
        wrong={"noon_sun": depth + rise / _tan(table[-1][3]), "gap_alone": gap,
               "altitude": depth + rise / _tan(altitude), "whole_length": slant + gap},
        rows=[{"sundial time": f"{hour:.0f}:00", "altitude [°]": round(one, 1),
               "angle seen from the side [°]": round(side, 1)} for hour, one, _, side in table],
        steps={"rise": rise, "depth": depth, "seen": seen, "gap": gap},
    )  # fmt: skip


def rows_on_roof(given: Given) -> Worked:
    """Rows that a roof takes, the last one's upper edge still on it."""
    pitch, depth = _pitch_printed(given), round(given.rows.footprint_m, 2)
    gaps = (given.depth_m - depth) / pitch
    return Worked(
        right=1 + math.floor(gaps), unit="rows", within_frac=0.0,
        wrong={"pitch_for_each": math.floor(given.depth_m / pitch),
               "no_gaps": math.floor(given.depth_m / depth), "rounded_up": 1 + math.ceil(gaps)},
        steps={"pitch": pitch, "depth": depth, "left": given.depth_m - depth, "gaps": gaps},
    )  # fmt: skip


def small_gap(given: Given) -> Worked:
    """Which gap is too small for the row before it."""
    per_m = round(_per_m(given.latitude_deg), 2)
    needed = [per_m * rise for rise in given.heights_m]
    short = [name for name, need, gap in zip(NAMES, needed, given.gaps_m, strict=True)
             if gap < need]  # fmt: skip
    place = NAMES.index(short[0])
    return Worked(
        right=short[0] if len(short) == 1 else "", items=NAMES,
        drawing=lambda: svg_of(draw_row_gaps(NAMES, given.heights_m, given.gaps_m, tilt_deg=25.0)),
        wrong={"smallest_gap": NAMES[given.gaps_m.index(min(given.gaps_m))],
               "highest_row": NAMES[given.heights_m.index(max(given.heights_m))]},
        steps={"per_m": per_m, "name": short[0], "its_m": given.gaps_m[place],
               "need_m": needed[place], "rise": given.heights_m[place]},
    )  # fmt: skip


def _pitch_printed(given: Given) -> float:
    """The pitch of the rule as a question prints it [m]; none where the rule has no answer."""
    pitch = shadow_rule_pitch_m(given.rows, latitude_deg=given.latitude_deg, from_solar_h=FROM_H,
                                to_solar_h=TO_H)  # fmt: skip
    return math.nan if pitch is None else round(pitch, 2)
