"""Parts of the supply and of its room: controllers, inverters, boards, bonds, air, fire, door."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.text import safe_file_name
from solarcalc.earthing.bar import SPARE_TERMINALS, terminals
from solarcalc.installation.array import SIGNS_RULE
from solarcalc.installation.records import (
    RELAY,
    Bought,
    Chosen,
    Label,
    Part,
    Place,
    controller_bought,
    device_bought,
    inverter_bought,
)
from solarcalc.protection.case import Device
from solarcalc.sitefile.exposure import measures_of
from solarcalc.sitefile.generator import CO_ALARM_WHERE
from solarcalc.sitefile.loads import BOARDS
from solarcalc.wiring.runs import grouped_boards, of_plane, plane_key, stem_of
from solarcalc.wiring.switching import bonds_of, inlet_of

_ON_ROOF = ("string-fuse", "array-surge-roof")
_AT: dict[str, Place] = {
    "grid-breaker": "grid", "residual-grid": "grid", "generator-breaker": "generator",
    "residual-generator": "generator",
}
_TESTS = {"residual": ("trip-time",), "changeover": ("changeover",), "isolator": ("function",)}
"""By kind, beside a look at its rating."""
_BATTERY_FUSES = ("battery-fuse", "battery-string-fuse", "inverter-fuse", "controller-fuse")


def supply_parts(chosen: Chosen) -> Iterator[Part]:
    """Controllers, inverters, generator, grid, boards and houses, and where neutrals are tied."""
    yield from _electronics(chosen)
    yield from _sources(chosen)
    yield from _boards(chosen)
    for bond in bonds_of(chosen.site):
        yield Part(
            key=bond.key, kind="bond", name=f"Neutral and earth joined {bond.words}", count=1,
            place="generator" if bond.key == "bond-generator"
            else _room(chosen) if bond.ours else "grid", where=bond.words, board=bond.board,
            drawn_on=("single-line", "earthing") if bond.ours and not bond.relay
            else ("single-line",),
            states=bond.states, tests=("neutral",), why_not=RELAY if bond.relay
            else "a link in its place" if bond.ours else "the grid operator's",
        )  # fmt: skip


def _room(chosen: Chosen) -> Place:
    return "power room" if chosen.site.room.inverters_inside else "outside the room"


def _electronics(chosen: Chosen) -> Iterator[Part]:
    site = chosen.site
    room = _room(chosen)
    for number, one in enumerate(site.sites, start=1):
        control = one.controller
        yield Part(
            key=plane_key("controller", number), kind="controller", count=control.count, place=room,
            name=of_plane(control.label, one), where="wall opposite the racks",
            rated_a=control.max_charge_current_a,
            drawn_on=("single-line", "earthing", "room"), earthed=True, work="controller",
            bought=controller_bought(control),
            tests=("input-polarity", "function"),
        )  # fmt: skip
    for board, inverter in site.inverters.items():
        yield Part(
            key=f"inverter-{board}", kind="inverter", name=inverter.label, count=inverter.count,
            place=room,
            where="wall opposite the racks", board=board, earthed=True, work="inverter",
            drawn_on=("single-line", "earthing", "room"), tests=("function",),
            bought=inverter_bought(inverter),
            labels=(Label(label="Sign 9", words="Inverter: isolate AC and DC, then wait as its"
            " data sheet states", where="at each inverter", count=inverter.count,
                          rule=SIGNS_RULE),),
        )  # fmt: skip
    for board in grouped_boards(site):
        comes_in = site.sources and inlet_of(site) == f"inverter-output-{board}"
        own = "; sources on terminals of their own, never on its bars" if comes_in else ""
        yield Part(
            key=f"inverter-output-{board}", kind="board", count=1, place=room, board=board,
            name="Inverter output board" + ("" if site.supply.one_inverter else f", {board}"),
            where="wall opposite the racks", work="device", drawn_on=("single-line", "room"),
            bought=Bought(item="board"), tests=("board-insulation",),
            labels=(
                _warning(chosen, "at each board"),
                Label(label="{tag}", words=f"Inverter output board: {board} board" + own,
                      where="inside its door", count=1, rule=NO_SOURCE),
            ),
        )  # fmt: skip


def _sources(chosen: Chosen) -> Iterator[Part]:
    site = chosen.site
    if site.generator.there:
        name = "Generator with automatic start"
        by_hand = ", manual changeover" if site.protection.changeover == "manual" else ""
        yield Part(
            key="generator", kind="generator", name=name, count=1, place="generator",
            drawn_on=("single-line",), work="generator", tests=("function",),
            bought=Bought(item="generator", very=safe_file_name(name), words=name,
                          size=site.generator.power_w),
            where=site.generator.place,
            labels=(Label(label="Sign 12", words=f"Generator: starts automatically{by_hand},"
            f" lock it off before work. Exhaust kills: open air only. Refuel stopped and cool",
                          where="at the generator", count=1, rule=NO_SOURCE),),
        )  # fmt: skip
        yield Part(
            key="co-alarm", kind="co-alarm", name="Carbon monoxide alarm", count=1, place="house",
            where=CO_ALARM_WHERE,
            bought=Bought(item="co-alarm"), tests=("function",),
        )  # fmt: skip
    if site.grid.there:
        yield Part(key="grid", kind="grid", name="Service entrance of the grid", count=1,
        place="grid",
                   drawn_on=("single-line",), why_not="the grid operator's", tests=("grid-lost",),
                   labels=(_warning(chosen, "at the meter, if there is one"),))  # fmt: skip


def _boards(chosen: Chosen) -> Iterator[Part]:
    for board in BOARDS:
        yield Part(
            key=f"board-{board}", kind="board", name=f"Board, {board}", count=1, board=board,
            place=_room(chosen), where="wall opposite the racks", work="device",
            drawn_on=("single-line", "room"), bought=Bought(item="board"),
            tests=("board-insulation", "board-voltage"),
            labels=(
                _warning(chosen, "at each board"),
                Label(label="{tag}", words=f"{board.capitalize()} board: circuits supplied",
                where="inside its door", count=1, rule=NO_SOURCE),
            ),
        )  # fmt: skip
        yield Part(
            key=f"house-{board}", kind="house", name=f"Circuits of the house, {board}", count=1,
            place="house", board=board, drawn_on=("single-line",), why_not="existing",
            labels=(_warning(chosen, "at the house's board, where its feeder comes in"),),
        )  # fmt: skip


def _warning(chosen: Chosen, where: str) -> Label:
    site = chosen.site
    sources = ["inverter with battery", *site.sources]
    words = (
        f"Warning: {len(sources)} sources ({', '.join(sources)}). Isolate all of them before work"
        if len(sources) > 1
        else "WARNING: supplied by an inverter with battery. Isolate AC and DC before work, and"
        " prove dead"
    )
    return Label(label="Sign 8", words=words, where=where, count=1, rule=SIGNS_RULE)


def device_parts(chosen: Chosen) -> Iterator[Part]:
    """Every line of the protection schedule; what is inside an inverter is not bought apart."""
    for device in chosen.plan.devices:
        inside = device.kind == "changeover" and device.at == "inverter"
        yield Part(
            key=device.key, kind=device.kind, name=device.name, count=device.count,
            place=_place(chosen, device), where=device.at, device=device,
            rated_a=device.rated_a, poles=device.poles,
            bought=None if inside else device_bought(device),
            why_not="inside the inverter" if inside else "", drawn_on=("single-line",),
            work="" if inside else "device", tests=_tests(device),
            labels=_signs(chosen, device), earthed=device.kind == "surge",
        )  # fmt: skip


def _tests(device: Device) -> tuple[str, ...]:
    """A look at its rating, and what its kind is tested for."""
    if device.delayed:
        return ("ratings", "trip-time-delayed")
    return ("ratings", *_TESTS.get(device.kind, ()))


def _place(chosen: Chosen, device: Device) -> Place:
    if stem_of(device.key) in _ON_ROOF:
        return "roof"
    if device.key.startswith("house-surge"):
        return "house"
    return _AT.get(device.key, _room(chosen))


def _signs(chosen: Chosen, device: Device) -> tuple[Label, ...]:
    """Its own plate, and the sign that the rules ask for."""
    rated = "" if device.rated_a is None else f", {device.rated_a:g} A"
    found = [Label(label="{tag}", words=f"{device.name}{rated}", where=device.at,
                   count=device.count, rule=NO_SOURCE)]  # fmt: skip
    stem = stem_of(device.key)
    if stem == "array-isolator":
        found.append(Label(label="Sign 4", words="PV array d.c. isolator: on, off",
                           where="at each isolator", count=device.count, rule=SIGNS_RULE))
    if stem == "string-fuse":
        found.append(Label(label="Sign 5", words="Fuses: never withdraw under load. Isolator off"
        " first; PV string fuses (gPV) only",
                           where="inside each combiner",
                           count=chosen.plane(device.key).site.controller.count,
                           rule=SIGNS_RULE))
    words = _of_battery(chosen, device)
    if words:
        sign = _BATTERY_SIGNS.get(stem.split("-")[1], "Sign 7")
        found.append(Label(label=sign, words=words, where=device.at, count=device.count,
                           rule=NO_SOURCE))  # fmt: skip
    return tuple(found)


_BATTERY_SIGNS = {"isolator": "Sign 13", "breaker": "Sign 14"}
"""Of a switch of the battery, by what it is; fuses have sign 7."""


def _of_battery(chosen: Chosen, device: Device) -> str:
    """What stands beside a switch or fuse of the battery; empty for all else."""
    if device.key.startswith("battery-isolator"):
        return "Battery isolator: isolates the battery from all equipment"
    if stem_of(device.key) == "controller-breaker":
        return "Controller circuit-breaker: isolates it from the battery, whose side stays live"
    if not device.key.startswith(_BATTERY_FUSES):
        return ""
    every = [one.key for one in chosen.plan.devices if one.key.startswith("battery-isolator")]
    own = [key for key in every if device.key.endswith(key.removeprefix("battery-isolator"))]
    isolators = " and ".join(f"{{{key}}}" for key in own or every)
    parted = f"{isolators} open and locked" if isolators else "all supplies off and locked"
    return f"Battery fuse: withdraw only with {parted}"


_BOXES = {
    "door": ("door", "Door with lock"), "vent-low": ("vent", "Low opening with insect mesh"),
    "vent-high": ("vent", "High opening with insect mesh"),
    "alarm": ("alarm", "Smoke alarm"),
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
            yield Part(
                key=kind, kind=item, name=name, count=len(boxes), place="power room",
                drawn_on=("room",), bought=None if built_in and stands else Bought(item=item),
                why_not="existing" if built_in and stands else "",
                work=item if built_in and not stands else "",
                tests=("function",) if kind == "alarm" else (),
            )  # fmt: skip
    yield from _extinguisher(chosen)
    if site.room.spread_m2 > 0.0:
        yield Part(
            key="spread-plate", kind="spread-plate", name="Load-spreading plates or beams under"
            " a row of racks,"
            f" {site.room.spread_m2:g} m²", count=max(len(chosen.layout.of_kind("rack")), 1),
            place="power room", where="under each row of racks",
            bought=Bought(item="spread-plate", words=f"{site.room.spread_m2:g} m²",
                          size=site.room.spread_m2),
        )  # fmt: skip
    if site.room.fan_m3_per_h > 0.0:
        flow = f"{site.room.fan_m3_per_h:g} m³/h"
        yield Part(key="fan", kind="fan", name=f"Fan suitable for explosive gas, {flow}", count=1,
                   place="power room", where="in the high opening",
                   bought=Bought(item="fan", words=flow))  # fmt: skip


def guard_parts(chosen: Chosen) -> Iterator[Part]:
    """What the place of the site asks for: one part for each item, however many ask for it."""
    counts = {"module": chosen.site.module_count, "once": 1,
              "entry": max(len(chosen.layout.of_kind("entry")), 1)}  # fmt: skip
    found = {one.part.item: one.part for one in reversed(measures_of(chosen.site)) if one.part}
    for item, guard in found.items():
        yield Part(
            key=item, kind="guard", name=guard.name, count=counts[guard.per], place=guard.place,
            where=guard.where, loose=guard.place == "roof", work=guard.work,
            bought=Bought(item=item),
        )  # fmt: skip


def _extinguisher(chosen: Chosen) -> Iterator[Part]:
    room = chosen.site.room
    if room.extinguisher == "none":
        return
    inside = room.extinguisher_place == "inside"
    yield Part(
        key="extinguisher", kind="extinguisher", name=f"Extinguisher, {room.extinguisher}",
        count=1, place="power room" if inside else "outside the room", where="beside the door",
        drawn_on=("room",) if inside else (),
        bought=Bought(item="extinguisher", very=room.extinguisher.lower(),
                      words=room.extinguisher),
        labels=(Label(label="Sign 11", words="CO2 extinguisher: from the open door only, nobody"
        " inside; then shut the door and ventilate the room", where="at the extinguisher",
                      count=1, rule=NO_SOURCE),) if room.extinguisher == "CO2" else (),
    )  # fmt: skip


def earth_parts(chosen: Chosen) -> Iterator[Part]:
    """Main earth bar, test links, rods; the ends of earth conductors that are there already."""
    earthing, lines = chosen.site.earthing, chosen.earth.lines
    count = terminals(lines)
    yield Part(
        key="earth-bar", kind="earth-bar", name=f"Main earthing terminal (earth bar) of {count}"
        f" terminals,"
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
        why_not="" if rods else "made of the conductor in the schedule of the main earthing"
        " terminal",
    )  # fmt: skip
    links = sum(line.count for line in lines if line.kind == "electrode" and line.test_link)
    yield Part(key="test-link", kind="test-link", name="Test link of the earth electrode",
    count=links,
               place="power room", where="upstream of the earth electrode", drawn_on=("earthing",),
               bought=Bought(item="test-link"), tests=("electrode",))  # fmt: skip
    ends = {line.part: line.name for line in lines}
    for key in ("house", "water-pipe", "lightning"):
        if key in ends:
            yield Part(key=key, kind="earth-end", name=ends[key], count=1, place="house",
                       drawn_on=("earthing",), why_not="existing")  # fmt: skip
