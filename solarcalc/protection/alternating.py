"""Alternating current: breakers of grid, generator and boards, and whether a fault trips them.

An inverter gives little more than its rated current for a moment. That does not move the magnet of
a breaker: on the inverter a residual current device switches off a fault to earth, and the
inverter itself shuts down on a short circuit.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from solarcalc.basis.check import Check, checked
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.worded import worded
from solarcalc.protection.case import AT_SOURCE, Case, Device, board_of, sold_v
from solarcalc.protection.faults import (
    disconnection_s,
    lead_ohm,
    let_through_a2_s,
    most_loop_ohm,
    next_breaking_ka,
    times_table,
    trip_a,
)
from solarcalc.protection.neutral import delayed_at, sees_faults
from solarcalc.sitefile.guessed import is_given
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.site import Site
from solarcalc.supply.engine import source_w
from solarcalc.wiring.conductors import (
    OHM_MM2_PER_KM,
    PVC_HOTTEST_C,
    hot_ohm_per_km,
    protective_mm2,
)
from solarcalc.wiring.runs import Run, SizedRun, charger_w, grouped_boards, phases_of_run

GENERATOR_FACTOR = constant("protection.generator_factor")
LEAST_BREAKING_A = float(constant("protection.least_breaking_a"))
_BREAKS = "IEC 60364-4-43 cl. 434.5.1; IEC 60898-1"
_INVERTER = "inverters hold 1.1 to 1.5 times their rated current, 2 to 3 times for milliseconds:" \
    f" {NO_SOURCE}"


@dataclass(frozen=True, kw_only=True)
class Source:
    """A source that can feed the boards, and what it drives into a fault.

    Parameters
    ----------
    name : str
    fault_a : float
        Short circuit at its terminals, in each line [A].
    """

    name: str
    fault_a: float


AC_NOTES = (
    "Two circuit-breakers of one rating in series, such as at the inverter and at the house:"
    " either may trip first. Where lighting must stay on, divide the circuits downstream of the"
    " main distribution board of the building.",
)


def sources_of(case: Case, board: str) -> tuple[Source, ...]:
    """Inverter, grid and generator of a board, as far as they are there."""
    phases, supply = phases_of_run(case.site, f"board_house_{board}"), case.site.loads.phases
    found = [Source(name="inverter", fault_a=case.phase_a(case.inverter_va(board), phases))]
    if case.has_grid:
        found.append(Source(name="grid", fault_a=case.site.protection.ac_fault_ka * 1000.0))
    if case.has_generator:
        rated_a = case.phase_a(case.site.generator.alternator_va, supply)
        found.append(Source(name="generator", fault_a=float(GENERATOR_FACTOR) * rated_a))
    return tuple(found)


def largest_fault_a(case: Case, run_key: str) -> float:
    """Largest prospective short circuit of an alternating current run [A]."""
    one = {"grid_in": "grid", "generator_in": "generator"}.get(run_key)
    found = sources_of(case, run_key.rpartition("_")[2])
    own = [each.fault_a for each in found if each.name == one]
    return max(own or [each.fault_a for each in found])


def far_fault_a(case: Case, sized: SizedRun) -> float:
    """The same at the far end of the run: its own cable in the way, cold [A]."""
    near_a = largest_fault_a(case, sized.run.key)
    return case.line_v / (case.line_v / near_a + lead_ohm(sized))


def ac_runs(case: Case) -> tuple[SizedRun, ...]:
    """Runs of alternating current that have a breaker."""
    return tuple(
        each for each in case.runs if each.run.device == "ac-breaker" and each.device_a is not None
    )


def breaker_key(run_key: str) -> str:
    """Key of the device of an alternating current run.

    Examples
    --------
    >>> breaker_key("inverter_board_nonessential"), breaker_key("grid_in")
    ('board-breaker-nonessential', 'grid-breaker')
    """
    for stem, key in (
        ("grid_in", "grid-breaker"), ("generator_in", "generator-breaker"),
        ("inverter_board", "board-breaker"), ("board_house", "house-breaker"),
        ("inverter_output", "output-breaker"),
    ):  # fmt: skip
        if run_key.startswith(stem):
            board = board_of(run_key, stem)
            return f"{key}-{board}" if board else key
    return f"breaker-{run_key}"


def ac_devices(case: Case) -> Iterator[Device]:
    """Breakers of grid, generator, boards and what feeds the house."""
    curve = case.site.protection.breaker_curve
    for sized in ac_runs(case):
        fault_a = max(largest_fault_a(case, sized.run.key), LEAST_BREAKING_A)
        yield Device(
            key=breaker_key(sized.run.key), name=f"Breaker: {sized.run.name}", kind="breaker",
            run_key=sized.run.key, current="ac",
            at=AT_SOURCE.get(sized.run.key.removesuffix("_in"), _stands_at(sized.run)),
            count=sized.run.count, poles=case.ac_poles(sized.run.key), rated_a=sized.device_a,
            **sold_v("ac", case.ac_rated_v(sized.run.key)),
            breaking_ka=next_breaking_ka(fault_a) or fault_a / 1000.0,
            extra=f"curve {curve}, breaks all lines and the neutral"
            + (", energy limiting class 3" if _limits(curve, sized, fault_a) else ""),
            clause=_BREAKS, asked=(f"curve {curve}",),
        )  # fmt: skip


def _stands_at(run: Run) -> str:
    """That of one of several inverters stands where the others can feed a fault in its cable."""
    return run.end if run.key.startswith("inverter_output") else run.start


def _limits(curve: str, sized: SizedRun, fault_a: float) -> bool:
    return let_through_a2_s(curve, sized.device_a or 0.0, fault_a) is not None


def ac_checks(case: Case) -> Iterator[Check]:
    """Whether breakers break what the sources drive, and trip."""
    for sized in ac_runs(case):
        yield _breaking(case, sized)
    if case.has_grid:
        yield _grid_fault(case)
    for name in case.site.sources:
        yield _input_limit(case, name)
        yield from _one_phase_input(case, name)
    yield from _together(case)
    for board in case.boards:
        last = case.get(f"board_house_{board}") or case.get(f"inverter_board_{board}")
        feeding = case.get(f"inverter_board_{board}" if board else "inverter_board")
        if feeding is None or feeding.device_a is None:
            continue
        for source in sources_of(case, board):
            if source.name != "grid":
                yield _weak(case, board, feeding.device_a, source)
            yield from _loop(case, board, source, feeding.device_a, last)


def _input_limit(case: Case, source: str) -> Check:
    """What boards and charging together may ask of a source, against what it gives.

    One limit is set for all sources that one input takes: the lowest of them.
    """
    site = case.site
    boards_w = sum(inverter.total_power_w for inverter in site.inverters.values())
    gives_w = source_w(site)
    limit_w = gives_w[source]
    asked_w = boards_w + min(charger_w(site), limit_w)
    lowest = lowest_source(site)
    return checked(asked_w <= limit_w, **worded(
        "protection", "grid-input" if source == "grid" else "generator-input",
        asked_w=asked_w, limit_w=limit_w,
        lowest="" if lowest == source else f", as the {lowest} gives",
        limit_a=input_limit_a(site),
    ))  # fmt: skip


def _one_phase_input(case: Case, source: str) -> Iterator[Check]:
    """What boards of a single phase may ask of one phase of a source that has several."""
    loads, limit_w = case.site.loads, source_w(case.site)[source] / case.site.loads.phases
    for board in BOARDS:
        if loads.phases_of(board) < loads.phases:
            asked_w = case.site.inverter_of(board).total_power_w
            yield checked(asked_w <= limit_w, **worded(
                "protection", "one-phase-input", source=source, board=board, asked_w=asked_w,
                limit_w=limit_w, phases=loads.phases,
            ))  # fmt: skip


def _together(case: Case) -> Iterator[Check]:
    """Inverters of one board: made to work as one, their neutral joined to earth by one alone."""
    for board in grouped_boards(case.site):
        inverter = case.site.inverter_of(board)
        yield Check(outcome="review", **worded(
            "protection", "inverters-together", board=board, count=inverter.count,
            how="each on one phase of a common supply" if inverter.one_a_phase
            else "outputs in parallel",
        ))  # fmt: skip


def lowest_source(site: Site) -> str:
    """The source that gives least: the limit of an input that all of them share is its."""
    gives_w = source_w(site)
    return min(gives_w, key=lambda each: gives_w[each])


def input_limit_a(site: Site) -> int:
    """What all inverters together may draw of each line of their input, whole amperes [A]."""
    return math.floor(source_w(site)[lowest_source(site)]
                      / (site.supply.ac_voltage_v * site.loads.phases))  # fmt: skip


def _breaking(case: Case, sized: SizedRun) -> Check:
    fault_a = largest_fault_a(case, sized.run.key)
    made_ka = next_breaking_ka(max(fault_a, LEAST_BREAKING_A))
    return checked(
        made_ka is not None, "failed",
        rule="protection/breaking-capacity-ac", kind="safety",
        item=f"Breaking capacity: {sized.run.name}",
        found=f"{made_ka:g}" if made_ka else "none made", limit=f"at least {fault_a / 1000.0:.2f}",
        unit="kA", clause=_BREAKS,
        remedy="a gG fuse upstream of the circuit-breaker, as its manufacturer allows; ask the"
        " grid operator for its value",
    )  # fmt: skip


def _grid_fault(case: Case) -> Check:
    """Whether somebody gave the value that circuit-breakers are chosen by."""
    given = is_given(case.site, "protection.ac_fault_ka")
    return checked(
        given, **worded("protection", "grid-fault", fault_ka=case.site.protection.ac_fault_ka),
        clause=_BREAKS, evidence="quoted" if given else "assumed",
    )  # fmt: skip


_WEAK = {
    "inverter": (
        "The inverter's surge", _INVERTER,
        "the inverter's own shutdown (undervoltage)",
    ),
    "generator": (
        "The generator's short circuit", GENERATOR_FACTOR.source,
        "the generator's own circuit-breaker or its loss of excitation",
    ),
}  # fmt: skip
"""What a source without much behind it is called, the source of its current, what ends it."""


def _weak(case: Case, board: str, device_a: float, source: Source) -> Check:
    name, clause, ends = _WEAK[source.name]
    needed_a = trip_a(case.site.protection.breaker_curve, device_a)
    limit_s = disconnection_s(case.line_v, case.site.protection.system)
    within = f" within {limit_s:g} s" if limit_s else ""
    delayed = source.name in delayed_at(case.site) and sees_faults(case.site, source.name)
    return checked(source.fault_a >= needed_a, **worded(
        "protection", "trips-breaker-once", name=name, board=board, fault_a=source.fault_a,
        needed_a=needed_a, breaker_curve=case.site.protection.breaker_curve, clause=clause,
        within=within, source=source.name,
        before=f"the delayed one at the {source.name} does; {ends}" if delayed
        else f"only {ends} does, and it",
    ))  # fmt: skip


def _loop(
    case: Case, board: str, source: Source, device_a: float, last: SizedRun | None
) -> Iterator[Check]:
    """Loop impedance up to the house's board, where the breaker is to clear a fault to earth."""
    if case.site.protection.system != "TN-S" or source.name == "inverter":
        return
    most_ohm = most_loop_ohm(case.line_v, case.site.protection.breaker_curve, device_a)
    path = [case.get("grid_in" if source.name == "grid" else "generator_in"),
            case.get(f"inverter_board_{board}"), last]  # fmt: skip
    seen = {each.run.key: each for each in path if each is not None}
    found_ohm = case.line_v / source.fault_a + sum(earth_loop_ohm(each) for each in seen.values())
    limit_s = disconnection_s(case.line_v, "TN-S")
    yield checked(
        found_ohm <= most_ohm,
        **worded(
            "protection", "fault-earth-on", source_name=source.name, board=board,
            found_ohm=found_ohm, clause=times_table().clause,
        ),
        limit=f"at most {most_ohm:.2f}, to be off within {limit_s:g} s" if limit_s
        else f"at most {most_ohm:.2f}",
    )  # fmt: skip


def earth_loop_ohm(sized: SizedRun) -> float:
    """Line and protective conductor of a run at 70 degC [ohm].

    The protective conductor is that of the table, before it is rounded up to a size made.
    """
    line_mm2 = sized.size_mm2 * sized.in_parallel
    earth_mm2 = protective_mm2(line_mm2)
    material = sized.run.material
    per_km = hot_ohm_per_km(float(OHM_MM2_PER_KM[material]), float(PVC_HOTTEST_C), material)
    return per_km * sized.run.length_m / 1000.0 * (1.0 / line_mm2 + 1.0 / earth_mm2)
