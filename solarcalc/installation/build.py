"""The graph of a site: its conductors with ends, cores and devices, its routes, all together."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from solarcalc.basis.record import but
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.text import small
from solarcalc.earthing.bar import BAR, BarLine, buried_mm2, surge_earth_mm2
from solarcalc.installation.array import array_parts, dc_main_labels, string_labels
from solarcalc.installation.battery import battery_cables, battery_parts
from solarcalc.installation.ends import LUGS_FROM_MM2, with_devices, with_lugs
from solarcalc.installation.records import (
    Chosen,
    Conductor,
    Installation,
    Label,
    Part,
    with_tags,
)
from solarcalc.installation.routes import routes_of, with_way
from solarcalc.installation.supply import (
    device_parts,
    earth_parts,
    guard_parts,
    room_parts,
    supply_parts,
)
from solarcalc.protection.alternating import breaker_key
from solarcalc.protection.case import board_of
from solarcalc.sitefile.guessed import is_given
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.site import Site
from solarcalc.wiring.choose import money_of, safe_and_cheapest
from solarcalc.wiring.conductors import next_size_mm2, protective_mm2
from solarcalc.wiring.runs import (
    ARRAY_RUNS,
    PLANE_RUNS,
    RATED_V,
    Function,
    Run,
    SizedRun,
    between_v,
    controllers_by_bank,
    grouped_boards,
    line_conductors,
    module_cable,
    phases_of_run,
    plane_key,
    plane_number,
    stem_of,
    way_by_run,
)
from solarcalc.wiring.switching import inlet_of, links_of

INLET = "changeover"
"""What the runs of grid and generator end at, where it is a switch of its own."""
LINK_M = constant("installation.link_m")
NO_FUSE = "a string without fuse: its I_z carries the reverse current from parallel strings"
SUN_LIMITS = "the array delivers no more than 1.25 I_sc per string, and its I_z carries that"
UNMADE = "no fuse of this size is made: a check fails"
FAULT_ALONE = "carries current only during a fault; the protective device of that circuit clears it"
SURGE_ALONE = ("carries surges only, as short as it is; the upstream protective device clears a"
               " fault in it")  # fmt: skip
_TESTS = {
    "string": ("polarity", "voltage", "current", "array-insulation"),
    "dc_main": ("input-polarity", "array-insulation"),
    "battery": ("battery-insulation", "battery-polarity", "torque"),
    "ac": ("board-insulation",), "in": ("incoming-insulation",),
}  # fmt: skip


def conductors_of(chosen: Chosen, parts: Sequence[Part]) -> tuple[Conductor, ...]:
    """Every conductor: the runs, the battery's own, then those of the earth bar."""
    keys = {part.key for part in parts}
    ways = way_by_run(chosen.site)
    found = [
        one for sized in chosen.sized for one in _by_bank(chosen, _of_run(
            chosen, sized, _ends(chosen, sized.run.key), ways[sized.run.key].key, keys))
    ]  # fmt: skip
    for bank, key, sized in battery_cables(chosen):
        bars = bank.key("string-bar") if bank.fault.strings > 1 else bank.key("battery")
        ends = (bars, bank.key("busbar")) if key == "battery_main" else (bank.key("battery"), bars)
        fuse = "battery-fuse" if key == "battery_main" else "battery-string-fuse"
        one = _of_run(chosen, sized, ends, sized.run.key, keys)
        device = bank.key(fuse) if bank.key(fuse) in keys else ""
        found.append(but(one, device=device, device_a=sized.device_a,
                             why_no_device="" if device else UNMADE))  # fmt: skip
    found += _surge_leads(chosen, parts)
    found += _links(chosen, keys)
    by_key = {part.key: part for part in parts}
    found = [with_lugs(with_devices(one, keys), by_key) for one in found]
    inlet = _inlet_words(chosen.site, found)
    tagged = [
        but(one, tag=f"W{number}",
                end_words=_words_at(one.end, inlet.get(one.end_words, one.end_words)),
                start_words=_words_at(one.start, inlet.get(one.start_words, one.start_words)))
        for number, one in enumerate(found, start=1)
    ]  # fmt: skip
    tags = {part.key: part.tag for part in parts}
    earths = [_of_line(number, line, keys, tags)
              for number, line in enumerate(chosen.earth.lines, 1)]  # fmt: skip
    earths = [with_way(one, ways.values(), by_key) for one in (*earths, *_electrode(chosen))]
    return tuple(_labelled(chosen, one) for one in (*tagged, *earths))


