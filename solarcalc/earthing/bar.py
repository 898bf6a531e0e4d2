"""The main earth bar: every conductor that meets there, its size, its mark, and the test link."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import FROM_MEMORY, constant
from solarcalc.basis.worded import worded
from solarcalc.earthing.soil import above_zero
from solarcalc.protection.surge import LEAD_MM2
from solarcalc.sitefile.guessed import is_given
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wiring import USUAL_RUNS
from solarcalc.wiring.conductors import protective_mm2
from solarcalc.wiring.runs import of_plane, plane_key, stem_of
from solarcalc.wiring.switching import Bond, bonds_of

Laid = Literal["separate-pvc", "separate-xlpe", "in-cable-pvc", "in-cable-xlpe"]

COPPER_SIZES_MM2 = (
    1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0, 150.0, 185.0, 240.0,
    300.0, 400.0,
)  # fmt: skip
"""Sizes that conductors are made in [mm2]: IEC 60228, from memory."""

TABLE_CLAUSE = f"IEC 60364-5-54 table 54.2, {FROM_MEMORY}"
HEAT_CLAUSE = "IEC 60364-5-54 cl. 543.1.2, S = √(I² t) / k"
BURIED_CLAUSE = "IEC 60364-5-54 table 54.1, copper as BS 7671 table 54.1 prints it"
BONDING_CLAUSE = "IEC 60364-5-54 cl. 544.1, as guides to BS 7671 cl. 544.1.1 give it"
FRAME_CLAUSE = "IEC 60364-7-712:2017, as a note on bonding in photovoltaic systems quotes it"
SURGE_CLAUSE = LEAD_MM2[1].source

LEAST_LOOSE_MM2 = {
    True: float(constant("earthing.least_guarded_mm2")),
    False: float(constant("earthing.least_bare_mm2")),
}
"""Smallest protective conductor outside a cable, guarded or not [mm2]."""
LEAST_BONDING_MM2 = float(constant("earthing.least_bonding_mm2"))
MOST_BONDING_MM2 = float(constant("earthing.most_bonding_mm2"))
FRAME_MM2 = float(constant("earthing.frame_mm2"))
FRAME_LIGHTNING_MM2 = float(constant("earthing.frame_lightning_mm2"))


def next_size_mm2(least_mm2: float) -> float:
    """The smallest size made that is not below a computed one.

    Parameters
    ----------
    least_mm2 : float
        Above 0 up to 400 [mm2].

    Raises
    ------
    InputError
        When it is not above 0 or no size is large enough.

    Examples
    --------
    >>> next_size_mm2(47.5)
    50.0
    """
    above_zero("size of a conductor", least_mm2, "mm2")
    for size in COPPER_SIZES_MM2:
        if size >= least_mm2 * (1.0 - 1e-9):
            return size
    raise InputError(
        Fault(**worded(
            "earthing", "size-an-earth", least_mm2=least_mm2, copper_sizes_mm2=COPPER_SIZES_MM2[-1],
        ))
    )


def heat_mm2(*, fault_a: float, clear_s: float, laid: Laid = "separate-pvc") -> float:
    """Least copper conductor that a fault does not overheat before it is cleared.

    Parameters
    ----------
    fault_a : float
        Current through the conductor [A].
    clear_s : float
        Until the device has cleared it, at most 5 [s].
    laid : str
        A row of the table of k.

    Returns
    -------
    float
        Not yet a size that is made [mm2].

    Raises
    ------
    InputError
        When a value is not above 0, the time is above 5 s or `laid` is unknown.

    Notes
    -----
    S = sqrt(I^2 t) / k, IEC 60364-5-54 cl. 543.1.2; k of annex A.

    Examples
    --------
    >>> round(heat_mm2(fault_a=1000.0, clear_s=0.4), 2)
    4.42
    """
    above_zero("fault current", fault_a, "A")
    above_zero("clearing time", clear_s, "s")
    if clear_s > 5.0:
        raise InputError(Fault(**worded("earthing", "clearing-time", clear_s=clear_s)))
    factors = {row["laid"]: float(row["k"]) for row in published("protective_k").rows}
    if laid not in factors:
        raise InputError(
            Fault(where="how the conductor is laid", given=repr(laid),
                  allowed="one of " + ", ".join(factors), why="k is known for these",
                  remedy="take the nearest, or the smallest k")
        )  # fmt: skip
    return fault_a * math.sqrt(clear_s) / factors[laid]


def equipment_mm2(
    line_mm2: float, *, guarded: bool, fault_a: float | None = None, clear_s: float | None = None
) -> float:
    """Separate protective conductor of a case, as it is bought.

    The table; where fault and clearing time are known the heat of that fault instead, and never
    below what a loose conductor needs against knocks.

    Parameters
    ----------
    line_mm2 : float
        Largest conductor that enters the case [mm2].
    guarded : bool
        Whether a pipe or trunking guards it.
    fault_a, clear_s : float or None
        Current of a fault to the case [A] and its time [s].

    Raises
    ------
    InputError
        When a value is not above 0.
    """
    least = protective_mm2(line_mm2)
    if fault_a is not None and clear_s is not None:
        least = heat_mm2(fault_a=fault_a, clear_s=clear_s)
    return next_size_mm2(max(least, LEAST_LOOSE_MM2[guarded]))


def earthing_mm2(
    line_mm2: float, *, sheathed: bool = False, guarded: bool = False, buried: bool = True
) -> float:
    """Conductor from the bar to the electrode, copper, as it is bought.

    The larger of the table of protective conductors, which need not exceed 25 mm2 where an
    electrode of its own carries the fault (TT), and the least for its cover in the ground.

    Parameters
    ----------
    line_mm2 : float
        Largest line conductor of the supply [mm2].
    sheathed : bool
        Against corrosion.
    guarded : bool
        Against knocks and spades.
    buried : bool
        Whether any of it lies in the ground.

    Raises
    ------
    InputError
        When the size is not above 0.

    Examples
    --------
    >>> earthing_mm2(10.0), earthing_mm2(10.0, sheathed=True), earthing_mm2(10.0, buried=False)
    (25.0, 16.0, 10.0)
    """
    by_line = min(protective_mm2(line_mm2), MOST_BONDING_MM2)
    least = buried_mm2(sheathed=sheathed, guarded=guarded) if buried else LEAST_LOOSE_MM2[guarded]
    return next_size_mm2(max(by_line, least))


def buried_mm2(*, sheathed: bool, guarded: bool, metal: Literal["copper", "steel"] = "copper") -> (
    float
):
    """Least earthing conductor in the ground by its cover [mm2]: IEC 60364-5-54 table 54.1."""
    said = {True: "yes", False: "no"}
    (row,) = (
        row for row in published("buried_earth_sizes").rows
        if (row["sheathed"], row["guarded"]) == (said[sheathed], said[guarded])
    )  # fmt: skip
    return float(row[f"{metal}_mm2"])


def main_bonding_mm2(earthing_mm2: float) -> float:
    """Main bonding conductor, copper, as it is bought.

    Half the earthing conductor, at least 6 mm2; need not exceed 25 mm2.

    Parameters
    ----------
    earthing_mm2 : float
        Of the earthing conductor [mm2].

    Raises
    ------
    InputError
        When it is not above 0.

    Examples
    --------
    >>> [main_bonding_mm2(size) for size in (6.0, 25.0, 70.0)]
    [6.0, 16.0, 25.0]
    """
    above_zero("size of the earthing conductor", earthing_mm2, "mm2")
    half = max(earthing_mm2 / 2.0, LEAST_BONDING_MM2)
    return next_size_mm2(min(half, MOST_BONDING_MM2))


def frame_bonding_mm2(*, lightning: bool) -> float:
    """Bonding of module frames and rails [mm2]: 6, or 16 where it may carry lightning current."""
    return FRAME_LIGHTNING_MM2 if lightning else FRAME_MM2


def surge_earth_mm2(*, lightning: bool) -> float:
    """Earth conductor of a surge device [mm2]: 6, or 16 for class I, where lightning may flow."""
    return float(LEAD_MM2[1 if lightning else 2])


BarKind = Literal["frame", "equipment", "system", "surge", "lightning", "bonding", "electrode"]
Row = dict[str, str | int | float]

BAR = "main earth bar"
COLOUR = "green and yellow"
"""Protective and bonding conductors: IEC 60445, from memory."""
LIGHTNING_MM2 = float(constant("earthing.lightning_mm2"))
LIGHTNING_CLAUSE = f"IEC 62305-3 table 8, {FROM_MEMORY}"
USUAL_BOND_M = constant("earthing.usual_bond_m")
USUAL_LINK_M = constant("earthing.usual_link_m")
SPARE_TERMINALS = int(constant("earthing.spare_terminals"))


@dataclass(frozen=True, kw_only=True)
class BarLine:
    """One conductor of the schedule of the earth bar.

    Parameters
    ----------
    number : int
        First terminal on the bar, from 1; 0 for a link that does not reach the bar itself.
    part : str
        Key of what is earthed, in the installation.
    count : int
        Conductors alike, each with a terminal of its own.
    name : str
        What is earthed.
    start, end : str
        What the conductor joins.
    size_mm2 : float
        Copper [mm2].
    colour : str
        Of its cover.
    label : str
        To be fixed at the bar end.
    length_m : float
        Of one [m]; where the site file does not say it, usual ones.
    length_given : bool
    test_link : bool
        Whether it can be undone for a test, with a tool only.
    kind : str
        frame, equipment, system, surge, lightning, bonding or electrode.
    clause : str
        Rule and source of the size.
    """

    number: int
    part: str
    count: int
    name: str
    start: str
    end: str
    size_mm2: float
    colour: str
    label: str
    length_m: float
    length_given: bool
    test_link: bool
    kind: BarKind
    clause: str

    @property
    def terminal_words(self) -> str:
        """Terminals on the bar: ``"3"``, ``"3 to 4"``, ``"-"``."""
        if not self.number:
            return "-"
        last = self.number + self.count - 1
        return f"{self.number}" if self.count == 1 else f"{self.number} to {last}"


@dataclass(frozen=True, kw_only=True)
class Conductors:
    """Largest conductors that enter earthed cases, and the fault of the battery.

    Parameters
    ----------
    ac_mm2 : float
        Largest line conductor of the boards [mm2].
    dc_mm2 : float
        Largest conductor between array and controllers [mm2].
    battery_mm2 : float
        Largest conductor between battery, controllers and inverters [mm2].
    fault_a, clear_s : float or None
        Battery fault behind the bars: current [A] and time until cleared [s].
    rack_fault : tuple of float or None
        The same at the rack, before the bars [A], [s].
    generator_m, house_m : float or None
        Length of the cable of the generator and of that of the house [m]; None: not known.
    surges : mapping of str to int
        Surge devices that are there, by the key of the protection schedule.
    """

    ac_mm2: float
    dc_mm2: float
    battery_mm2: float
    fault_a: float | None = None
    clear_s: float | None = None
    rack_fault: tuple[float, float] | None = None
    generator_m: float | None = None
    house_m: float | None = None
    surges: Mapping[str, int] = field(default_factory=dict)


def bar_lines(site: Site, conductors: Conductors) -> tuple[BarLine, ...]:
    """Every conductor that meets at the main earth bar, in the order of its terminals.

    The array's conductors are sized for lightning current where the house has lightning rods:
    the site file does not say that they are far enough from them.

    Parameters
    ----------
    site : Site
    conductors : Conductors

    Raises
    ------
    InputError
        When a size is not above 0 or no conductor is large enough.
    """
    to_electrode = earthing_mm2(conductors.ac_mm2)
    drafts = [
        *_array(site, conductors),
        *_equipment(site, conductors),
        *_system(site, conductors),
        *_house(site, conductors, to_electrode),
        *_lightning(site),
        _line(
            part="electrode", name="earth electrode", start=BAR,
            end="earth electrode, through the test link",
            size_mm2=to_electrode, kind="electrode", clause=BURIED_CLAUSE,
            label="Earth electrode. Undo for a test only, all supplies off",
            length_m=site.earthing.bar_to_electrode_m, test_link=True,
            length_given=is_given(site, "earthing.bar_to_electrode_m"),
            colour=f"{COLOUR} above ground, bare or {COLOUR} below",
        ),
    ]  # fmt: skip
    numbered, terminal = [], 1
    for draft in drafts:
        at_bar = BAR in (draft.start, draft.end)
        numbered.append(replace(draft, number=terminal if at_bar else 0))
        terminal += draft.count if at_bar else 0
    return tuple(numbered)


def bar_rows(lines: tuple[BarLine, ...]) -> list[Row]:
    """The schedule of the earth bar, a line a conductor."""
    return [
        {
            "terminal": line.terminal_words,
            "earthed": line.name,
            "from": line.start,
            "to": line.end,
            "copper [mm2]": line.size_mm2,
            "colour": line.colour,
            "label": line.label,
            "length [m]": f"{line.length_m:g}" + ("" if line.length_given else ", measure it"),
            "test link": "yes" if line.test_link else "no",
            "rule": line.clause,
        }
        for line in lines
    ]


def terminals(lines: tuple[BarLine, ...]) -> int:
    """Terminals that the bar needs, spare ones counted."""
    return sum(line.count for line in lines if line.number) + SPARE_TERMINALS


def _line(
    *, part: str, name: str, start: str, end: str = BAR, size_mm2: float, kind: BarKind,
    clause: str, count: int = 1, label: str = "", length_m: float | None = None,
    length_given: bool = True, test_link: bool = False, colour: str = COLOUR,
) -> BarLine:  # fmt: skip
    usual_m = float(USUAL_BOND_M if BAR in (start, end) else USUAL_LINK_M)
    return BarLine(
        number=0, part=part, count=count, name=name, start=start, end=end, size_mm2=size_mm2,
        colour=colour, label=label or f"Earth of {name}. Do not undo",
        length_m=usual_m if length_m is None else length_m,
        length_given=length_given and length_m is not None,
        test_link=test_link, kind=kind, clause=clause,
    )  # fmt: skip


def to_modules_m(site: Site) -> float:
    """Way of the protective conductors from a roof plane to the main earthing terminal [m].

    As measured; else the usual one, and no shorter than the DC main cable, which it lies beside.
    """
    own_m = site.earthing.bar_to_modules_m
    if is_given(site, "earthing.bar_to_modules_m"):
        return own_m
    return max(own_m, site.runs.dc_main.length_m or USUAL_RUNS["dc_main"][0])


def _array(site: Site, conductors: Conductors) -> list[BarLine]:
    """Lines of the array; alike ones of the roof planes one after another."""
    by_plane = [
        [replace(line, part=plane_key(line.part, number), name=of_plane(line.name, one),
                 label=line.label.replace(line.name, of_plane(line.name, one)))
         for line in _of_plane(one, conductors, number)]
        for number, one in enumerate(site.sites, start=1)
    ]  # fmt: skip
    order = {stem_of(line.part) + line.end: None for lines in by_plane for line in lines}
    return [line for key in order for lines in by_plane for line in lines
            if stem_of(line.part) + line.end == key]  # fmt: skip


def _of_plane(site: Site, conductors: Conductors, number: int) -> list[BarLine]:
    """Lines of the array on one roof plane, by the plain keys of their parts."""
    surges = {key: conductors.surges.get(plane_key(key, number), 0)
              for key in ("array-surge", "array-surge-roof")}  # fmt: skip
    lightning = site.protection.lightning_protection
    frame = frame_bonding_mm2(lightning=lightning)
    surge = surge_earth_mm2(lightning=lightning)
    away_m, measured = to_modules_m(site), is_given(site, "earthing.bar_to_modules_m")
    roof = surges["array-surge-roof"] > 0
    case = max(equipment_mm2(conductors.dc_mm2, guarded=False), frame, surge if roof else 0.0)
    controllers = site.controller.count
    return [
        _line(part="module", count=site.array.module_count, name="module frames",
              start="frame of each module", end="rails", size_mm2=frame, kind="frame",
              clause=FRAME_CLAUSE),
        _line(part="module", name="rails", start="rails, every run joined", size_mm2=frame,
              kind="frame", clause=FRAME_CLAUSE, length_m=away_m, length_given=measured),
        _line(part="combiner", count=controllers, name="combiner case",
              start="earth terminal of the combiner on the roof" if roof
              else "combiner on the roof, if of metal", size_mm2=case,
              kind="equipment", clause=f"{TABLE_CLAUSE}; {FRAME_CLAUSE}", length_m=away_m,
              length_given=measured),
        *_surge(surges, "array-surge", "surge device of the array",
                "surge device where the array's cable comes in", surge,
                0.5 * site.protection.surge_lead_m),
        *_surge(surges, "array-surge-roof", "surge device at the modules",
                "surge device in the combiner box", surge,
                0.5 * site.protection.surge_lead_m, "earth terminal of the combiner"),
    ]  # fmt: skip


def _surge(
    surges: Mapping[str, int], key: str, name: str, start: str, size_mm2: float,
    length_m: float, end: str = BAR,
) -> list[BarLine]:  # fmt: skip
    own = [(each, "" if each == key else f", {each.removeprefix(f'{key}-')} board")
           for each in (key, *(f"{key}-{board}" for board in BOARDS)) if surges.get(each)]
    return [_line(part=each, count=surges[each], name=f"{name}{of}", start=f"{start}{of}", end=end,
                  size_mm2=size_mm2, kind="surge", clause=SURGE_CLAUSE,
                  length_m=length_m) for each, of in own]  # fmt: skip


def _equipment(site: Site, conductors: Conductors) -> list[BarLine]:
    clause = TABLE_CLAUSE if conductors.fault_a is None else f"{TABLE_CLAUSE}; {HEAT_CLAUSE}"
    battery = equipment_mm2(
        conductors.battery_mm2, guarded=False,
        fault_a=conductors.fault_a, clear_s=conductors.clear_s,
    )  # fmt: skip
    rack_a, rack_s = conductors.rack_fault or (conductors.fault_a, conductors.clear_s)
    rack = equipment_mm2(conductors.battery_mm2, guarded=False, fault_a=rack_a, clear_s=rack_s)
    controller = max(battery, equipment_mm2(conductors.dc_mm2, guarded=False))
    inverter = max(battery, equipment_mm2(conductors.ac_mm2, guarded=False))
    names = {board: f", {board} board" if len(site.inverters) > 1 else ""
             for board in site.inverters}  # fmt: skip
    return [
        *(
            _line(part=plane_key("controller", number), count=one.controller.count,
                  name=of_plane("controller case", one),
                  start=f"each of {one.controller.count} controllers"
                  if one.controller.count > 1 else "controller",
                  size_mm2=controller, kind="equipment", clause=clause)
            for number, one in enumerate(site.sites, start=1)
        ),
        *(
            _line(part=f"inverter-{board}", name=f"inverter case{name}",
                  count=site.inverters[board].count,
                  start="each " * (site.inverters[board].count > 1)
                  + (f"inverter of the {board} board" if name else "inverter"),
                  size_mm2=inverter, kind="equipment", clause=clause)
            for board, name in names.items()
        ),
        _line(part="rack", name="battery rack", start="rack or case of metal",
              size_mm2=max(rack, 6.0), kind="equipment", clause=clause),
    ]  # fmt: skip


def _system(site: Site, conductors: Conductors) -> list[BarLine]:
    """Joins of neutral and earth that stay; one by an inverter's relay has no conductor."""
    size = equipment_mm2(conductors.ac_mm2, guarded=False)
    return [*_pole(site, conductors), *(
        _line(part=bond.key, name=f"system earth{f', {bond.board} board' if bond.board else ''}",
              start=f"neutral {bond.words}", size_mm2=size, kind="system", clause=TABLE_CLAUSE,
              test_link=True,
              label=f"Neutral of {_whose(site, bond)}: the only join of this supply. Undo for a"
              " test only, all supplies off",
              length_m=conductors.generator_m if bond.key == "bond-generator" else None)
        for bond in bonds_of(site) if bond.ours and not bond.relay
    )]  # fmt: skip


