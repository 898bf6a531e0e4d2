"""Changeover, where neutral and earth are joined, and residual current devices.

Without a tie no residual current device can trip; with two, neutral current flows in the earth
conductors and devices trip for nothing, or not at all. Either kills.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from solarcalc.basis.check import Check, Outcome, checked
from solarcalc.basis.sourced import FROM_MEMORY, constant
from solarcalc.basis.worded import worded
from solarcalc.protection.case import AT_SOURCE, Case, Device, next_rating, sold_v
from solarcalc.sitefile.earthing import RESIDUAL_MA
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import State, states_of
from solarcalc.wiring.switching import (
    BoardState,
    Bond,
    board_states,
    bonds_of,
    changeovers_of,
    every_position,
    fed_islands,
    joined_sources,
    joins_on,
    system_of,
)

STATE_WORDS: dict[State, str] = {
    "grid": "grid feeds it",
    "inverter": "inverter alone",
    "generator": "generator feeds it",
}
OFF_WORDS = "off: nothing feeds it"
_ONE_TIE = f"exactly one join of neutral and earth in each state, IEC 60364-1 cl. 312.2 and" \
    f" 4-44 cl. 444.4.7, {FROM_MEMORY}"
_OWN_EARTH = "IEC 60364-5-55 cl. 551.4.3.2.1: a source that stands in for the grid does not rely" \
    " on the grid's earthed point"
_NO_JOINING = f"IEC 60364-5-55 cl. 551.6.1: sources cannot feed one another, {FROM_MEMORY}"


@dataclass(frozen=True, kw_only=True)
class StateRow:
    """One state of one board.

    Parameters
    ----------
    board : str
    state : str
        ``"grid"``, ``"inverter"``, ``"generator"``, ``"off"``, or several joined by ``" + "``.
    words : str
        What feeds the board.
    joined : tuple of str
        Each place where its neutral and earth are joined then, in words.
    outcome : {"passed", "review", "failed"}
    note : str
        Why, and what to do.
    """

    board: str
    state: str
    words: str
    joined: tuple[str, ...]
    outcome: Outcome
    note: str


def ties(site: Site, at: BoardState) -> tuple[str, ...]:
    """Places where the neutral that feeds a board is joined to earth in that state, in words.

    A source has one neutral: where other switches can put more boards on it, their joins count.
    """
    islands = [island for island in fed_islands(site)
               if at.board in island and island - set(BOARDS) == set(at.sources)]  # fmt: skip
    most = max((joins_on(site, island) for island in islands), key=len, default=())
    several = len({bond.board for bond in most if bond.board}) > 1
    return tuple(_tie_words(site, bond, at, several) for bond in most)


def _tie_words(site: Site, bond: Bond, at: BoardState, several: bool) -> str:
    stays = not bond.at_source and at.states != ("inverter",) \
        and site.protection.neutral_earth_bond == "at-inverter"
    words = bond.words if several else bond.words.partition(f", {at.board} board")[0]
    return words + (", which stays on the boards" if stays else "")


def state_rows(case: Case) -> tuple[StateRow, ...]:
    """Each state of each board with where its neutral and earth are joined."""
    return tuple(_row(case, state) for state in board_states(case.site))


def _row(case: Case, at: BoardState) -> StateRow:
    joined = ties(case.site, at)
    outcome, note = _judge(case, at.sources, joined)
    words = " and ".join(STATE_WORDS[state] for state in at.states) or OFF_WORDS
    return StateRow(
        board=at.board, state=" + ".join(at.states) or "off", words=words, joined=joined,
        outcome=outcome, note=note,
    )  # fmt: skip


_AT_GENERATOR = (
    "the inverter's join is cut off while the generator feeds: read on the generator's plate that"
    " its neutral is joined to its frame, or join it, and bring its earth to the main earth bar;"
    " test it"
)


def _judge(
    case: Case, sources: tuple[str, ...], joined: tuple[str, ...]
) -> tuple[Outcome, str]:
    protection = case.site.protection
    if not sources:
        return "passed", ""
    if len(sources) > 1:
        return "failed", "sources that nothing keeps in step are joined here: put a changeover" \
            " between them, protection.changeover"
    if protection.system == "IT":
        return _judge_it(sources[0], joined)
    if len(joined) > 1:
        return "failed", "leave one: set protection.neutral_earth_bond to a place cut off here"
    if len(joined) == 1 and "generator" in sources:
        if protection.neutral_earth_bond == "at-inverter":
            return "review", _AT_GENERATOR
        return "review", "the generator's own neutral must not be joined to its frame: read its" \
            " plate, and test it"
    if len(joined) == 1:
        return "passed", ""
    if protection.neutral_earth_bond == "at-grid":
        return "failed", "the bond of the grid is out of reach, and must not be relied on: set" \
            " protection.neutral_earth_bond = \"at-inverter\", by a relay that opens with the grid"
    return "failed", "no earth fault can trip anything: set protection.neutral_earth_bond =" \
        " \"at-inverter\", by a relay that opens while another source feeds"


def _judge_it(source: str, joined: tuple[str, ...]) -> tuple[Outcome, str]:
    if joined:
        return "failed", "an IT system has no neutral-earth bond: set" \
            " protection.neutral_earth_bond = \"nowhere\", or protection.system to TT or TN-S"
    if source == "grid":
        return "review", "a public grid is hardly ever IT: ask the grid operator"
    return "passed", ""


def neutral_checks(case: Case, rows: tuple[StateRow, ...]) -> Iterator[Check]:
    """One check a state of a board; and whether any position of the switches joins sources."""
    wanted = "none" if case.site.protection.system == "IT" else "one"
    for row in rows:
        yield Check(
            rule="protection/bonds", kind="safety",
            item=f"Neutral and earth joined, {row.board} board: {row.words}",
            found="; ".join(row.joined) if row.joined else "nowhere",
            limit="none is needed" if row.state == "off"
            else f"{wanted} place, {system_of(case.site, row.state)}", unit="",
            outcome=row.outcome,
            clause=_OWN_EARTH if case.site.protection.neutral_earth_bond == "at-grid" else _ONE_TIE,
            remedy=row.note,
            action="generator: join neutral to frame, earth it at the bar, test it"
            if row.note == _AT_GENERATOR else "",
        )
    yield from _charging_joins(case, wanted)
    met = joined_sources(case.site)
    yield checked(
        not met, "failed",
        **worded("protection", "sources-apart", count=len(every_position(case.site))),
        found="; ".join(" with ".join(each) for each in met) or "none",
    )  # fmt: skip


def _charging_joins(case: Case, wanted: str) -> Iterator[Check]:
    """A source that feeds the chargers alone, before the changeovers: no board's join is on it.

    Told where that is another count of joins than with a board on it.
    """
    for island in fed_islands(case.site):
        if island & set(BOARDS):
            continue
        sources = tuple(sorted(island))
        joined = tuple(bond.words for bond in joins_on(case.site, island))
        if {joined} == {ties(case.site, at) for at in board_states(case.site)
                        if at.sources == sources}:  # fmt: skip
            continue
        outcome, note = _judge(case, sources, joined)
        yield Check(
            **worded("protection", "bond-charging", source=" and ".join(sources), wanted=wanted,
                     system=system_of(case.site, sources[0].partition("-")[0])),
            found="; ".join(joined) or "nowhere", outcome=outcome, remedy=note,
        )  # fmt: skip


def changeover_checks(case: Case) -> Iterator[Check]:
    """Whether what changes over suits the sources; one outside breaks all poles, as scheduled."""
    kind, states = case.site.protection.changeover, states_of(case.site)
    if len(states) == 1:
        return
    yield checked(
        kind != "none", "failed",
        **worded("protection", "changeover-between", states=", ".join(states)), found=kind,
    )  # fmt: skip
    if kind == "manual" and case.has_generator:
        yield Check(**worded("protection", "generator-by-hand"), outcome="review")
    if kind == "built-in":
        if case.has_grid and case.has_generator:
            yield _one_input()
        yield _relay(case)
    elif any(bond.relay for bond in bonds_of(case.site)):
        yield Check(**worded("protection", "join-by-relay"), outcome="review")


def _one_input() -> Check:
    return Check(**worded("protection", "grid-generator-one"), outcome="review")


_AT_SWITCHES = ("grid_in", *(f"inverter_board_{board}" for board in BOARDS))
"""Cables that changeovers stand in."""


def _relay(case: Case) -> Check:
    return Check(
        **worded("protection", "changeover-inside-inverter",
                 ac_poles=max(map(case.ac_poles, _AT_SWITCHES))),
        outcome="review",
    )  # fmt: skip


def changeover_devices(case: Case) -> Iterator[Device]:
    """Every changeover switch of the site."""
    kind = case.site.protection.changeover
    stems = ("grid_in", "generator_in", "inverter_board")
    runs = [each for stem in stems for each in case.of(stem)]
    carried_a = max((each.device_a or each.run.design_a for each in runs), default=0.0)
    words = {
        "built-in": "inside the inverter: its data sheet must state that it breaks lines and"
        " neutral",
        "manual": "manual, with an off position, break before make",
        "automatic": "automatic, mechanically interlocked, break before make",
    }
    for switch in changeovers_of(case.site):
        board = switch.board or BOARDS[0]
        key = "grid_in" if switch.key == "changeover-sources" else f"inverter_board_{board}"
        count = case.site.inverter_of(board).count if kind == "built-in" else 1
        each = case.get(f"inverter_output_{board}") if count > 1 else None
        own_a = carried_a if each is None else each.device_a or each.run.design_a
        at_run = key if each is None else each.run.key
        yield Device(
            key=switch.key, name=f"Changeover {switch.words}", kind="changeover", run_key="",
            at="inverter" if kind == "built-in" else "power room, before the boards",
            current="ac", count=count, poles=case.ac_poles(at_run),
            rated_a=next_rating("protection_ratings", "changeover", own_a) or own_a,
            **sold_v("ac", case.ac_rated_v(at_run)), breaking_ka=None, extra=words[kind],
            clause=f"IEC 60947-6-1, {FROM_MEMORY}; {_NO_JOINING}",
        )  # fmt: skip


NEUTRAL_NOTES = (
    "Back-feed: never plug a generator into a socket of the house, never bridge a changeover."
    " Line workers touch the conductors of a dead grid.",
    "With an inverter for each board, each has its own neutral: never connect the neutrals of"
    " two boards downstream of their residual current devices.",
)


TOUCH_MA = constant("protection.touch_ma")
SELECTIVE_FACTOR = constant("protection.selective_factor")
LOW_DC_V = constant("protection.low_dc_v")
_TYPE = "IEC 60364-7-712:2017 cl. 712.530.3.101: type B, unless there is simple separation or the" \
    " maker says it is not needed"
TOUCH_CLAUSE = "IEC 60364-4-41 cl. 411.5.3: R_A I_dn <= U_L, read in a list of published values"


def most_electrode_ohm(residual_ma: float, touch_v: float) -> float:
    """Largest electrode resistance with which a residual current device keeps the touch voltage.

    Parameters
    ----------
    residual_ma : float
        Rated residual current [mA].
    touch_v : float
        Limit of the touch voltage [V].

    Returns
    -------
    float
        [ohm].

    Examples
    --------
    >>> round(most_electrode_ohm(30.0, 50.0))
    1667
    """
    return touch_v / (residual_ma / 1000.0)


def residual_type(bank_v: float, stated: str | None = None) -> str:
    """Type to ask for: ``"A"``, ``"F"`` or ``"B"``.

    Parameters
    ----------
    bank_v : float
        Highest voltage of the bank [V].
    stated : str, optional
        What the data sheet of the inverter states; left out: assumed by the voltage, for review.
    """
    return stated or ("A" if bank_v <= float(LOW_DC_V) else "B")


def stated_types(site: Site) -> dict[str, str | None]:
    """What the data sheet of each inverter states of the residual current device at its output."""
    boards = BOARDS[:1] if site.supply.one_inverter else BOARDS
    return {board: getattr(site.inverter, board).residual_type for board in boards}


def _type_of(case: Case, board: str) -> tuple[str, bool]:
    """Type of a board's device, and whether the data sheet of its inverter states it."""
    stated = stated_types(case.site)
    told = stated.get(board, stated[BOARDS[0]])
    return residual_type(case.bank_v, told), told is not None


