"""Checks of the room: its air, its sparks, the way through it."""

from __future__ import annotations

from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.powerroom.air import (
    AIMED_FRAC,
    AIR_CLAUSE,
    BURNS_FROM_FRAC,
    LEAST_APART_M,
    OPENING_CLAUSE,
    SPARK_CLAUSE,
    VOLUME_H,
    AirNeed,
    flow_as_built_m3_per_h,
    hydrogen_share_frac,
)
from solarcalc.powerroom.layout import (
    RoomLayout,
    above_unit_m,
    length_that_takes_all_m,
    nearest_spark_m,
)
from solarcalc.sitefile.room import Room
from solarcalc.sitefile.site import Site

AISLE_M = constant("powerroom.aisle_m")
ESCAPE_M = constant("powerroom.escape_m")
TOP_M = constant("powerroom.top_m")
_HANDS_M = float(constant("powerroom.hands_m"))


def air_verdicts(
    site: Site, need: AirNeed, *, free_volume_m3: float, opposite: bool = True
) -> list[Verdict]:
    """Openings, their height apart, hydrogen reached and volume, for the gas a bank makes in use.

    Parameters
    ----------
    site : Site
    need : AirNeed
    free_volume_m3 : float
        Room less what stands in it [m3].
    opposite : bool
        Openings in walls opposite each other, which need no height apart.
    """
    room = site.room
    if need.flow_m3_per_h <= 0.0:
        return []
    flow = flow_as_built_m3_per_h(room)
    by_fan = room.fan_m3_per_h >= need.flow_m3_per_h
    verdicts = [_fan_verdict(room, need)] if by_fan else [
        _opening_verdict(word, built_cm2, room, need)
        for word, built_cm2 in (("Low", room.vent_low_cm2), ("High", room.vent_high_cm2))
    ]  # fmt: skip
    if not by_fan:
        verdicts.append(_apart_verdict(room, opposite=opposite))
    verdicts.append(_share_verdict(need, flow))
    if need.equalising_m3_per_h > 0.0:
        verdicts.append(_equalising_verdict(need, flow))
    verdicts.append(_volume_verdict(need, free_volume_m3))
    return verdicts


def place_verdicts(site: Site, layout: RoomLayout) -> list[Verdict]:
    """Whether all fits, sparks are far enough, and people can pass, reach and get out."""
    verdicts = [
        _fits_verdict(site, layout),
        _aisle_verdict(layout),
        _top_verdict(site, layout),
        _door_verdict(site.room),
    ]
    gap = nearest_spark_m(layout)
    if gap is not None and layout.spark_m > 0.0:
        verdicts.append(_spark_verdict(gap, layout.spark_m))
    return verdicts


def _fits_verdict(site: Site, layout: RoomLayout) -> Verdict:
    return judged(
        not layout.unplaced,
        "failed",
        item="Room for racks and equipment",
        found="all placed" if not layout.unplaced else f"no place: {', '.join(layout.unplaced)}",
        limit="all placed, racks on two walls at most",
        clause=f"rules of the layout; {NO_SOURCE}",
        remedy=_longer(site, layout) + "another tier, larger units, or inverters in a room beside"
        " it",
    )


def _longer(site: Site, layout: RoomLayout) -> str:
    if not layout.unplaced:
        return ""
    length = length_that_takes_all_m(site, 1000.0 * layout.spark_m)
    return "" if length is None else f"a room {length:g} m long takes it all; or "


def _aisle_verdict(layout: RoomLayout) -> Verdict:
    return judged(
        layout.aisle_m >= float(AISLE_M),
        "caution" if layout.aisle_m >= float(ESCAPE_M) else "failed",
        item="Free width in front of the racks",
        found=f"{layout.aisle_m:.2f}",
        limit=f"at least {float(AISLE_M):g}",
        unit="m",
        clause=f"{AISLE_M.source}; {ESCAPE_M.source}",
        remedy="a deeper room, or nothing on the wall opposite",
    )


def _top_verdict(site: Site, layout: RoomLayout) -> Verdict:
    top = max((box.height_m for box in layout.of_kind("rack")), default=0.0)
    under_ceiling = site.room.height_m - above_unit_m(site)
    limit = min(float(TOP_M), under_ceiling)
    return judged(
        top <= limit,
        "caution" if top <= under_ceiling else "failed",
        item="Top of the highest battery unit",
        found=f"{top:.2f}",
        limit=f"at most {limit:.2f}",
        unit="m",
        clause=f"{TOP_M.source}; {above_unit_m(site):g} m under the ceiling, {NO_SOURCE}",
        remedy="fewer tiers on a longer rack: high units are hard to lift and to look into",
    )