def _surge_leads(chosen: Chosen, parts: Sequence[Part]) -> Iterator[Conductor]:
    """From the live conductors to each surge device: half of both its leads together.

    As thick as its lead to earth: thinner ones would not stand a short circuit behind the largest
    fuse of its plate.
    """
    tapped = {"array-surge": "controller", "array-surge-roof": "combiner",
              "board-surge": "board-essential", "house-surge": "house-essential"}  # fmt: skip
    tapped |= {f"{stem}-surge-{board}": f"{stem}-{board}"
               for stem in ("board", "house") for board in BOARDS}  # fmt: skip
    protection = chosen.site.protection
    size_mm2 = surge_earth_mm2(lightning=protection.lightning_protection)
    by_key = {part.key: part for part in parts}
    for part in parts:
        device = part.device
        if device is None or part.kind != "surge":
            continue
        number, dc = plane_number(part.key), device.current == "dc"
        at = by_key[plane_key(tapped[stem_of(part.key)], number)]
        yield Conductor(
            key=plane_key(f"{stem_of(part.key)}-lead", number),
            name=f"Lead of {small(part.name)}",
            start=at.key, end=part.key, start_words=part.where, end_words="surge device",
            current="surge", functions=("+", "-") if dc
            else line_conductors(chosen.site, at.key.replace("-", "_")),
            count=part.count, size_mm2=size_mm2,
            size_name=f"{size_mm2:g} mm²", material="copper", insulation="XLPE",
            rated_v=RATED_V[device.current],
            highest_v=chosen.plane(part.key).cold_string_v if dc else device.rated_v,
            length_m=0.5 * protection.surge_lead_m,
            length_given=is_given(chosen.site, "protection.surge_lead_m"),
            why_no_device=SURGE_ALONE, tests=("ratings",),
        )  # fmt: skip


def _inlet_words(site: Site, found: Sequence[Conductor]) -> dict[str, str]:
    """What grid and generator end at, in the words that its other cables have for it.

    A changeover built into an inverter is no place of its own: their cable ends at that inverter,
    or at the output board of several.
    """
    inlet = inlet_of(site)
    named = [words for one in found for key, words in ((one.start, one.start_words),
                                                       (one.end, one.end_words))
             if key == inlet and words != INLET and one.current == "ac"]  # fmt: skip
    return {INLET: named[0]} if named else {}


_BARS = {"busbar": "battery busbars", "string-bar": "string busbars"}


def _words_at(key: str, words: str) -> str:
    """Where an end lies: busbars have one name, whichever conductor comes to them."""
    stem = next((each for each in _BARS if key == each or key.startswith(f"{each}-")), None)
    if stem is None:
        return words
    board = key.removeprefix(stem).removeprefix("-")
    return _BARS[stem] + (f", {board} board" if board else "")


def _by_bank(chosen: Chosen, one: Conductor) -> Iterator[Conductor]:
    """A conductor as it is; that of the controllers once for each bank, from its own ones."""
    own = controllers_by_bank(chosen.site)
    if one.key != "controller_battery" or len(own) == 1 or one.sized is None:
        yield one
        return
    for board, count in own.items():
        share = count / one.count
        run = replace(one.sized.run, key=f"{one.key}_{board}", count=count,
                      name=f"{one.name}, {board} board")  # fmt: skip
        sized = replace(
            one.sized, run=run, loss_kwh_per_year=share * one.sized.loss_kwh_per_year,
            cost=share * one.sized.cost, lifetime_cost=share * one.sized.lifetime_cost,
        )  # fmt: skip
        yield but(one, key=run.key, name=run.name, end=f"busbar-{board}", count=count,
                      sized=sized, lug_count=round(share * one.lug_count))  # fmt: skip


