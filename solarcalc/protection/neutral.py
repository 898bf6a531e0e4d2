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
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import State, states_of
from solarcalc.wiring.switching import (
    BoardState,
    board_states,
    bonds_of,
    changeovers_of,
    every_position,
    joined_sources,
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


def ties(site: Site, state: State, board: str) -> tuple[str, ...]:
    """Places where neutral and earth of a board are joined in that state."""
    return tuple(
        bond.words.partition(f", {board} board")[0]
        + (", which stays on the boards" if bond.key not in ("bond-grid", "bond-generator")
           and state != "inverter" and site.protection.neutral_earth_bond == "at-inverter" else "")
        for bond in bonds_of(site) if state in bond.states and bond.board in ("", board)
    )  # fmt: skip


def state_rows(case: Case) -> tuple[StateRow, ...]:
    """Each state of each board with where its neutral and earth are joined."""
    return tuple(_row(case, state) for state in board_states(case.site))


def _row(case: Case, at: BoardState) -> StateRow:
    joined = dict.fromkeys(tie for state in at.states for tie in ties(case.site, state, at.board))
    outcome, note = _judge(case, at, tuple(joined))
    words = " and ".join(STATE_WORDS[state] for state in at.states) or OFF_WORDS
    return StateRow(
        board=at.board, state=" + ".join(at.states) or "off", words=words, joined=tuple(joined),
        outcome=outcome, note=note,
    )  # fmt: skip


def _judge(case: Case, at: BoardState, joined: tuple[str, ...]) -> tuple[Outcome, str]:
    protection = case.site.protection
    if not at.sources:
        return "passed", ""
    if len(at.sources) > 1:
        return "failed", "sources that nothing keeps in step are joined here: put a changeover" \
            " between them, protection.changeover"
    if protection.system == "IT":
        return _judge_it(at.states[0], joined)
    if len(joined) > 1:
        return "failed", "leave one: set protection.neutral_earth_bond to a place cut off here"
    if len(joined) == 1 and "generator" in at.states:
        if protection.neutral_earth_bond == "at-inverter":
            return "review", "the inverter's join is cut off while the generator feeds: read on" \
                " the generator's plate that its neutral is joined to its frame, or join it, and" \
                " bring its earth to the main earth bar; test it"
        return "review", "the generator's own neutral must not be joined to its frame: read its" \
            " plate, and test it"
    if len(joined) == 1:
        return "passed", ""
    if protection.neutral_earth_bond == "at-grid":
        return "failed", "the grid's join is out of reach, and may not be counted on: set" \
            " protection.neutral_earth_bond = \"at-inverter\", by a relay that opens with the grid"
    return "failed", "no fault to earth can trip anything: set protection.neutral_earth_bond =" \
        " \"at-inverter\", by a relay that opens while another source feeds"


def _judge_it(state: State, joined: tuple[str, ...]) -> tuple[Outcome, str]:
    if joined:
        return "failed", "an IT system has no join: set protection.neutral_earth_bond =" \
            " \"nowhere\", or protection.system to TT or TN-S"
    if state == "grid":
        return "review", "a public grid is hardly ever IT: ask the supplier"
    return "passed", ""


def neutral_checks(case: Case) -> Iterator[Check]:
    """One check a state of a board; and whether any position of the switches joins sources."""
    wanted = "none" if case.site.protection.system == "IT" else "one"
    for row in state_rows(case):
        yield Check(
            rule="protection/bonds", kind="safety",
            item=f"Neutral and earth joined, {row.board} board: {row.words}",
            found="; ".join(row.joined) if row.joined else "nowhere",
            limit="none is needed" if row.state == "off"
            else f"{wanted} place, {case.site.protection.system}", unit="",
            outcome=row.outcome,
            clause=_OWN_EARTH if case.site.protection.neutral_earth_bond == "at-grid" else _ONE_TIE,
            remedy=row.note,
        )
    met = joined_sources(case.site)
    yield checked(
        not met, "failed",
        **worded("protection", "sources-apart", count=len(every_position(case.site))),
        found="; ".join(" with ".join(each) for each in met) or "none",
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
    if kind == "built-in":
        if case.has_grid and case.has_generator:
            yield _one_input()
        yield _relay(case)
    elif any(bond.relay for bond in bonds_of(case.site)):
        yield Check(**worded("protection", "join-by-relay"), outcome="review")


def _one_input() -> Check:
    return Check(**worded("protection", "grid-generator-one"), outcome="review")


def _relay(case: Case) -> Check:
    return Check(
        **worded("protection", "changeover-inside-inverter", ac_poles=case.ac_poles),
        outcome="review",
    )  # fmt: skip


def changeover_devices(case: Case) -> Iterator[Device]:
    """Every changeover switch of the site."""
    kind = case.site.protection.changeover
    stems = ("grid_in", "generator_in", "inverter_board")
    runs = [each for stem in stems for each in case.of(stem)]
    carried_a = max((each.device_a or each.run.design_a for each in runs), default=0.0)
    words = {
        "built-in": "inside the inverter: its sheet must say that it breaks lines and neutral",
        "manual": "by hand, with an off position, break before make",
        "automatic": "automatic, locked mechanically, break before make",
    }
    for switch in changeovers_of(case.site):
        yield Device(
            key=switch.key, name=f"Changeover {switch.words}", kind="changeover", run_key="",
            at="inverter" if kind == "built-in" else "power room, before the boards",
            current="ac", count=1, poles=case.ac_poles,
            rated_a=next_rating("protection_ratings", "changeover", carried_a) or carried_a,
            **sold_v("ac", case.ac_rated_v), breaking_ka=None, extra=words[kind],
            clause=f"IEC 60947-6-1, {FROM_MEMORY}; {_NO_JOINING}",
        )  # fmt: skip


NEUTRAL_NOTES = (
    "Back-feed: never plug a generator into a socket of the house, never bridge a changeover. The"
    " wires of a dead grid are worked on by hand.",
    "With an inverter for each board, each has its own neutral: the neutrals of two boards are"
    " never joined behind their residual current devices.",
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


def residual_type(bank_v: float) -> str:
    """Type to ask for: ``"A"`` or ``"B"``.

    Parameters
    ----------
    bank_v : float
        Highest voltage of the bank [V].
    """
    return "A" if bank_v <= float(LOW_DC_V) else "B"


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
    kind = residual_type(case.bank_v)
    for board in case.boards:
        run = case.get(f"board_house_{board}") or case.get(f"inverter_board_{board}")
        feeding = case.get(f"inverter_board_{board}" if board else "inverter_board")
        carried_a = feeding.device_a or feeding.run.design_a if feeding else 0.0
        yield Device(
            key=f"residual-{board}" if board else "residual",
            name=f"Residual current device, {board} board".replace(",  board", ""),
            kind="residual", run_key=run.run.key if run else "", at=f"{board} board".strip(),
            current="ac", count=1, poles=case.ac_poles,
            rated_a=next_rating("protection_ratings", "residual", carried_a) or carried_a,
            **sold_v("ac", case.ac_rated_v), breaking_ka=None,
            extra=f"{case.site.protection.residual_ma:g} mA, type {kind} or as the inverter's"
            " maker says",
            clause=_TYPE,
        )  # fmt: skip
    above_ma = upstream_ma(case.site)
    for source in delayed_at(case.site):
        run = case.get(f"{source}_in")
        if above_ma is None or run is None:
            continue
        carried_a = run.device_a or run.run.design_a
        yield Device(
            **worded("protection", "residual-source", source=source, above_ma=above_ma, kind=kind,
                     at=AT_SOURCE[source]),
            count=1, poles=case.ac_poles,
            rated_a=next_rating("protection_ratings", "residual", carried_a) or carried_a,
            **sold_v("ac", case.ac_rated_v), breaking_ka=None, clause=SELECTIVE_FACTOR.source,
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


def _type(case: Case) -> Check:
    kind = residual_type(case.bank_v)
    return checked(
        kind == "A", **worded("protection", "type-residual-current"), found=kind,
        limit=f"A, with a bank of at most {float(LOW_DC_V):g} V kept apart from the" " board"
        if kind == "A"
        else "B, which direct current does not blind",
        clause=f"{_TYPE}; {LOW_DC_V.source}" if kind == "A" else _TYPE,
    )  # fmt: skip


def _order(case: Case) -> Check:
    above_ma = upstream_ma(case.site)
    return checked(
        above_ma is not None,
        rule="protection/residual-order", kind="safety",
        item=f"Residual current device of the {' and the '.join(delayed_at(case.site))} waits for"
        " those of the boards",
        found=f"{above_ma:g} mA, type S" if above_ma else "none made so large",
        limit=f"at least {float(SELECTIVE_FACTOR) * case.site.protection.residual_ma:g} mA,"
        " delayed",
        clause=SELECTIVE_FACTOR.source, remedy="a smaller protection.residual_ma at the boards",
    )  # fmt: skip
