"""Residual current devices: which, what type, and the electrode with which they trip."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.sourced import FROM_MEMORY, constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.protection.case import Case, Device, next_rating
from solarcalc.sitefile.earthing import RESIDUAL_MA
from solarcalc.sitefile.site import Site

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


def upstream_ma(site: Site) -> float | None:
    """Rated residual current of a delayed device where the grid comes in [mA]; None for none.

    With TT the cable from the grid to the boards has no other protection against a fault to
    earth.
    """
    if not site.grid.there or site.protection.system != "TT":
        return None
    least = float(SELECTIVE_FACTOR) * site.protection.residual_ma
    return next((each for each in RESIDUAL_MA if each >= max(least, 100.0)), None)


def slowest_residual_ma(site: Site) -> float:
    """Rated residual current of the least sensitive device that the electrode serves [mA]."""
    return max(site.protection.residual_ma, upstream_ma(site) or 0.0)


def residual_devices(case: Case) -> Iterator[Device]:
    """One a board, and a delayed one where the grid comes in."""
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
            rated_v=case.ac_rated_v, breaking_ka=None,
            extra=f"{case.site.protection.residual_ma:g} mA, type {kind} or as the inverter's"
            " maker says",
            clause=_TYPE,
        )  # fmt: skip
    above_ma, grid = upstream_ma(case.site), case.get("grid_in")
    if above_ma is not None and grid is not None:
        carried_a = grid.device_a or grid.run.design_a
        yield Device(
            key="residual-grid", name="Residual current device of the grid, delayed",
            kind="residual", run_key="grid_in", at="where the grid comes in", current="ac",
            count=1, poles=case.ac_poles,
            rated_a=next_rating("protection_ratings", "residual", carried_a) or carried_a,
            rated_v=case.ac_rated_v, breaking_ka=None,
            extra=f"{above_ma:g} mA, type S (delayed), {kind}", clause=SELECTIVE_FACTOR.source,
        )  # fmt: skip


def residual_verdicts(case: Case) -> Iterator[Verdict]:
    """Protection of people, type and order of the devices; the electrode is earthing's."""
    protection = case.site.protection
    if protection.system == "IT":
        yield Verdict(
            item="First fault to earth of an IT system", found="nothing trips",
            limit="an insulation monitor reports it", outcome="caution", unit="",
            clause=f"IEC 60364-4-41 cl. 411.6, {FROM_MEMORY}",
            remedy="an insulation monitor that sounds, and people who find and mend the fault;"
            " where nobody will, choose TT or TN-S",
        )
        return
    yield judged(
        protection.residual_ma <= float(TOUCH_MA),
        item="Residual current of the boards, for people",
        found=f"{protection.residual_ma:g}", limit=f"at most {float(TOUCH_MA):g} for sockets",
        unit="mA", clause=TOUCH_MA.source,
        remedy="set protection.residual_ma = 30, or give every circuit of sockets a device of"
        " 30 mA of its own",
    )  # fmt: skip
    yield _type(case)
    if case.has_grid and protection.system == "TT":
        yield _order(case)


def _type(case: Case) -> Verdict:
    kind = residual_type(case.bank_v)
    return judged(
        kind == "A",
        item="Type of the residual current devices",
        found=kind, limit=f"A, with a bank of at most {float(LOW_DC_V):g} V kept apart from the"
        " board" if kind == "A" else "B, which direct current does not blind",
        clause=f"{_TYPE}; {LOW_DC_V.source}" if kind == "A" else _TYPE,
        remedy="take type B, or have it in writing from the inverter's maker that it keeps bank"
        " and board apart, or that another type will do",
    )  # fmt: skip


def _order(case: Case) -> Verdict:
    above_ma = upstream_ma(case.site)
    return judged(
        above_ma is not None,
        item="Residual current device where the grid comes in waits for those of the boards",
        found=f"{above_ma:g} mA, type S" if above_ma else "none made so large",
        limit=f"at least {float(SELECTIVE_FACTOR) * case.site.protection.residual_ma:g} mA,"
        " delayed",
        clause=SELECTIVE_FACTOR.source, remedy="a smaller protection.residual_ma at the boards",
    )  # fmt: skip