def _ends(chosen: Chosen, key: str) -> tuple[str, str]:
    """Keys of the parts that a run joins."""
    site = chosen.site
    stem, _, board = key.rpartition("_")
    bank = board if site.supply.separate_banks else ""
    inverter = f"inverter-{board if board in site.inverters else 'essential'}"
    bar = f"busbar-{bank}".rstrip("-")
    first_bank = f"busbar-{chosen.plan.banks[0].board}".rstrip("-")
    inlet = inlet_of(site)
    if stem_of(key) in PLANE_RUNS:
        module, combiner, controller = (plane_key(part, plane_number(key))
                                        for part in ("module", "combiner", "controller"))
        return {"string": (module, combiner), "dc_main": (combiner, controller),
                "controller_battery": (controller, first_bank)}[stem_of(key)]
    own = board if board in site.inverters else BOARDS[0]
    output = f"inverter-output-{own}"
    source = output if own in grouped_boards(site) else inverter
    return {
        "grid_in": ("grid", inlet), "generator_in": ("generator", inlet),
    }.get(key) or {
        "battery_inverter": (bar, inverter), "inverter_output": (inverter, output),
        "inverter_board": (source, f"board-{board}"),
        "board_house": (f"board-{board}", f"house-{board}"),
    }[stem]  # fmt: skip


def _link_end(name: str, *, one: bool) -> str:
    """What a cable of the sources leads to; an only inverter is of no board in particular."""
    end = name.removeprefix("Sources to ")
    return end.partition(", ")[0] if one and "inverter" in end else end


def _links(chosen: Chosen, keys: set[str]) -> Iterator[Conductor]:
    """Cables from what the sources end at to each further switch, inverter and charger.

    As large as the device of the larger source asks: none of their own protects them.
    """
    incoming = [one for one in chosen.sized if one.run.key in ("grid_in", "generator_in")]
    for link in links_of(chosen.site):
        source = max(incoming, key=lambda one: one.device_a or 0.0)
        phases = phases_of_run(chosen.site, link.key)
        run = replace(
            source.run, key=link.key, name=link.name, start=INLET,
            count=link.count, loaded=3 if phases == 3 else 2, split=phases == 2,
            voltage_v=between_v(chosen.site, phases), highest_v=between_v(chosen.site, phases),
            end=_link_end(link.name, one=chosen.site.supply.one_inverter), hourly_a=np.zeros(1),
            method="C", length_m=float(LINK_M), length_given=False, grouped_circuits=link.count,
            alike=link.count, size_mm2=None, in_parallel=1,
            ambient_c=chosen.run("inverter_board_essential").run.ambient_c,
        )  # fmt: skip
        sized = safe_and_cheapest(
            run, money_of(chosen.site), sizes=chosen.site.cables.sizes,
            least_mm2=max(one.size_mm2 * one.in_parallel for one in incoming),
            device_a=source.device_a,
        )[0]  # fmt: skip
        one = _of_run(chosen, sized, (link.start, link.end), link.key, keys)
        device, why = _device(chosen, source.run.key, keys)
        yield but(one, device=device, device_a=sized.device_a if device else None,
                      why_no_device=why, tests=_TESTS["in"])  # fmt: skip


def _device(chosen: Chosen, key: str, keys: set[str]) -> tuple[str, str]:
    """Key of the device that protects a run, or why there is none."""
    run, number = stem_of(key), plane_number(key)
    if run == "string":
        fuse = plane_key("string-fuse", number)
        return (fuse, "") if fuse in keys else ("", NO_FUSE)
    if run == "dc_main":
        return "", SUN_LIMITS
    breakers = [plane_key(each, number) for each in ("controller-breaker", "controller-fuse")]
    named = {
        "controller_battery": next((each for each in breakers if each in keys), ""),
    }.get(run) or (f"inverter-fuse-{board_of(key, 'battery_inverter')}"
                   if key.startswith("battery_inverter") else breaker_key(key))  # fmt: skip
    return (named, "") if named in keys else ("", UNMADE)


