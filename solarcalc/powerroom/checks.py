"""Checks of the room: its air, its sparks, the way through it.

What stands in a standard as a limit for people is failed where it is broken; what is left for
review is a rule of the trade, on lifting and carrying, or a rule for other rooms.
"""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.check import Check, checked
from solarcalc.basis.sourced import constant
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
from solarcalc.powerroom.boxes import HANDS_M
from solarcalc.powerroom.layout import (
    RoomLayout,
    length_that_takes_all_m,
    nearest_spark_m,
)
from solarcalc.powerroom.racks import above_unit_m, racks_of, split_after
from solarcalc.powerroom.ways import rounded_up_m
from solarcalc.sitefile.room import Room
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wiring import USUAL_RUNS

AISLE_M = constant("powerroom.aisle_m")
ESCAPE_M = constant("powerroom.escape_m")
TOP_M = constant("powerroom.top_m")


def air_checks(
    site: Site, need: AirNeed, *, free_volume_m3: float, opposite: bool = True
) -> list[Check]:
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
    checks = [_fan_check(room, need)] if by_fan else [
        _opening_check(word, built_cm2, room, need)
        for word, built_cm2 in (("Low", room.vent_low_cm2), ("High", room.vent_high_cm2))
    ]  # fmt: skip
    if not by_fan:
        checks.append(_apart_check(room, opposite=opposite))
    checks.append(_share_check(need, flow))
    if need.equalising_m3_per_h > 0.0:
        checks.append(_equalising_check(need, flow))
    checks.append(_volume_check(need, free_volume_m3))
    return checks


def place_checks(site: Site, layout: RoomLayout) -> list[Check]:
    """Whether all fits, sparks are far enough, and people can pass, reach and get out."""
    checks = [
        _fits_check(site, layout),
        _aisle_check(layout),
        _top_check(site, layout),
        _door_check(site.room),
        *_split_checks(site),
    ]
    gap = nearest_spark_m(layout)
    if gap is not None and layout.spark_m > 0.0:
        checks.append(_spark_check(gap, layout.spark_m))
    return checks


def _fits_check(site: Site, layout: RoomLayout) -> Check:
    return checked(
        not layout.unplaced, "failed",
        **worded("powerroom", "room-racks-equipment", longer=_longer(site, layout)),
        found="all placed" if not layout.unplaced else f"no place: {', '.join(layout.unplaced)}",
    )  # fmt: skip


def _longer(site: Site, layout: RoomLayout) -> str:
    if not layout.unplaced:
        return ""
    length = length_that_takes_all_m(site, 1000.0 * layout.spark_m)
    return "" if length is None else f"a room {length:g} m long takes it all; or "


def _split_checks(site: Site) -> Iterator[Check]:
    """A string in two racks at opposite walls: the cable between them is not designed."""
    for board, unit in split_after(site, racks_of(site)).items():
        yield checked(False, "review", **worded(
            "powerroom", "link-between-racks", unit=unit, next=unit + 1,
            bank="" if board == "shared" else f", {board} bank",
        ))  # fmt: skip


CABLES = {
    "dc_main": "PV DC main cable", "controller_battery": "controller to battery busbars",
    "battery_inverter": "battery busbars to inverter", "inverter_board": "inverter to board",
    "board_house": "distribution circuit", "grid_in": "grid to changeover",
    "generator_in": "generator to changeover",
}  # fmt: skip
"""Runs of the site file that lie in the room, whole or in part, in words."""


def way_checks(site: Site, layout: RoomLayout) -> Iterator[Check]:
    """Whether each cable is as long as its way between the places of what it joins.

    The room itself hangs on no length of them.
    """
    for key, way_m in layout.ways_m.items():
        if key in CABLES:
            given_m = getattr(site.runs, key).length_m
            length_m, least_m = given_m or USUAL_RUNS[key][0], rounded_up_m(way_m)
            yield checked(length_m >= way_m - 1e-9, "review", **worded(
                "powerroom", "cable-in-room", cable=CABLES[key], length_m=length_m,
                least_m=least_m,
            ), evidence="assumed" if given_m is None else "computed")  # fmt: skip


def _aisle_check(layout: RoomLayout) -> Check:
    return checked(layout.aisle_m >= float(AISLE_M), "failed", **worded(
        "powerroom", "free-width-front", aisle_m=layout.aisle_m, least_m=float(AISLE_M),
        aisle_m_source=AISLE_M.source, escape_m_source=ESCAPE_M.source,
    ))  # fmt: skip