def delayed_at(site: Site) -> tuple[str, ...]:
    """Sources whose cable to the boards needs a delayed residual current device of its own.

    With TT no fault to earth on it is large enough for a breaker (IEC 60364-4-41 cl. 411.5.2); a
    generator's never is (60364-5-55 cl. 551.4; both from memory).
    """
    needs = {"grid": site.protection.system == "TT", "generator": site.protection.system != "IT"}
    return tuple(source for source in site.sources if needs[source])


def upstream_ma(site: Site) -> float | None:
    """Rated residual current of the delayed devices where sources come in [mA]; None for none."""
    if not delayed_at(site):
        return None
    least = float(SELECTIVE_FACTOR) * site.protection.residual_ma
    return next((each for each in RESIDUAL_MA if each >= max(least, 100.0)), None)


def slowest_residual_ma(site: Site) -> float:
    """Rated residual current of the least sensitive device that the electrode serves [mA]."""
    return max(site.protection.residual_ma, upstream_ma(site) or 0.0)


def residual_devices(case: Case) -> Iterator[Device]:
    """One a board, and a delayed one where grid and generator come in."""
    if case.site.protection.system == "IT":
        return
    for board in case.boards:
        kind, stated = _type_of(case, board)
        run = case.get(f"board_house_{board}") or case.get(f"inverter_board_{board}")
        feeding = case.get(f"inverter_board_{board}" if board else "inverter_board")
        carried_a = feeding.device_a or feeding.run.design_a if feeding else 0.0
        yield Device(
            key=f"residual-{board}" if board else "residual",
            name=f"Residual current device, {board} board".replace(",  board", ""),
            kind="residual", run_key=run.run.key if run else "", at=f"{board} board".strip(),
            current="ac", count=1, poles=case.ac_poles(f"board_house_{board}"),
            rated_a=next_rating("protection_ratings", "residual", carried_a) or carried_a,
            **sold_v("ac", case.ac_rated_v(f"board_house_{board}")), breaking_ka=None,
            extra=f"{case.site.protection.residual_ma:g} mA, type {kind}"
            + (", as the inverter's data sheet states" if stated
               else " or as the inverter manufacturer states"),
            clause=_TYPE,
            asked=(f"{case.site.protection.residual_ma:g} mA", f"type {kind}"),
        )  # fmt: skip
    above_ma, kind = upstream_ma(case.site), max(_types(case), key="AFB".index)
    for source in delayed_at(case.site):
        run = case.get(f"{source}_in")
        if above_ma is None or run is None:
            continue
        carried_a = run.device_a or run.run.design_a
        yield Device(
            **worded("protection", "residual-source", source=source, above_ma=above_ma, kind=kind,
                     at=AT_SOURCE[source]),
            count=1, poles=case.ac_poles(run.run.key),
            rated_a=next_rating("protection_ratings", "residual", carried_a) or carried_a,
            **sold_v("ac", case.ac_rated_v(run.run.key)), breaking_ka=None,
            clause=SELECTIVE_FACTOR.source,
            asked=(f"{above_ma:g} mA", "type S"),
        )  # fmt: skip