def _door_verdict(room: Room) -> Verdict:
    least = max(float(ESCAPE_M), min(room.unit_length_m, room.unit_depth_m) + _HANDS_M)
    return judged(
        room.door_m >= least,
        "caution" if room.door_m >= float(ESCAPE_M) else "failed",
        item="Width of the door",
        found=f"{room.door_m:.2f}",
        limit=f"at least {least:.2f}",
        unit="m",
        clause=f"{ESCAPE_M.source}; a unit carried lengthwise and two hands, {NO_SOURCE}",
        remedy="a wider door that opens outward",
    )


def _spark_verdict(gap_m: float, spark_m: float) -> Verdict:
    return judged(
        gap_m >= spark_m,
        "failed",
        item="Distance of batteries from what may spark",
        found=f"{1000.0 * gap_m:.0f}",
        limit=f"at least {1000.0 * spark_m:.0f}",
        unit="mm",
        clause=SPARK_CLAUSE,
        remedy="hang inverters, controllers and boards farther away, or in the next room",
    )


def _opening_verdict(word: str, built_cm2: float, room: Room, need: AirNeed) -> Verdict:
    free = built_cm2 * room.mesh_free_frac
    return judged(
        free >= need.free_cm2 * (1.0 - 1e-9),
        "failed",
        item=f"{word} opening of the battery room",
        found=f"{free:.0f} free of {built_cm2:.0f}",
        limit=f"at least {need.free_cm2:.0f} free, so {need.gross_cm2:.0f} behind this mesh",
        unit="cm²",
        clause=f"{OPENING_CLAUSE}; {AIR_CLAUSE}",
        remedy=f"an opening of {need.gross_cm2:.0f} cm² with this mesh, or a spark-free fan of"
        f" {need.flow_m3_per_h:.0f} m³/h that runs whenever the bank is charged",
    )


def _fan_verdict(room: Room, need: AirNeed) -> Verdict:
    good = room.vent_low_cm2 > 0.0
    return judged(
        good,
        item="Fan of the battery room",
        found=f"{room.fan_m3_per_h:.0f}" + ("" if good else ", no low opening to let air in"),
        limit=f"at least {need.flow_m3_per_h:.0f}, with an inlet",
        unit="m³/h",
        clause=AIR_CLAUSE,
        remedy="a low opening that the fan draws through; charging stops when the fan fails",
    )


def _apart_verdict(room: Room, *, opposite: bool) -> Verdict:
    least = float(LEAST_APART_M)
    good = room.vent_apart_m >= least
    return judged(
        good or (opposite and room.vent_apart_m > 0.0),
        item="Height of the high opening above the low one",
        found=f"{room.vent_apart_m:g}" + ("" if good else ", in walls opposite each other"),
        limit=f"at least {least:g} where both are in one wall",
        unit="m",
        clause=LEAST_APART_M.source,
        remedy="the high one under the ceiling, the low one near the floor, in walls opposite each"
        " other if the room is low",
    )


def _volume_verdict(need: AirNeed, free_volume_m3: float) -> Verdict:
    return judged(
        free_volume_m3 >= need.volume_m3,
        item="Free volume of the battery room",
        found=f"{free_volume_m3:.1f}",
        limit=f"at least {need.volume_m3:.1f}",
        unit="m³",
        clause=f"{float(VOLUME_H):g} Q; {VOLUME_H.source}",
        remedy="a larger room, or a fan that runs whenever the bank is charged",
    )


def _share_verdict(need: AirNeed, flow_m3_per_h: float) -> Verdict:
    share = hydrogen_share_frac(need.hydrogen_m3_per_h, flow_m3_per_h)
    aimed, burns = float(AIMED_FRAC), float(BURNS_FROM_FRAC)
    return judged(
        share <= aimed,
        "caution" if share < burns else "failed",
        item="Hydrogen in the room while the bank is charged",
        found=f"{100.0 * share:.2f}",
        limit=f"at most {100.0 * aimed:g}; burns from {100.0 * burns:g}",
        unit="%",
        clause="mass balance at the design current, safety factor of 5 inside;"
        f" {AIMED_FRAC.source}",
        remedy="larger openings or a fan",
    )


def _equalising_verdict(need: AirNeed, flow_m3_per_h: float) -> Verdict:
    share = hydrogen_share_frac(need.equalising_m3_per_h, flow_m3_per_h)
    aimed, burns = float(AIMED_FRAC), float(BURNS_FROM_FRAC)
    more = need.equalising_m3_per_h * (1.0 / aimed - 1.0)
    return judged(
        share <= aimed,
        "caution" if share < burns else "failed",
        item="Hydrogen in the room while the bank is equalised",
        found=f"{100.0 * share:.2f}",
        limit=f"at most {100.0 * aimed:g}; burns from {100.0 * burns:g}",
        unit="%",
        clause="mass balance at the equalising current, all of it gas, no safety factor;"
        f" {AIMED_FRAC.source}",
        remedy=f"equalise with door and openings wide open, or a fan of {more:.0f} m³/h; no flame,"
        " no switching and nobody inside",
    )