def _of_run(
    chosen: Chosen, sized: SizedRun, ends: tuple[str, str], route: str, keys: set[str]
) -> Conductor:
    run, site = sized.run, chosen.site
    functions: tuple[Function, ...] = ("+", "-")
    if run.current == "ac":
        functions = (*line_conductors(site, run.key), "PE")
    device, why = _device(chosen, run.key, keys)
    tests = _TESTS.get(stem_of(run.key)) or _TESTS[
        "in" if run.key in ("grid_in", "generator_in") else "ac" if run.current == "ac"
        else "battery"]  # fmt: skip
    made = Conductor(
        key=run.key, name=run.name, start=ends[0], end=ends[1], start_words=run.start,
        end_words=run.end, current=run.current, functions=functions, count=run.count,
        in_parallel=sized.in_parallel, size_mm2=sized.size_mm2, size_name=sized.size_name,
        material=run.material, insulation=_insulation(run), rated_v=run.rated_v,
        highest_v=run.highest_v,
        length_m=run.length_m, length_given=run.length_given, device=device,
        device_a=sized.device_a if device else None, capacity_a=sized.capacity_a,
        why_no_device=why, route=route, grouped=run.circuits_with(sized.in_parallel),
        tests=tests, sized=sized, protective_mm2=_protective_mm2(site, sized),
    )  # fmt: skip
    pressed_ends = 1 if stem_of(run.key) == "string" else 2  # connectors at the modules
    pressed = pressed_ends * (sized.size_mm2 >= LUGS_FROM_MM2)
    return but(made, lug_count=pressed * made.cores * made.count)


def _protective_mm2(site: Site, sized: SizedRun) -> float | None:
    """Protective core of a cable of alternating current [mm2], of the metal of the others.

    One for all conductors in parallel; American sizes keep that of the others.

    Notes
    -----
    IEC 60364-5-54 table 54.2: as the line up to 16 mm2, 16 up to 35, beyond it half.
    """
    if sized.run.current == "dc":
        return None
    if site.cables.sizes == "awg":
        return sized.size_mm2
    least_mm2 = protective_mm2(sized.size_mm2 * sized.in_parallel)
    return next_size_mm2(least_mm2, sized.run.material) or sized.size_mm2


def _insulation(run: Run) -> str:
    """What covers the conductors, and that the array's are insulated twice."""
    if module_cable(run):
        return "double, PV cable (EN 50618)"
    return run.insulation.upper() + (", double-insulated" if stem_of(run.key) in ARRAY_RUNS else "")


_NEAR_ENDS = {"house-surge": "house", "array-surge-roof": "combiner"}
"""Where the earth of a part ends that does not reach the bar; all else ends at the rails."""


def _of_line(
    number: int, line: BarLine, keys: Container[str], tags: Mapping[str, str]
) -> Conductor:
    """A conductor of the schedule of the earth bar."""
    to_bar, plane = BAR in (line.start, line.end), plane_number(line.part)
    rail, stem = plane_key("rail", plane), stem_of(line.part)
    own = next((near for at, near in _NEAR_ENDS.items() if stem.startswith(at)), "")
    near = plane_key(own or "module", plane)
    end = "earth-bar" if to_bar else rail if not own and rail in keys else near
    start, end = (end, line.part) if line.start == BAR else (line.part, end)
    return Conductor(
        key=f"earth-{number}", name=f"Earth of {line.name}", start=start,
        end=end, start_words=line.start, end_words=line.end, current="earth", functions=("PE",),
        count=line.count, size_mm2=line.size_mm2,
        size_name=f"{line.size_mm2:g} mm²", material="copper", insulation=line.colour,
        rated_v=RATED_V["ac"], highest_v=0.0, length_m=line.length_m,
        length_given=line.length_given, tag=f"PE{number}",
        why_no_device=FAULT_ALONE,
        lug_count=2 * line.count if line.size_mm2 >= LUGS_FROM_MM2 and to_bar else 0,
        tests=("continuity", "electrode") if line.kind == "electrode" else ("continuity",),
        labels=(Label(
            label=f"PE{number}", words=with_tags(line.label, tags), where="at the bar end",
            count=line.count, rule=NO_SOURCE,
        ),) if to_bar else (),
    )  # fmt: skip


def _electrode(chosen: Chosen) -> Iterator[Conductor]:
    """The conductor that a strip or ring is made of, or that joins rods, in a trench of its own."""
    earthing = chosen.site.earthing
    rods = earthing.electrode == "rods"
    length_m = earthing.conductor_m
    mm2 = float(round(math.pi / 4.0 * earthing.conductor_mm**2))
    if rods:
        length_m = (earthing.rod_count - 1) * earthing.rod_spacing_m
        mm2 = buried_mm2(sheathed=False, guarded=False)
    if not length_m:
        return
    name = "Joint of the earth rods" if rods else f"Earth electrode, {earthing.electrode}"
    yield Conductor(
        key="earth-electrode", name=name, start="electrode",
        end="electrode", start_words="in the ground", end_words="in the ground", current="earth",
        functions=("PE",), count=1, size_mm2=mm2, size_name=f"{mm2:g} mm²", material="copper",
        insulation="bare", rated_v=RATED_V["ac"], highest_v=0.0, length_m=length_m,
        length_given=True, tag=f"PE{len(chosen.earth.lines) + 1}", tests=("electrode",),
        why_no_device=FAULT_ALONE, trench_m=length_m,
    )  # fmt: skip


