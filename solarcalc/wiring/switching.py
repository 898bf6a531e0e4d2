"""Switches between sources, what feeds a board in each of their positions, neutral-earth bonds.

Counted here and nowhere else: what protects, draws, buys and tests reads them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from typing import Literal

from solarcalc.sitefile.loads import BOARDS, Board
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import State, grouped_boards, states_of


@dataclass(frozen=True, kw_only=True)
class Changeover:
    """One changeover switch.

    Parameters
    ----------
    key : str
    board : str
        Whose inverter it stands behind; empty for one that serves both, or the sources.
    words : str
        What it changes over between.
    """

    key: str
    board: str
    words: str


@dataclass(frozen=True, kw_only=True)
class Bond:
    """One place where neutral and earth are joined.

    Parameters
    ----------
    key : str
    board : str
        Of the inverter or changeover it is in; empty where it serves every board.
    words : str
        Where it is.
    ours : bool
        False for the supplier's.
    states : tuple of str
        Of the changeover in which it is in effect.
    relay : bool
        Made by a relay inside the inverter, closed only while it feeds alone: no conductor that
        stays is laid for it.
    """

    key: str
    board: str
    words: str
    ours: bool
    states: tuple[State, ...]
    relay: bool = False

    @property
    def at_source(self) -> bool:
        """Whether it is at the grid or the generator, before every cable to the boards."""
        return self.key in ("bond-grid", "bond-generator")


def changeovers_of(site: Site) -> tuple[Changeover, ...]:
    """Every changeover switch: one behind each inverter, one more between two sources outside."""
    sources = [state for state in states_of(site) if state != "inverter"]
    kind = site.protection.changeover
    if not sources or kind == "none":
        return ()
    boards = tuple(site.inverters)
    names = [""] if len(boards) == 1 else list(boards)
    further = len(sources) > 1 and kind != "built-in"
    between = ("inverter", "sources") if further else states_of(site)
    found = [
        Changeover(key=f"changeover-{board}".rstrip("-"), board=board,
                   words=" / ".join(between) + (f", {board} board" if board else ""))
        for board in names
    ]  # fmt: skip
    if further:
        found.append(Changeover(key="changeover-sources", board="", words=" / ".join(sources)))
    return tuple(found)


@dataclass(frozen=True, kw_only=True)
class Link:
    """A cable from where the sources come in to one more place that takes them.

    Parameters
    ----------
    key, name : str
    start, end : str
        Keys of switches and inverters.
    board : str
        Whose switch or inverter it ends at.
    count : int
        Cables alike: one to each inverter of a board.
    """

    key: str
    name: str
    start: str
    end: str
    board: Board
    count: int = 1


def inlet_of(site: Site) -> str:
    """Key of what the cables of grid and generator end at: a switch, or an inverter.

    Of the boards the first that takes all phases of the supply; several inverters take them in at
    their output board.
    """
    keys = [each.key for each in changeovers_of(site)]
    if "changeover-sources" in keys:
        return "changeover-sources"
    inside = site.protection.changeover in ("built-in", "none")
    whole = [board for board in site.inverters if site.loads.phases_of(board) == site.loads.phases]
    first = whole[0] if whole else BOARDS[0]
    if inside and first in grouped_boards(site):
        return f"inverter-output-{first}"
    own = f"changeover-{first}"
    return own if own in keys else keys[0] if keys else f"inverter-{first}"


def links_of(site: Site) -> tuple[Link, ...]:
    """Cables from there to each further switch or inverter, and to the charger inside one."""
    if not site.sources:
        return ()
    first, found = inlet_of(site), []
    switches = [each for each in changeovers_of(site) if each.key != "changeover-sources"]
    inside = site.protection.changeover == "built-in"
    for switch in switches:
        board: Board = "nonessential" if switch.board == "nonessential" else "essential"
        count = site.inverter_of(board).count if inside else 1
        if switch.key != first:
            end = f"inverter-{board}" if inside else switch.key
            words = f"inverter, {board} board" if inside else f"changeover, {board} board"
            found.append(Link(
                key=f"source_link_{board}", name=f"Sources to {'each ' * (count > 1)}{words}",
                start=first, end=end, board=board, count=count,
            ))  # fmt: skip
    if not inside and charges_from_outside(site):
        charged = charged_boards(site)
        found += [
            Link(key=f"charger_input_{board}", name=f"Sources to the charger, {board} board",
                 start=first, end=f"inverter-{board}", board=board,
                 count=site.inverter_of(board).count)
            for board in charged
        ]  # fmt: skip
    return tuple(found)


def charges_from_outside(site: Site) -> bool:
    """Whether grid or generator charge the bank."""
    return site.grid_charges_below_frac > 0.0 or site.generator.there


def charged_boards(site: Site) -> tuple[Board, ...]:
    """Boards whose inverter has an input for grid or generator, behind an outside changeover."""
    return BOARDS if site.supply.separate_banks else ("essential",)


def _by_relay(site: Site, board: Board) -> bool:
    """Whether an inverter takes another source in, so that its join must open meanwhile.

    One whose output a changeover outside breaks in all poles, and which nothing else comes into,
    keeps its join for ever (IEC 60364-5-55 cl. 551.4, from memory).
    """
    kind = site.protection.changeover
    if not site.sources or kind == "none":
        return False
    return kind == "built-in" or (charges_from_outside(site) and board in charged_boards(site))


@dataclass(frozen=True, kw_only=True)
class BoardState:
    """One state of a board: what feeds it in some position of the switches.

    Parameters
    ----------
    board : str
    sources : tuple of str
        ``"grid"``, ``"generator"``, ``"inverter-essential"``... that reach it; none: it is dead.
    """

    board: Board
    sources: tuple[str, ...]

    @property
    def states(self) -> tuple[State, ...]:
        """What its sources are."""
        order: tuple[State, ...] = ("grid", "inverter", "generator")
        kinds = {source.partition("-")[0] for source in self.sources}
        return tuple(state for state in order if state in kinds)


def positions_of(site: Site) -> dict[str, tuple[str, ...]]:
    """Positions of each changeover by its key: what it takes, and off where it is by hand.

    Where sources have no changeover at all there is no switch: they are joined for ever.
    """
    outside = [state for state in states_of(site) if state != "inverter"]
    off = ("off",) if site.protection.changeover == "manual" else ()
    switches = [switch.key for switch in changeovers_of(site)]
    further = "changeover-sources" in switches
    return {
        key: (*outside, *off) if key == "changeover-sources"
        else ("inverter", *(["sources"] if further else outside), *off)
        for key in switches
    }  # fmt: skip


def islands_of(site: Site, positions: Mapping[str, str]) -> tuple[frozenset[str], ...]:
    """Boards and sources that are joined with the switches so, each island by itself.

    Parameters
    ----------
    site : Site
    positions : mapping of str to str
        Of each switch by its key.
    """
    outside = [state for state in states_of(site) if state != "inverter"]
    pairs = []
    if "changeover-sources" in positions:
        pairs.append(("sources", positions["changeover-sources"]))
    for board in BOARDS:
        own = f"inverter-{board if board in site.inverters else 'essential'}"
        key = f"changeover-{board}" if f"changeover-{board}" in positions else "changeover"
        taken = [positions[key]] if key in positions else ["inverter", *outside]
        pairs += [(board, own if each == "inverter" else each) for each in taken]
    islands: list[set[str]] = [{board} for board in BOARDS]
    for pair in (set(pair) for pair in pairs if "off" not in pair):
        met = [island for island in islands if island & pair]
        islands = [island for island in islands if not island & pair]
        islands.append(pair.union(*met))
    return tuple(frozenset(island - {"sources"}) for island in islands)


def every_position(site: Site) -> tuple[dict[str, str], ...]:
    """Every setting of all switches, each in each of its positions."""
    found = positions_of(site)
    return tuple(dict(zip(found, taken, strict=True)) for taken in product(*found.values()))


def board_states(site: Site) -> tuple[BoardState, ...]:
    """Every state that a board can be in, board by board, whatever the other switches do."""
    found: dict[tuple[Board, tuple[str, ...]], None] = {}
    for positions in every_position(site):
        for island in islands_of(site, positions):
            sources = tuple(sorted(island - set(BOARDS)))
            found |= {(board, sources): None for board in BOARDS if board in island}
    states = (BoardState(board=board, sources=sources) for board, sources in found)
    return tuple(sorted(states, key=_rank))


def _rank(state: BoardState) -> tuple[int, bool, list[int]]:
    order = ("grid", "inverter", "generator")
    return (BOARDS.index(state.board), not state.sources,
            [order.index(each) for each in state.states])


def joined_sources(site: Site) -> tuple[tuple[str, ...], ...]:
    """Sources that some position of the switches joins, which nothing keeps in step."""
    met = {
        tuple(sorted(island - set(BOARDS)))
        for positions in every_position(site) for island in islands_of(site, positions)
    }  # fmt: skip
    return tuple(sorted(each for each in met if len(each) > 1))


def fed_islands(site: Site) -> tuple[frozenset[str], ...]:
    """Every island that some position of the switches gives a source, each once.

    With it each source by itself that feeds the chargers before the changeovers.
    """
    fed = {
        island: None for positions in every_position(site) for island in islands_of(site, positions)
        if island - set(BOARDS)
    }  # fmt: skip
    charging = site.protection.changeover != "none" and any(
        link.key.startswith("charger_input") for link in links_of(site))
    alone = {frozenset({source}): None for source in site.sources if charging}
    return tuple(fed | alone)


def joins_on(site: Site, island: frozenset[str]) -> tuple[Bond, ...]:
    """Bonds in effect on an island: those of its sources, and of its boards in its state."""
    states = {source.partition("-")[0] for source in island - set(BOARDS)}
    boards = island & set(BOARDS)
    return tuple(
        bond for bond in bonds_of(site) if states & set(bond.states)
        and (bond.at_source or (bond.board in boards if bond.board else bool(boards)))
    )  # fmt: skip


def bonds_of(site: Site) -> tuple[Bond, ...]:
    """Every place where neutral and earth are joined, ours and the supplier's."""
    states, place = states_of(site), site.protection.neutral_earth_bond
    several = len(site.inverters) > 1
    names: tuple[Board | Literal[""], ...] = BOARDS if several else ("",)
    found = []
    if "grid" in states and site.protection.system != "IT":
        found.append(Bond(key="bond-grid", board="", words="at the grid's transformer, by the"
                          " supplier", ours=False, states=("grid",)))  # fmt: skip
    for board in names:
        of = f", {board} board" if board else ""
        relay = place == "at-inverter" and _by_relay(site, board or "essential")
        stays = site.protection.changeover == "none" and len(states) > 1
        if place == "at-inverter":
            found.append(Bond(key=f"bond-{board}".rstrip("-"), board=board,
                              words=f"at the inverter{', by its relay' * relay}{of}", ours=True,
                              states=states if stays else ("inverter",), relay=relay))  # fmt: skip
        elif place == "at-changeover":
            found.append(Bond(key=f"bond-{board}".rstrip("-"), board=board, words="behind the"
                              " changeover, at the boards" + of, ours=True, states=states))
    if place == "at-inverter" and "generator" in states and site.protection.changeover != "none" \
            and site.protection.system != "IT":
        found.append(Bond(key="bond-generator", board="", words="at the generator, whose own"
                          " changeover breaks its neutral", ours=True, states=("generator",)))
    return tuple(found)


def system_of(site: Site, source: str) -> str:
    """System of earthing of the boards while a source feeds them, as IEC 60364-1 names it.

    One that the site file names TT is TN-S while neutral and earth are joined at this site alone:
    a fault to a case then comes back to the source through copper.
    """
    system = site.protection.system
    joined = [bond.ours for bond in bonds_of(site) if source in bond.states]
    return "TN-S" if system == "TT" and joined and all(joined) else system


def system_words(site: Site) -> str:
    """System of earthing by what feeds, in words: the only place that says it of a site."""
    by_system: dict[str, list[str]] = {}
    for source in ("inverter", *site.sources):
        by_system.setdefault(system_of(site, source), []).append(source)
    if set(by_system) == {site.protection.system}:
        return site.protection.system
    return ", ".join(
        f"on the {' and the '.join(sources)} {'as ' * (system != site.protection.system)}{system}"
        for system, sources in by_system.items()
    )
