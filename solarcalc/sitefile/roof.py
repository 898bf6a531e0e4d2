"""The roof, what stands on it and what holds the modules: [roof], [rails]."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Literal

import numpy as np
from pydantic import Field

from solarcalc.basis.errors import Fault
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import (
    Fraction,
    Line,
    Loc,
    Name,
    Record,
    Sound,
    names_once,
    shown,
    sound_rows,
)

WALKWAY_M = constant("roof.walkway_m")
"""Room for a hand with a cleaning brush between tilted rows; flush rows keep the module gap."""


class Obstacle(Record):
    """[[roof.obstacles]]: a box that stands on the roof plane, seen from above."""

    name: Name
    along_m: float = Field(
        ge=0.0, le=500.0, description="to its left side, from the left end of the eaves"
    )
    up_m: float = Field(ge=0.0, le=500.0, description="to its lower side, from the eaves")
    length_m: float = Field(gt=0.0, le=500.0, description="along the eaves")
    depth_m: float = Field(gt=0.0, le=500.0, description="up the slope, measured on the roof")
    height_m: float = Field(ge=0.0, le=50.0, description="above the roof")
    clearance_m: float = Field(ge=0.0, le=10.0, description="free of modules all around it")


class Neighbour(Record):
    """[[roof.neighbours]]: a tree, pole or building beside the roof that casts shade on it.

    Opaque from the ground to its top, a tree's crown as well: in leaf all year, on the strict side.
    """

    name: Name
    kind: Literal["tree", "pole", "wall"]
    bearing_deg: float = Field(
        ge=0.0, lt=360.0, description="from the middle of the roof; 0 north, 90 east"
    )
    distance_m: float = Field(
        gt=0.0, le=500.0, description="level, from the middle of the roof to its middle"
    )
    top_m: float = Field(ge=-50.0, le=100.0, description="its top, above the eaves")
    width_m: float = Field(gt=0.0, le=200.0, description="a wall along its face, others across")
    facing_deg: float | None = Field(
        default=None, ge=0.0, lt=360.0,
        description="a wall alone: direction its face looks; default: towards the roof",
    )

    def posts_m(self, roof_azimuth_deg: float) -> list[tuple[float, float]]:
        """Middles of the square posts that stand for it, from the middle of the roof [m].

        Along the eaves and level up the slope, side by side across its width.
        """
        count = self.post_count
        looks = self.bearing_deg + 180.0 if self.facing_deg is None else self.facing_deg
        (x, y), (u, v) = (
            (-math.sin(angle), -math.cos(angle))
            for angle in np.radians([self.bearing_deg - roof_azimuth_deg,
                                     looks + 90.0 - roof_azimuth_deg]).tolist()
        )  # fmt: skip
        steps = [self.width_m * ((number + 0.5) / count - 0.5) for number in range(count)]
        return [(x * self.distance_m + u * step, y * self.distance_m + v * step) for step in steps]

    @property
    def post_count(self) -> int:
        """Posts that stand for it: of half a metre, of more where it is wide."""
        return max(1, min(math.ceil(self.width_m / POST_M), MOST_POSTS))


POST_M, MOST_POSTS = 0.5, 40
"""Width of a post, and the most of them that stand for one thing."""


class Walkway(Record):
    """[[roof.walkways]]: a strip over the whole roof that is kept free to walk on."""

    name: Name
    runs: Literal["along", "across"] = Field(
        description="along the eaves, or across them up the slope"
    )
    from_m: float = Field(
        ge=0.0, le=500.0, description="to its near side: from the eaves, or from their left end"
    )
    width_m: float = Field(gt=0.0, le=10.0)


class Roof(Record):
    """[roof]: one rectangular plane, seen with its eaves below."""

    name: Line = Field(
        default="", description="of this plane, where [[planes]] has others; such as East roof"
    )
    length_m: float = Field(gt=0.0, le=500.0, description="along the eaves")
    depth_m: float = Field(gt=0.0, le=500.0, description="up the slope, measured on the roof")
    slope_deg: float = Field(default=0.0, ge=0.0, le=60.0)
    azimuth_deg: float = Field(
        ge=0.0, lt=360.0, description="direction in which the roof slopes down; 0 north, 90 east"
    )
    edge_setback_m: float = Field(default=0.4, ge=0.0, le=10.0)
    albedo_frac: Fraction = 0.2
    obstacles: list[Obstacle] = Field(default_factory=list)
    walkways: list[Walkway] = Field(default_factory=list)
    neighbours: list[Neighbour] = Field(default_factory=list)


class Rails(Record):
    """[rails]: what the modules are clamped to."""

    stock_length_m: float = Field(default=4.2, ge=1.0, le=15.0, description="as sold")
    overhang_m: float = Field(default=0.05, ge=0.0, le=1.0, description="beyond the last module")
    longest_run_m: float = Field(
        default=7.0, ge=1.0, le=50.0, description="between expansion joints"
    )
    foot_spacing_m: float = Field(default=1.2, ge=0.2, le=5.0, description="at most")
    mass_kg_per_m: float = Field(default=0.9, ge=0.0, le=20.0)
    foot_mass_kg: float = Field(default=0.5, ge=0.0, le=50.0, description="each")


ROUNDING_FRAC = 1e-9
"""Sizes that differ by less are the same: a guard against rounding, no more."""


def roof_faults(sound: Sound) -> Iterator[Fault]:
    """Names given twice, things outside the roof or wrongly on it, two things in one place."""
    yield from _roof_names(sound)
    yield from _on_the_roof(sound)
    yield from _beside_the_roof(sound)
    yield from _own_ground(sound)


def _roof_names(sound: Sound) -> Iterator[Fault]:
    for kind in ("obstacle", "walkway", "neighbour"):
        yield from names_once(sound, ("roof", f"{kind}s"), kind)


def _on_the_roof(sound: Sound) -> Iterator[Fault]:
    sizes = {"along": sound.get("roof", "length_m"), "up": sound.get("roof", "depth_m")}
    for number, box in sound_rows(sound, "roof", "obstacles"):
        for start, size in (("along", "length_m"), ("up", "depth_m")):
            low, extent = box[f"{start}_m"], box[size]
            yield from _within(
                sound, ("roof", "obstacles", number, f"{start}_m"), low, extent, sizes[start], size
            )
    for number, way in sound_rows(sound, "roof", "walkways"):
        across = "up" if way["runs"] == "along" else "along"
        yield from _within(
            sound, ("roof", "walkways", number, "from_m"), way["from_m"], way["width_m"],
            sizes[across], "width_m",
        )  # fmt: skip


def _beside_the_roof(sound: Sound) -> Iterator[Fault]:
    length_m, depth_m, slope_deg, azimuth_deg = (
        sound.get("roof", name) for name in ("length_m", "depth_m", "slope_deg", "azimuth_deg"))
    for number, row in sound_rows(sound, "roof", "neighbours"):
        if row.get("facing_deg") is not None and row["kind"] != "wall":
            yield sound.fault(("roof", "neighbours", number, "facing_deg"),
                              **worded("sitefile", "facing-of-no-wall", kind=row["kind"]))
        if None in (length_m, depth_m, azimuth_deg):
            continue
        thing, up_m = Neighbour(**row), depth_m * math.cos(math.radians(slope_deg or 0.0))
        half = thing.width_m / thing.post_count / 2.0
        if any(abs(x) < length_m / 2.0 + half and abs(y) < up_m / 2.0 + half
               for x, y in thing.posts_m(azimuth_deg)):  # fmt: skip
            yield sound.fault(("roof", "neighbours", number, "distance_m"), **worded(
                "sitefile", "neighbour-on-the-roof", distance_m=thing.distance_m,
                bearing_deg=thing.bearing_deg,
            ))  # fmt: skip


def _within(
    sound: Sound, loc: Loc, low_m: float, extent_m: float, most_m: float | None, extent: str
) -> Iterator[Fault]:
    if most_m is None or low_m + extent_m <= most_m * (1.0 + ROUNDING_FRAC):
        return
    yield sound.fault(loc, **worded(
        "sitefile", "outside-the-roof", loc=loc[-1], low_m=low_m, extent=extent, extent_m=extent_m,
        top_m=low_m + extent_m, most_m=most_m,
    ))  # fmt: skip


def _own_ground(sound: Sound) -> Iterator[Fault]:
    boxes = [
        (number, box["name"], _spans(box)) for number, box in sound_rows(sound, "roof", "obstacles")
    ]
    ways = [
        (number, way["name"], [(way["from_m"], way["from_m"] + way["width_m"])], way["runs"])
        for number, way in sound_rows(sound, "roof", "walkways")
    ]
    for place, (number, name, spans) in enumerate(boxes):
        for _, other, taken in boxes[:place]:
            if _overlap(spans, taken):
                yield _shared_ground(sound, ("roof", "obstacles", number), name, other)
    for place, (number, name, spans, runs) in enumerate(ways):
        for _, other, taken, other_runs in ways[:place]:
            if runs == other_runs and _overlap(spans, taken):
                yield _shared_ground(sound, ("roof", "walkways", number), name, other)


def _spans(box: Mapping[str, float]) -> list[tuple[float, float]]:
    return [
        (box["along_m"], box["along_m"] + box["length_m"]),
        (box["up_m"], box["up_m"] + box["depth_m"]),
    ]


def _overlap(one: list[tuple[float, float]], other: list[tuple[float, float]]) -> bool:
    return all(
        min(a[1], b[1]) - max(a[0], b[0]) > ROUNDING_FRAC * max(a[1], b[1])
        for a, b in zip(one, other, strict=True)
    )


def _shared_ground(sound: Sound, loc: Loc, name: str, other: str) -> Fault:
    return sound.fault(
        loc, **worded("sitefile", "shared-ground", name=shown(name), other=shown(other)),
    )  # fmt: skip