def residual_checks(case: Case) -> Iterator[Check]:
    """Protection of people, type and order of the devices; the electrode is earthing's."""
    protection = case.site.protection
    if protection.system == "IT":
        yield Check(**worded("protection", "first-fault-earth"), outcome="review")
        return
    yield checked(protection.residual_ma <= float(TOUCH_MA), clause=TOUCH_MA.source, **worded(
        "protection", "residual-current-boards", residual_ma=protection.residual_ma,
        touch_ma=float(TOUCH_MA),
    ))  # fmt: skip
    yield _type(case)
    if delayed_at(case.site):
        yield _order(case)


def _types(case: Case) -> list[str]:
    """Type of each inverter's device."""
    return [residual_type(case.bank_v, told) for told in stated_types(case.site).values()]


def _type(case: Case) -> Check:
    """Passed by data sheets alone: that a low battery voltage is separated is assumed."""
    stated = stated_types(case.site)
    silent = [board for board, told in stated.items() if told is None]
    kinds = " and ".join(dict.fromkeys(_types(case)))
    return checked(
        not silent, **worded("protection", "type-residual-current"),
        found=kinds if not silent else f"{kinds}; not stated for the inverter"
        + ("s" if len(silent) > 1 else "" if len(stated) == 1 else f" of the {silent[0]} board"),
        limit="as the inverter's data sheet states, else B; A where the battery has at"
        f" most {float(LOW_DC_V):g} V",
        clause=f"{_TYPE}; {LOW_DC_V.source}", evidence="assumed" if silent else "data sheet",
    )  # fmt: skip