def _whose(site: Site, bond: Bond) -> str:
    """Source of a join, by the key of its part, whose tag the installation puts in."""
    of = f" ({bond.board} board)" if bond.board else ""
    if bond.key == "bond-generator":
        return "generator {generator}"
    if site.protection.neutral_earth_bond == "at-inverter":
        return f"inverter {{inverter-{bond.board or 'essential'}}}{of}"
    return f"the boards, behind the changeover{of}"


def _pole(site: Site, conductors: Conductors) -> Iterator[BarLine]:
    """The earthed pole of each bank: as its line conductors ask, and the heat of their fault."""
    pole = site.battery.pole_earthed
    if pole == "none":
        return
    least_mm2 = max(protective_mm2(conductors.battery_mm2), equipment_mm2(
        conductors.battery_mm2, guarded=False,
        fault_a=conductors.fault_a, clear_s=conductors.clear_s,
    ))  # fmt: skip
    for board in site.banks:
        own, whose = ("", "") if board == "shared" else (f"-{board}", f", {board} board")
        yield _line(
            part=f"busbar{own}", name=f"{pole} pole of the battery{whose}",
            start=f"{pole} bar of the battery{whose}", size_mm2=next_size_mm2(least_mm2),
            kind="system", clause=f"{TABLE_CLAUSE}; {HEAT_CLAUSE}", test_link=True,
            label=f"The battery's {pole} pole tied to earth here and nowhere else. Undo for a"
            " test only, battery isolated",
        )  # fmt: skip


