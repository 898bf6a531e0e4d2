"""Which appliance goes on which phase of a split or three-phase supply, and how even that is."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.loads.peaks import board_peaks, running_va
from solarcalc.sitefile.loads import Appliance

PHASES: dict[int, tuple[str, ...]] = {1: ("a",), 2: ("a", "b"), 3: ("a", "b", "c")}
"""Number of phases of a supply: their names. Two is a split supply."""

IMBALANCE_LIMIT_FRAC = float(constant("loads.imbalance_limit_frac"))
VOLTAGE_WITHIN = constant("loads.voltage_within_frac")
VOLTAGE_WITHIN_FRAC = float(VOLTAGE_WITHIN)

_ALL = {2: "two", 3: "three"}
_PARTS = {word: count for count, word in _ALL.items()}
"""Phases that an appliance on all of them is shared out among."""
_ROUNDING_VA = 1e-9


@dataclass(frozen=True, kw_only=True)
class Share:
    """One appliance and where it is connected.

    Parameters
    ----------
    name : str
    connected_va : float
        Running apparent power of all units of it [VA], on the day with most of them.
    phase : str
        ``"a"``, ``"b"``, ``"c"``, or all of them: ``"two"`` on a split supply, ``"three"``.
    given : bool
        Whether the site file says so; else it was shared out here.
    """

    name: str
    connected_va: float
    phase: str
    given: bool


@dataclass(frozen=True, kw_only=True)
class PhasePlan:
    """An appliance list shared out among the phases.

    Parameters
    ----------
    shares : tuple of Share
        Largest first.
    connected_va : mapping of phase to float
        Running apparent power of what is connected to it [VA].
    peak_va : mapping of phase to float
        Apparent power in its own worst minute of the year [VA].
    """

    shares: tuple[Share, ...]
    connected_va: Mapping[str, float]
    peak_va: Mapping[str, float]

    @property
    def imbalance_frac(self) -> float:
        """Largest deviation of a phase from the mean of the connected load, over the mean."""
        return imbalance_frac(list(self.connected_va.values()))


def imbalance_frac(phases_va: Sequence[float]) -> float:
    """How uneven the phases are: largest deviation from their mean, over the mean, [0 and up].

    Parameters
    ----------
    phases_va : sequence of float
        Load of each phase [VA]; currents do as well.

    Notes
    -----
    The form of NEMA MG 1 for line voltages (as restated in trade texts; the standard itself not
    opened), taken here for the load of the phases.

    Examples
    --------
    >>> round(imbalance_frac([900.0, 1000.0, 1100.0]), 3)
    0.1
    """
    mean = float(np.mean(phases_va))
    if mean == 0.0:
        return 0.0
    return max(abs(value - mean) for value in phases_va) / mean


def share_out(appliances: Sequence[Appliance], phases: int) -> PhasePlan:
    """Share an appliance list out among the phases as evenly as it can be done simply.

    Appliances whose phase the site file gives stay there; the others go, largest first, to the
    phase with least, and are then moved or exchanged as long as that makes the plan more even.
    A line of the list is one circuit and stays together: what may be split is written in two
    lines. Lines of one name are one appliance. Not sure to be the best of all plans.

    Parameters
    ----------
    appliances : sequence of Appliance
    phases : int
        1, 2 (split) or 3.

    Returns
    -------
    PhasePlan

    Raises
    ------
    InputError
        When `phases` is none of these, or an appliance is fixed to a phase that is not there.
    """
    shares, connected = shares_of(appliances, phases)
    return PhasePlan(
        shares=shares, connected_va=connected,
        peak_va={name: board_peaks(on_phase(appliances, shares, name)).apparent_va or 0.0
                 for name in connected},
    )  # fmt: skip


def shares_of(
    appliances: Sequence[Appliance], phases: int
) -> tuple[tuple[Share, ...], dict[str, float]]:
    """Where each appliance of a list is connected, and what is then on each phase [VA].

    `share_out` says how, and what it raises.
    """
    names = _phase_names(phases)
    items = _by_name(appliances, phases)
    free = [share for share in items if not share.given]
    fixed = dict.fromkeys(names, 0.0)
    for share in items:
        for phase in names:
            if share.given and share.phase in (phase, _ALL.get(phases)):
                fixed[phase] += share.connected_va / (1 if share.phase == phase else phases)
    places = _improved([share.connected_va for share in free], list(fixed.values()))
    phase_of = {
        share.name: names[place] for share, place in zip(free, places, strict=True)
    }
    shares = tuple(
        share if share.given else Share(
            name=share.name, connected_va=share.connected_va, phase=phase_of[share.name],
            given=False,
        )
        for share in items
    )  # fmt: skip
    connected = dict(fixed)
    for share in shares:
        if not share.given:
            connected[share.phase] += share.connected_va
    return shares, connected


def _phase_names(phases: int) -> tuple[str, ...]:
    if phases not in PHASES:
        raise InputError(
            Fault(where="phases", given=str(phases), allowed="1, 2 (split supply) or 3")
        )
    return PHASES[phases]


def _by_name(appliances: Sequence[Appliance], phases: int) -> list[Share]:
    """One share for each name, largest first; equal ones in the order of their names."""
    known = (*PHASES[phases], *([_ALL[phases]] if phases in _ALL else []))
    found: dict[str, Share] = {}
    for item in appliances:
        if item.phase != "any" and item.phase not in known:
            raise InputError(
                Fault(where=f"phase of {item.name}", given=item.phase,
                      allowed="any, " + ", ".join(known),
                      why=f"the supply has {phases} phase{'s' if phases > 1 else ''}")
            )
        key = " ".join(item.name.casefold().split())
        load_va = running_va(item) * item.count
        if key in found:
            load_va = max(load_va, found[key].connected_va)
        found[key] = Share(
            name=found[key].name if key in found else item.name,
            connected_va=load_va,
            phase=item.phase,
            given=item.phase != "any",
        )
    return sorted(found.values(), key=lambda share: (-share.connected_va, share.name))


def largest_first(loads_va: Sequence[float], fixed_va: Sequence[float]) -> list[int]:
    """Place of each load, given largest first, on the phase that has least until then.

    Parameters
    ----------
    loads_va : sequence of float
        Largest first [VA].
    fixed_va : sequence of float
        What stands on each phase already [VA].

    Notes
    -----
    Graham 1969, from memory: with nothing fixed, the fullest phase has at most
    4/3 - 1/(3 m) of the best plan's, for m phases.
    """
    sums = list(fixed_va)
    places = []
    for load in loads_va:
        place = sums.index(min(sums))
        sums[place] += load
        places.append(place)
    return places


def _improved(loads_va: Sequence[float], fixed_va: Sequence[float]) -> list[int]:
    """`largest_first`, then moves and exchanges as long as one makes the plan more even."""
    places = largest_first(loads_va, fixed_va)
    sums = list(fixed_va)
    for load, place in zip(loads_va, places, strict=True):
        sums[place] += load
    found = _better_change(loads_va, places, sums)
    while found is not None:
        for one, place in found:
            sums[places[one]] -= loads_va[one]
            sums[place] += loads_va[one]
            places[one] = place
        found = _better_change(loads_va, places, sums)
    return places


Change = tuple[tuple[int, int], ...]
"""Numbers of loads, each with the phase it goes to."""


def _better_change(
    loads_va: Sequence[float], places: Sequence[int], sums_va: Sequence[float]
) -> Change | None:
    """The move or exchange that makes the plan most even; None when none does."""
    better, best = None, unevenness(sums_va)
    least = _ROUNDING_VA * (1.0 + best[1])
    for change in _changes(places, len(sums_va)):
        sums = list(sums_va)
        for one, place in change:
            sums[places[one]] -= loads_va[one]
            sums[place] += loads_va[one]
        found = unevenness(sums)
        if found[0] < best[0] - _ROUNDING_VA or (
            found[0] <= best[0] and found[1] < best[1] - least
        ):
            better, best = change, found
    return better


def unevenness(sums_va: Sequence[float]) -> tuple[float, float]:
    """Largest deviation from the mean [VA], then the sum of their squares [VA2]; less is better."""
    mean = sum(sums_va) / len(sums_va)
    apart = [abs(value - mean) for value in sums_va]
    return max(apart), sum(value * value for value in apart)


def _changes(places: Sequence[int], phases: int) -> Iterator[Change]:
    """Each move of one load to another phase, each exchange of two."""
    for one, place in enumerate(places):
        yield from (((one, other),) for other in range(phases) if other != place)
        for two in range(one + 1, len(places)):
            if places[two] != place:
                yield (one, places[two]), (two, place)


def on_phase(
    appliances: Sequence[Appliance], shares: Sequence[Share], phase: str
) -> list[Appliance]:
    """What of an appliance list is on one phase; of an appliance on all of them, its part.

    Parameters
    ----------
    appliances : sequence of Appliance
    shares : sequence of Share
        Of the list, from `share_out`.
    phase : str
    """
    place_of = {" ".join(share.name.casefold().split()): share.phase for share in shares}
    here = []
    for item in appliances:
        place = place_of[" ".join(item.name.casefold().split())]
        if place == phase:
            here.append(item)
        elif place in _PARTS:
            part = 1.0 / _PARTS[place]
            start = {} if item.surge_va is None else {"surge_va": item.surge_va * part}
            here.append(item.model_copy(update={"power_w": item.power_w * part, **start}))
    return here


def neutral_a(phases_a: Sequence[float]) -> float:
    """Current in the neutral of a split or three-phase supply, without harmonics [A].

    Parameters
    ----------
    phases_a : sequence of float
        Current of what is connected from each phase to neutral, two or three of them; of one
        phase it is that phase's [A].

    Notes
    -----
    Sum of the phasors of one power factor, 120 degrees apart, of a split supply 180:
    I_n = sqrt(a^2 + b^2 + c^2 - ab - bc - ca), |a - b| of a split one. Third
    harmonics of electronic loads, which add up in the neutral, are not in it: IEC 60364-5-52
    annex E.

    Examples
    --------
    >>> round(neutral_a([10.0, 15.0, 20.0]), 2)
    8.66
    """
    apart = 2.0 * math.pi / len(phases_a)
    return abs(sum(amps * cmath.exp(-1j * number * apart) for number, amps in enumerate(phases_a)))


def phase_checks(board: str, plan: PhasePlan, *, line_v: float, line_w: float) -> list[Check]:
    """Whether the phases are even enough, and what flows in the neutral; nothing of one phase.

    Parameters
    ----------
    board : str
    plan : PhasePlan
    line_v : float
        Line to neutral [V].
    line_w : float
        That the inverters give on each phase [W].
    """
    if len(plan.connected_va) == 1:
        return []
    flows_a = neutral_a([one / line_v for one in plan.connected_va.values()])
    return [
        checked(plan.imbalance_frac <= IMBALANCE_LIMIT_FRAC, **worded(
            "loads", "phases-board-largest", board=board,
            imbalance_percent=100.0 * plan.imbalance_frac,
            imbalance_limit_percent=100.0 * IMBALANCE_LIMIT_FRAC,
        )),
        checked(flows_a <= line_w / line_v, **worded(
            "loads", "neutral-current", board=board, neutral_a=flows_a, line_a=line_w / line_v,
        )),
    ]


def board_v(line_v: float, phase: str) -> float:
    """Voltage that an appliance on a phase, or on all of them, is given [V].

    Parameters
    ----------
    line_v : float
        Line to neutral [V].
    phase : str
        As the site file has it.

    Examples
    --------
    >>> board_v(120.0, "two"), round(board_v(127.0, "three")), board_v(230.0, "any")
    (240.0, 220, 230.0)
    """
    return line_v * {"two": 2.0, "three": math.sqrt(3.0)}.get(phase, 1.0)


def voltage_checks(board: str, appliances: Sequence[Appliance], line_v: float) -> list[Check]:
    """Whether the rating plates of a board's appliances fit its voltage; nothing where none has.

    Parameters
    ----------
    board : str
    appliances : sequence of Appliance
    line_v : float
        Line to neutral [V].
    """
    given = [item for item in appliances if item.voltage_v is not None]
    wrong = [item for item in given if not fits(item.voltage_v or 0.0, board_v(line_v, item.phase))]
    if not given:
        return []
    shown = wrong or given
    return [checked(not wrong, "failed", **worded(
        "loads", "appliance-voltage", board=board,
        found=", ".join(f"{item.name} {item.voltage_v:g}" for item in shown),
        board_v=" or ".join(dict.fromkeys(f"{board_v(line_v, item.phase):.0f}" for item in shown)),
        within_percent=100.0 * VOLTAGE_WITHIN_FRAC, source=VOLTAGE_WITHIN.source,
    ))]  # fmt: skip


def fits(rated_v: float, given_v: float) -> bool:
    """Whether a rated voltage is near enough to the one that is given [V]."""
    return abs(rated_v - given_v) <= VOLTAGE_WITHIN_FRAC * given_v + 1e-9


def each_phase_checks(
    board: str, lists: Mapping[str, Sequence[Appliance]], line_w: float, line_va: float
) -> list[Check]:
    """Whether each phase's inverter bears its worst minute and its hardest start.

    Parameters
    ----------
    board : str
        Or boards, where they share their inverters.
    lists : mapping of phase to sequence of Appliance
        What is on each phase, from `on_phase`.
    line_w, line_va : float
        Continuous and surge power of the inverters on one phase [W, VA].
    """
    peaks = {phase: board_peaks(here) for phase, here in lists.items()}
    starts = {phase: one.surge_va or 0.0 for phase, one in peaks.items()}
    hardest = max(starts, key=lambda phase: starts[phase])
    name = peaks[hardest].starting
    return [
        checked(all(one.power_w <= line_w for one in peaks.values()), "failed", **worded(
            "loads", "phase-demand", board=board, line_w=line_w,
            each=_by_phase({phase: one.power_w for phase, one in peaks.items()}),
        )),
        checked(
            all(va <= line_va for va in starts.values()), "failed",
            evidence=peaks[hardest].surge_evidence, **worded(
                "loads", "phase-start", board=board, line_va=line_va, each=_by_phase(starts),
                starting=f"; {name} starts on phase {hardest}" if name else "",
            )),
    ]  # fmt: skip


def _by_phase(values: Mapping[str, float]) -> str:
    return ", ".join(f"{phase} {value:.0f}" for phase, value in values.items())


Row = dict[str, str | float]


def phase_table(plan: PhasePlan) -> list[Row]:
    """Appliances with their phase and VA on each, then the sums and the worst minutes."""
    names = list(plan.connected_va)
    rows: list[Row] = []
    for share in plan.shares:
        parts = {
            name: share.connected_va if share.phase == name
            else share.connected_va / len(names) if share.phase in ("two", "three") else 0.0
            for name in names
        }  # fmt: skip
        rows.append(_row(share.name, share.phase, "given" if share.given else "shared out", parts))
    return [*rows, _row("Connected", "", "", plan.connected_va),
            _row("Worst minute", "", "", plan.peak_va)]


def _row(name: str, phase: str, by: str, parts: Mapping[str, float]) -> Row:
    columns = {f"phase {place} [VA]": value for place, value in parts.items()}
    return {"appliance": name, "phase": phase, "placed": by, **columns}

