"""Parts of the power room that no current flows through: air, fire, door; and the earth's."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.earthing.bar import SPARE_TERMINALS, terminals
from solarcalc.installation.inputs import Chosen
from solarcalc.installation.records import Bought, Part

_BOXES = {
    "door": ("door", "Door with lock"), "vent-low": ("vent", "Low opening with insect mesh"),
    "vent-high": ("vent", "High opening with insect mesh"),
    "extinguisher": ("extinguisher", "Extinguisher"), "alarm": ("alarm", "Smoke alarm"),
}  # fmt: skip
"""Kind of box in the room: item of the price list, name."""


def room_parts(chosen: Chosen) -> Iterator[Part]:
    """What the room's layout holds besides racks and electronics, and a fan where there is one."""
    site = chosen.site
    stands = site.programme.power_room != "new"
    for kind, (item, name) in _BOXES.items():
        boxes = chosen.layout.of_kind(kind)  # type: ignore[arg-type]
        built_in = item in ("door", "vent")
        if boxes:
            words = site.room.extinguisher if kind == "extinguisher" else ""
            yield Part(
                key=kind, kind=item, name=f"{name}, {words}" if words else name,
                count=len(boxes), place="power room", drawn_on=("room",),
                bought=None if built_in and stands else Bought(item=item, very=words, words=words),
                why_not="stands already" if built_in and stands else "",
                work=item if built_in and not stands else "",
                tests=("function",) if kind == "alarm" else (),
            )  # fmt: skip
    if site.room.fan_m3_per_h > 0.0:
        flow = f"{site.room.fan_m3_per_h:g} m³/h"
        yield Part(key="fan", kind="fan", name=f"Fan that makes no spark, {flow}", count=1,
                   place="power room", where="in the high opening",
                   bought=Bought(item="fan", words=flow))  # fmt: skip


def earth_parts(chosen: Chosen) -> Iterator[Part]:
    """Main earth bar, test links, rods; the ends of earth conductors that are there already."""
    earthing, lines = chosen.site.earthing, chosen.earth.lines
    count = terminals(lines)
    yield Part(
        key="earth-bar", kind="earth-bar", name=f"Main earth bar of {count} terminals,"
        f" {SPARE_TERMINALS} of them free", count=1, place="power room",
        where="low on the wall opposite the racks", work="device",
        drawn_on=("single-line", "earthing", "room"), tests=("continuity",),
        bought=Bought(item="earth-bar", very=f"{count}t", words=f"{count} terminals", size=count),
    )  # fmt: skip
    rods = earthing.electrode == "rods"
    length_m = earthing.rod_length_m
    yield Part(
        key="electrode", kind="electrode", place="ground", drawn_on=("earthing", "single-line"),
        name=f"Earth rod with clamp, {length_m:g} m" if rods else f"Earth electrode, "
        f"{earthing.electrode} of {earthing.conductor_m:g} m", work="rod" if rods else "",
        count=earthing.rod_count if rods else 1, tests=("electrode",),
        bought=Bought(item="earth-rod", very=f"{length_m:g}m", words=f"{length_m:g} m",
                      size=length_m) if rods else None,
        why_not="" if rods else "made of the conductor that the schedule of the earth bar has",
    )  # fmt: skip
    links = sum(line.count for line in lines if line.kind == "electrode" and line.test_link)
    yield Part(key="test-link", kind="test-link", name="Test link of the electrode", count=links,
               place="power room", where="before the electrode", drawn_on=("earthing",),
               bought=Bought(item="test-link"), tests=("electrode",))  # fmt: skip
    ends = {line.part: line.name for line in lines}
    for key in ("house", "water-pipe", "lightning"):
        if key in ends:
            yield Part(key=key, kind="earth-end", name=ends[key], count=1, place="house",
                       drawn_on=("earthing",), why_not="stands already")  # fmt: skip