def sees_faults(site: Site, source: str) -> bool:
    """Whether a device at the source sees faults: neutral and earth are joined before it.

    A fault between it and a join behind it comes back through the device, and adds up to nothing.
    """
    return any(bond.key == f"bond-{source}" for bond in bonds_of(site))


def _order(case: Case) -> Check:
    above_ma = upstream_ma(case.site)
    blind = [source for source in delayed_at(case.site) if not sees_faults(case.site, source)]
    return checked(
        above_ma is not None and not blind, "failed" if blind else "review",
        rule="protection/residual-order", kind="safety",
        item=f"Residual current device of the {' and the '.join(delayed_at(case.site))} waits for"
        " those of the boards",
        found=(f"{above_ma:g} mA, type S" if above_ma else "none made so large")
        + (f"; at the {' and the '.join(blind)} blind: no join of neutral and earth on its source's"
           " side" if blind else ""),
        limit=f"at least {float(SELECTIVE_FACTOR) * case.site.protection.residual_ma:g} mA,"
        " delayed" + (", behind the join" if blind else ""),
        clause=SELECTIVE_FACTOR.source,
        remedy="join neutral and earth on the source's side of it: with"
        " protection.neutral_earth_bond = \"at-inverter\" the generator has a join of its own"
        if blind else "a smaller protection.residual_ma at the boards",
    )  # fmt: skip