def _top_check(site: Site, layout: RoomLayout) -> Check:
    top = max((box.height_m for box in layout.of_kind("rack")), default=0.0)
    under_ceiling = site.room.height_m - above_unit_m(site)
    limit = min(float(TOP_M), under_ceiling)
    return checked(top <= limit, "review" if top <= under_ceiling else "failed", **worded(
        "powerroom", "top-highest-battery", top=top, limit=limit, top_m_source=TOP_M.source,
        above_unit_m=above_unit_m(site),
    ))  # fmt: skip


def _door_check(room: Room) -> Check:
    least = max(float(ESCAPE_M), min(room.unit_length_m, room.unit_depth_m) + HANDS_M)
    return checked(
        room.door_m >= least, "review" if room.door_m >= float(ESCAPE_M) else "failed",
        **worded(
            "powerroom", "width-door", door_m=room.door_m, least=least,
            escape_m_source=ESCAPE_M.source,
        ),
    )  # fmt: skip


def _spark_check(gap_m: float, spark_m: float) -> Check:
    return checked(gap_m >= spark_m, "failed", clause=SPARK_CLAUSE, **worded(
        "powerroom", "distance-batteries-may", gap_m=1000.0 * gap_m, spark_m=1000.0 * spark_m,
    ))  # fmt: skip


def _opening_check(word: str, built_cm2: float, room: Room, need: AirNeed) -> Check:
    free = built_cm2 * room.mesh_free_frac
    return checked(free >= need.free_cm2 * (1.0 - 1e-9), "failed", **worded(
        "powerroom", "opening-battery-room", word=word, free=free, built_cm2=built_cm2,
        free_cm2=need.free_cm2, gross_cm2=need.gross_cm2, opening_clause=OPENING_CLAUSE,
        air_clause=AIR_CLAUSE, flow_m3_per_h=need.flow_m3_per_h,
    ))  # fmt: skip


def _fan_check(room: Room, need: AirNeed) -> Check:
    good = room.vent_low_cm2 > 0.0
    return checked(good, "failed", clause=AIR_CLAUSE, **worded(
        "powerroom", "fan-battery-room", fan_m3_per_h=room.fan_m3_per_h,
        good_said="" if good else ", no low opening to let air in",
        flow_m3_per_h=need.flow_m3_per_h,
    ))  # fmt: skip


def _apart_check(room: Room, *, opposite: bool) -> Check:
    least = float(LEAST_APART_M)
    good = room.vent_apart_m >= least
    return checked(
        good or (opposite and room.vent_apart_m > 0.0), "failed",
        **worded(
            "powerroom", "height-high-opening", vent_apart_m=room.vent_apart_m,
            good_said="" if good else ", in walls opposite each other", least=least,
        ),
        clause=LEAST_APART_M.source,
    )  # fmt: skip


def _volume_check(need: AirNeed, free_volume_m3: float) -> Check:
    return checked(free_volume_m3 >= need.volume_m3, **worded(
        "powerroom", "free-volume-battery", free_volume_m3=free_volume_m3, volume_m3=need.volume_m3,
        volume_h=float(VOLUME_H), volume_h_source=VOLUME_H.source,
    ))  # fmt: skip


def _share_check(need: AirNeed, flow_m3_per_h: float) -> Check:
    share = hydrogen_share_frac(need.hydrogen_m3_per_h, flow_m3_per_h)
    aimed, burns = float(AIMED_FRAC), float(BURNS_FROM_FRAC)
    return checked(share <= aimed, "failed", **worded(
        "powerroom", "hydrogen-room-while", share=100.0 * share, aimed=100.0 * aimed,
        burns=100.0 * burns, aimed_frac_source=AIMED_FRAC.source,
    ))  # fmt: skip


def _equalising_check(need: AirNeed, flow_m3_per_h: float) -> Check:
    share = hydrogen_share_frac(need.equalising_m3_per_h, flow_m3_per_h)
    aimed, burns = float(AIMED_FRAC), float(BURNS_FROM_FRAC)
    more = need.equalising_m3_per_h * (1.0 / aimed - 1.0)
    return checked(share <= aimed, "failed", **worded(
        "powerroom", "hydrogen-room-while-equalising-check", share=100.0 * share,
        aimed=100.0 * aimed, burns=100.0 * burns, aimed_frac_source=AIMED_FRAC.source, more=more,
    ))  # fmt: skip