def _labelled(chosen: Chosen, one: Conductor) -> Conductor:
    """The name that stands on both ends, the strings' own, and signs along the way."""
    if one.current in ("earth", "surge"):
        ends = 2 * one.count if one.current == "surge" else 1
        return one if one.labels else but(one, labels=(Label(
            label=one.tag, words=one.name, where="both ends" if ends > 1 else "beside it",
            count=ends, rule=NO_SOURCE),))  # fmt: skip
    if stem_of(one.key) == "string":
        return but(one, labels=string_labels(chosen, one.key))
    many = f"{one.tag}.1 to {one.tag}.{one.count}" if one.count > 1 else one.tag
    kind = "d.c." if one.current == "dc" else "a.c."
    name = Label(
        label=many, words=f"{one.name}, {one.size_name}, {math.ceil(one.highest_v)} V {kind}",
        where=f"both ends: {one.start_words}; {one.end_words}", count=2 * one.count,
        rule=NO_SOURCE,
    )  # fmt: skip
    along = dc_main_labels(chosen, one.key) if stem_of(one.key) == "dc_main" else ()
    return but(one, labels=(name, *along))


LETTERS = {
    "module": "G", "battery": "G", "generator": "G", "grid": "G", "controller": "T",
    "inverter": "T", "fuse": "F", "surge": "F", "residual": "F", "breaker": "F", "isolator": "Q",
    "changeover": "Q", "bond": "X", "busbar": "X", "combiner": "X", "earth-bar": "X",
    "electrode": "X", "test-link": "X", "board": "DB", "house": "E", "alarm": "P", "co-alarm": "P",
}  # fmt: skip
"""First letters of a tag by kind, by the classes of IEC 81346-2, from memory.

E uses (loads of a board; H1 to H8 are hold points), F protects (fuse, circuit-breaker, RCD,
SPD), G gives (module, battery, generator, grid), Q switches and isolates, P presents (alarms),
T converts, W guides (cables), X connects (bars, terminals, bonds, earth), U holds, and all else;
S is for the strings, DB for a board, PE for a protective or bonding conductor as IEC 60445 marks
it.
"""


def parts_of(chosen: Chosen) -> tuple[Part, ...]:
    """Every part with its tag; none of them hangs on the size of a cable."""
    return _tagged([
        *array_parts(chosen), *battery_parts(chosen), *supply_parts(chosen),
        *device_parts(chosen), *earth_parts(chosen), *room_parts(chosen), *guard_parts(chosen),
    ])  # fmt: skip


def installation_of(chosen: Chosen, parts: tuple[Part, ...]) -> Installation:
    """All that is built at a site whose cables, devices, earth and room are chosen.

    Parameters
    ----------
    chosen : Chosen
    parts : tuple of Part
        Of `parts_of`.

    Raises
    ------
    InputError
        Where no conductors carry the battery's main fuse.
    """
    conductors = conductors_of(chosen, parts)
    return Installation(
        site=chosen.site, parts=parts, conductors=conductors,
        routes=routes_of(chosen, conductors), layout=chosen.layout, planes=chosen.planes,
    )  # fmt: skip


def _tagged(parts: Iterable[Part]) -> tuple[Part, ...]:
    """Each with its tag; on its plate as well."""
    numbers: Counter[str] = Counter()
    found = []
    for part in parts:
        letter = LETTERS.get(part.kind, "U")
        numbers[letter] += 1
        found.append((part, f"{letter}{numbers[letter]}"))
    tags = {part.key: tag for part, tag in found}
    return tuple(
        but(part, tag=tag, labels=tuple(
            _named(label, tag, part.count, with_tags(label.words, tags)) for label in part.labels))
        for part, tag in found
    )  # fmt: skip


def _named(label: Label, tag: str, count: int, words: str) -> Label:
    many = f"{tag}.1 to {tag}.{count}" if count > 1 else tag
    return but(label, label=label.label.replace("{tag}", many), words=words)