def _house(site: Site, conductors: Conductors, to_electrode_mm2: float) -> list[BarLine]:
    surges = conductors.surges
    surge = surge_earth_mm2(lightning=site.protection.lightning_protection)
    bonding = main_bonding_mm2(to_electrode_mm2)
    board = max(equipment_mm2(conductors.ac_mm2, guarded=True), bonding)
    return [
        *_surge(surges, "board-surge", "surge device of the boards", "surge device at the boards",
                surge, 0.5 * site.protection.surge_lead_m),
        _line(part="house", name="house board", start="earth terminal of the house board",
              size_mm2=board, kind="bonding", clause=f"{TABLE_CLAUSE}; {BONDING_CLAUSE}",
              length_m=conductors.house_m),
        *(replace(line, end="earth terminal of the house board") for line in _surge(
            surges, "house-surge", "surge device of the house", "surge device at the house's board",
            surge, 0.5 * site.protection.surge_lead_m)),
        _line(part="water-pipe", name="water pipe", start="water pipe of metal where it comes in",
              size_mm2=bonding, kind="bonding", clause=BONDING_CLAUSE),
    ]  # fmt: skip


def _lightning(site: Site) -> list[BarLine]:
    if not site.protection.lightning_protection:
        return []
    return [
        _line(part="lightning", name="lightning protection",
              start="earth of the lightning rods, at ground level",
              size_mm2=LIGHTNING_MM2, kind="lightning", clause=LIGHTNING_CLAUSE, test_link=True,
              label="Lightning earth. Undo for a test only, never in thunder"),
    ]  # fmt: skip
