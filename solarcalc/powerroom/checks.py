"""Checks of the room: its air, its sparks, the way through it."""

from __future__ import annotations

from solarcalc.basis.sourced import constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.basis.worded import worded
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
        not layout.unplaced, "failed",
        **worded("powerroom", "room-racks-equipment", longer=_longer(site, layout)),
        found="all placed" if not layout.unplaced else f"no place: {', '.join(layout.unplaced)}",
    )  # fmt: skip


def _longer(site: Site, layout: RoomLayout) -> str:
    if not layout.unplaced:
        return ""
    length = length_that_takes_all_m(site, 1000.0 * layout.spark_m)
    return "" if length is None else f"a room {length:g} m long takes it all; or "


def _aisle_verdict(layout: RoomLayout) -> Verdict:
    return judged(
        layout.aisle_m >= float(AISLE_M),
        "caution" if layout.aisle_m >= float(ESCAPE_M) else "failed",
        **worded(
            "powerroom", "free-width-front", aisle_m=layout.aisle_m, least_m=float(AISLE_M),
            aisle_m_source=AISLE_M.source, escape_m_source=ESCAPE_M.source,
        ),
    )  # fmt: skip


def _top_verdict(site: Site, layout: RoomLayout) -> Verdict:
    top = max((box.height_m for box in layout.of_kind("rack")), default=0.0)
    under_ceiling = site.room.height_m - above_unit_m(site)
    limit = min(float(TOP_M), under_ceiling)
    return judged(top <= limit, "caution" if top <= under_ceiling else "failed", **worded(
        "powerroom", "top-highest-battery", top=top, limit=limit, top_m_source=TOP_M.source,
        above_unit_m=above_unit_m(site),
    ))  # fmt: skip


def _door_verdict(room: Room) -> Verdict:
    least = max(float(ESCAPE_M), min(room.unit_length_m, room.unit_depth_m) + _HANDS_M)
    return judged(
        room.door_m >= least, "caution" if room.door_m >= float(ESCAPE_M) else "failed",
        **worded(
            "powerroom", "width-door", door_m=room.door_m, least=least,
            escape_m_source=ESCAPE_M.source,
        ),
    )  # fmt: skip


def _spark_verdict(gap_m: float, spark_m: float) -> Verdict:
    return judged(gap_m >= spark_m, "failed", clause=SPARK_CLAUSE, **worded(
        "powerroom", "distance-batteries-may", gap_m=1000.0 * gap_m, spark_m=1000.0 * spark_m,
    ))  # fmt: skip


def _opening_verdict(word: str, built_cm2: float, room: Room, need: AirNeed) -> Verdict:
    free = built_cm2 * room.mesh_free_frac
    return judged(free >= need.free_cm2 * (1.0 - 1e-9), "failed", **worded(
        "powerroom", "opening-battery-room", word=word, free=free, built_cm2=built_cm2,
        free_cm2=need.free_cm2, gross_cm2=need.gross_cm2, opening_clause=OPENING_CLAUSE,
        air_clause=AIR_CLAUSE, flow_m3_per_h=need.flow_m3_per_h,
    ))  # fmt: skip


def _fan_verdict(room: Room, need: AirNeed) -> Verdict:
    good = room.vent_low_cm2 > 0.0
    return judged(good, clause=AIR_CLAUSE, **worded(
        "powerroom", "fan-battery-room", fan_m3_per_h=room.fan_m3_per_h,
        good_said="" if good else ", no low opening to let air in",
        flow_m3_per_h=need.flow_m3_per_h,
    ))  # fmt: skip


def _apart_verdict(room: Room, *, opposite: bool) -> Verdict:
    least = float(LEAST_APART_M)
    good = room.vent_apart_m >= least
    return judged(
        good or (opposite and room.vent_apart_m > 0.0),
        **worded(
            "powerroom", "height-high-opening", vent_apart_m=room.vent_apart_m,
            good_said="" if good else ", in walls opposite each other", least=least,
        ),
        clause=LEAST_APART_M.source,
    )  # fmt: skip


def _volume_verdict(need: AirNeed, free_volume_m3: float) -> Verdict:
    return judged(free_volume_m3 >= need.volume_m3, **worded(
        "powerroom", "free-volume-battery", free_volume_m3=free_volume_m3, volume_m3=need.volume_m3,
        volume_h=float(VOLUME_H), volume_h_source=VOLUME_H.source,
    ))  # fmt: skip


def _share_verdict(need: AirNeed, flow_m3_per_h: float) -> Verdict:
    share = hydrogen_share_frac(need.hydrogen_m3_per_h, flow_m3_per_h)
    aimed, burns = float(AIMED_FRAC), float(BURNS_FROM_FRAC)
    return judged(share <= aimed, "caution" if share < burns else "failed", **worded(
        "powerroom", "hydrogen-room-while", share=100.0 * share, aimed=100.0 * aimed,
        burns=100.0 * burns, aimed_frac_source=AIMED_FRAC.source,
    ))  # fmt: skip


def _equalising_verdict(need: AirNeed, flow_m3_per_h: float) -> Verdict:
    share = hydrogen_share_frac(need.equalising_m3_per_h, flow_m3_per_h)
    aimed, burns = float(AIMED_FRAC), float(BURNS_FROM_FRAC)
    more = need.equalising_m3_per_h * (1.0 / aimed - 1.0)
    return judged(share <= aimed, "caution" if share < burns else "failed", **worded(
        "powerroom", "hydrogen-room-while-equalising-verdict", share=100.0 * share,
        aimed=100.0 * aimed, burns=100.0 * burns, aimed_frac_source=AIMED_FRAC.source, more=more,
    ))  # fmt: skip
