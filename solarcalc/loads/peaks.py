"""The worst minute of a board and its hardest start, and whether an inverter bears them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from solarcalc.basis.check import Check, Evidence, checked
from solarcalc.basis.worded import worded
from solarcalc.loads.days import MINUTES_IN_DAY, Used, used_together
from solarcalc.sitefile.loads import Appliance
from solarcalc.sitefile.starting import ApplianceKind, kind_of


@dataclass(frozen=True, kw_only=True)
class Peaks:
    """Largest demands of a board in the year.

    Parameters
    ----------
    power_w : float
        Active power in the worst minute [W], everything in use in that minute running at once.
    power_at : str
        Clock of that minute, ``"HH:MM"``; empty without a load.
    apparent_va : float or None
        Apparent power in the worst minute [VA]; None where it was not measured.
    surge_va : float or None
        Hardest single start, on top of everything else that runs in that minute [VA]; None where
        it is not known.
    starting : str
        The appliance that starts; empty where none starts harder than it runs.
    surge_at : str
        Clock of that minute.
    surge_evidence : str
        What that start rests on: assumed where it is the one of the appliance's kind.
    """

    power_w: float
    power_at: str = ""
    apparent_va: float | None = None
    surge_va: float | None = None
    starting: str = ""
    surge_at: str = ""
    surge_evidence: Evidence = "computed"


def running_va(item: Appliance) -> float:
    """Apparent power of one of an appliance as it runs [VA]: P / pf."""
    return item.power_w / item.power_factor


def starting_va(item: Appliance) -> float:
    """Apparent power of one of an appliance as it starts [VA].

    Its own `surge_va`, or the running apparent power times `surge_factor`: at the same voltage
    the apparent powers are as the currents. Without either it is that of its kind, with the power
    factor of the kind where the line gives none; as it runs where the kind is not known.
    """
    if item.surge_va is not None:
        return item.surge_va
    if item.surge_factor is not None:
        return running_va(item) * item.surge_factor
    kind = assumed_kind(item)
    if kind is None:
        return running_va(item)
    power_factor = item.power_factor if item.power_factor < 1.0 else kind.power_factor
    return item.power_w / power_factor * kind.surge_factor


def assumed_kind(item: Appliance) -> ApplianceKind | None:
    """The kind by which a start is taken; None where it is given, not known, or there is none."""
    if not _start_missing(item):
        return None
    kind = kind_of(item.name, item.kind)
    return kind if kind is not None and kind.surge_factor > 1.0 else None


def _start_missing(item: Appliance) -> bool:
    return item.surge_va is None and item.surge_factor is None


def board_peaks(appliances: Sequence[Appliance]) -> Peaks:
    """Worst minute and hardest start of an appliance list over all days of the year.

    Parameters
    ----------
    appliances : sequence of Appliance

    Returns
    -------
    Peaks

    Notes
    -----
    All that may be in use in a minute is taken to run at once, duty left out: a cautious count.
    Apparent powers are added as numbers; the true sum of currents that are not in step is at
    most that (triangle inequality). Start: max over i of (sum of running - S_i + start_i) over
    the single units i in use in the minute (trade practice).

    Examples
    --------
    >>> pump = Appliance(name="pump", power_w=800.0, power_factor=0.8, surge_factor=4.0,
    ...                  use=["10:00-12:00"])
    >>> fan = Appliance(name="fan", power_w=100.0, use=["08:00-20:00"])
    >>> board_peaks([pump, fan]).surge_va  # 100 VA and a start of 4 x 1000 VA
    4100.0
    """
    worst = Peaks(power_w=0.0, apparent_va=0.0, surge_va=0.0)
    for used in used_together(appliances):
        worst = _worse(worst, _peaks_of_day(used))
    return worst


def _peaks_of_day(used: Used) -> Peaks:
    power_w, apparent_va = np.zeros(MINUTES_IN_DAY), np.zeros(MINUTES_IN_DAY)
    for item, on in used:
        power_w += on * (item.power_w * item.count)
        apparent_va += on * (running_va(item) * item.count)
    surge_va, starting, surge_at = 0.0, "", ""
    evidence: Evidence = "computed"
    for item, on in used:
        start = starting_va(item) - running_va(item)
        total = np.where(on, apparent_va + start, 0.0)
        if total.max() > surge_va:
            surge_va = float(total.max())
            starting = item.name if start > 0.0 else ""
            surge_at = _clock(int(total.argmax()))
            evidence = "assumed" if assumed_kind(item) else "computed"
    return Peaks(
        power_w=float(power_w.max()),
        power_at=_clock(int(power_w.argmax())) if power_w.max() > 0.0 else "",
        apparent_va=float(apparent_va.max()),
        surge_va=surge_va,
        starting=starting,
        surge_at=surge_at,
        surge_evidence=evidence,
    )


def _worse(one: Peaks, other: Peaks) -> Peaks:
    """The larger of each figure, with its own clock and name."""
    power = one if one.power_w >= other.power_w else other
    surge = one if (one.surge_va or 0.0) >= (other.surge_va or 0.0) else other
    return Peaks(power_w=power.power_w, power_at=power.power_at,
                 apparent_va=max(one.apparent_va or 0.0, other.apparent_va or 0.0),
                 surge_va=surge.surge_va, starting=surge.starting, surge_at=surge.surge_at,
                 surge_evidence=surge.surge_evidence)


def _clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"


def measured_peaks(profile_w: Sequence[float] | np.ndarray) -> Peaks:
    """Largest mean of the intervals of a measured profile; power factor and starts not known.

    Parameters
    ----------
    profile_w : array, shape (n,), [W]
        A day in equal parts, or the hours of a year.
    """
    values = np.asarray(profile_w, dtype=float)
    most = int(values.argmax())
    parts = 24 if len(values) > MINUTES_IN_DAY else len(values)
    minute = (most % parts) * MINUTES_IN_DAY // parts
    return Peaks(power_w=float(values[most]), power_at=_clock(minute) if values[most] else "")


def rating_checks(
    board: str, peaks: Peaks, continuous_w: float, surge_va: float, *,
    continuous_va: float | None = None,
) -> list[Check]:  # fmt: skip
    """Whether an inverter bears the worst minute of a board and its hardest start.

    Parameters
    ----------
    board : str
    peaks : Peaks
    continuous_w, surge_va : float
        Ratings of the inverter [W, VA].
    continuous_va : float, optional
        Its continuous rating in VA where the sheet has one; else the watts are taken for it, and
        a board beyond them has a caution, not a fail.
    """
    power = checked(
        peaks.power_w <= continuous_w, "failed",
        **worded("loads", "worst-minute-board", board=board, continuous_w=continuous_w),
        found=_at(f"{peaks.power_w:.0f}", peaks.power_at),
    )  # fmt: skip
    return [power, _apparent_check(board, peaks, continuous_w, continuous_va),
            _surge_check(board, peaks, surge_va)]


def _at(figure: str, clock: str) -> str:
    return f"{figure} at {clock}" if clock else figure


def _apparent_check(
    board: str, peaks: Peaks, continuous_w: float, continuous_va: float | None
) -> Check:
    item = f"Apparent power of the {board} board on its inverter"
    limit_va = continuous_w if continuous_va is None else continuous_va
    if peaks.apparent_va is None:
        return _not_known(item, f"at most {limit_va:.0f}", "the profile holds watts alone")
    taken = "" if continuous_va is not None else "; the rating in W is taken for the one in VA"
    return checked(
        peaks.apparent_va <= limit_va, "review" if continuous_va is None else "failed",
        **worded(
            "loads", "apparent-check", apparent_va=peaks.apparent_va, limit_va=limit_va,
            taken=taken,
        ),
        item=item,
    )  # fmt: skip


def _surge_check(board: str, peaks: Peaks, surge_va: float) -> Check:
    item = f"Hardest start on the {board} board"
    if peaks.surge_va is None:
        return _not_known(item, f"at most {surge_va:.0f}", "a mean over minutes hides a start")
    name = f"{peaks.surge_va:.0f}" if not peaks.starting else (
        f"{peaks.surge_va:.0f} as {peaks.starting} starts at {peaks.surge_at}"
    )
    return checked(
        peaks.surge_va <= surge_va, "failed", **worded("loads", "surge-check", surge_va=surge_va),
        item=item, found=name, evidence=peaks.surge_evidence,
    )  # fmt: skip


def start_checks(board: str, appliances: Sequence[Appliance]) -> list[Check]:
    """Motors whose start is that of their kind, to look at; appliances of which none is known.

    Parameters
    ----------
    board : str
    appliances : sequence of Appliance
        Lines that give a start of their own have no part in it.
    """
    checks = []
    assumed = {item.name: kind for item in appliances if (kind := assumed_kind(item))}
    if assumed:
        found = ", ".join(f"{name} {kind.surge_factor:g} times as {kind.kind}"
                          for name, kind in assumed.items())
        checks.append(Check(outcome="review", evidence="assumed", **worded(
            "loads", "starts-assumed", board=board, starts=found,
        )))  # fmt: skip
    unknown = dict.fromkeys(
        item.name for item in appliances
        if _start_missing(item) and kind_of(item.name, item.kind) is None
    )
    if unknown:
        checks.append(Check(outcome="not assessed", **worded(
            "loads", "starts-unknown", board=board, names=", ".join(unknown),
        )))  # fmt: skip
    return checks


def _not_known(item: str, limit: str, why: str) -> Check:
    return Check(rule="loads/peak-unknown", kind="supply", item=item, found="not known",
                 limit=limit, unit="VA", outcome="review",
                   clause=f"measured profile: {why}",
                   remedy="list the appliances with motors and their plates, or measure a start")
