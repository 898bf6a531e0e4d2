"""What readings of insulation, earth, residual devices and batteries say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.commissioning.line import (
    CELL_APART_V,
    NOTHING_FRAC,
    POLES,
    SUM_FRAC,
    Cause,
    CauseKey,
    TestLine,
    insulation_by_modules_ohm,
    plain_number,
)

DEAD_CELL_FRAC = float(constant("commissioning.dead_cell_frac"))


@dataclass(frozen=True, kw_only=True)
class Read:
    """A line with its value.

    Parameters
    ----------
    line : TestLine
    value : float
        In the unit of the line.
    """

    line: TestLine
    value: float

    @property
    def good(self) -> bool:
        """Whether it lies between the limits of its line."""
        low, high = self.line.low, self.line.high
        return (low is None or self.value >= low) and (high is None or self.value <= high)


def insulation_causes(reads: Sequence[Read], *, module_area_m2: float) -> list[Cause]:
    """Why insulation is low: one pole or both, modules together, or a part of the house.

    Parameters
    ----------
    reads : sequence of Read
        Every insulation line that was measured.
    module_area_m2 : float
        Of one module [m2].
    """
    causes = []
    for group in {read.line.group: None for read in reads}:
        of_group = [read for read in reads if read.line.group == group]
        bad = [read for read in of_group if not read.good]
        if not group:
            causes += [_one_circuit(read) for read in bad]
        elif len(bad) == 1 and len(of_group) > 1:
            causes.append(_one_pole(bad[0]))
        elif bad:
            causes.append(_both_poles(bad, module_area_m2))
    return causes


def _one_circuit(read: Read) -> Cause:
    return Cause(
        **worded("commissioning", "insulation-low", line_where=read.line.where),
        ids=(read.line.id,), remedy=read.line.remedy,
    )  # fmt: skip


def _one_pole(read: Read) -> Cause:
    pole = next(each for each in POLES if each in read.line.what)
    return Cause(
        **worded("commissioning", "pole-to-earth", line_where=read.line.where, pole=pole),
        ids=(read.line.id,),
    )  # fmt: skip


def _both_poles(bad: Sequence[Read], module_area_m2: float) -> Cause:
    line = bad[0].line
    least = insulation_by_modules_ohm(module_area_m2, line.count) / 1e6
    modules = (
        f"; {line.count} modules of the lowest permitted insulation have {plain_number(least)}"
        " MΩ together, so the modules alone may explain it" if min(
            read.value for read in bad) >= least else ""
    )  # fmt: skip
    return Cause(
        **worded("commissioning", "both-poles-to-earth", line_where=line.where, modules=modules),
        ids=tuple(read.line.id for read in bad),
    )  # fmt: skip


def earth_causes(reads: Sequence[Read]) -> list[Cause]:
    """Why a bond, the electrode, a residual device or the neutral's tie is not good."""
    outside = [_outside(read) for read in reads
               if read.good and read.line.assumed is not None and read.value > read.line.assumed]
    return [*(_earth(read) for read in reads if not read.good), *outside]


def _outside(read: Read) -> Cause:
    """A reading that its rule allows and the design did not reckon with."""
    return Cause(
        **worded("commissioning", "electrode-assumed", found=plain_number(read.value),
                 assumed=plain_number(read.line.assumed or 0.0)),
        ids=(read.line.id,),
    )  # fmt: skip


def _earth(read: Read) -> Cause:
    line, key = read.line, read.line.key
    high = line.high or 0.0
    found: dict[str, tuple[CauseKey, str]] = {
        "continuity": (
            "open-conductor", f"{line.what}: no path to earth: conductor missing or broken",
        ) if read.value > 100.0 * high else (
            "poor-bond", f"{line.what}: poor connection: paint, anodising or rust under the"
            f" clamp, or"
            " a loose one",
        ),
        "electrode": (
            "poor-earth", f"the earth electrode fails, {plain_number(read.value / high)} times"
            f" what is"
            " allowed: dry or stony soil, too few or too short rods, a loose clamp on the rod, or"
            " the auxiliary electrodes too close",
        ),
        "neutral": (
            "neutral-tie", "neutral floats: the neutral-earth bond is missing on one of the"
            " sources",
        ),
    }  # fmt: skip
    if key == "trip-time" and line.low is not None and read.value < line.low:
        return Cause(**worded("commissioning", "short-delay", where=line.where, low=line.low),
                     ids=(line.id,))  # fmt: skip
    if key in ("trip-time", "trip-current"):
        late = read.value > high
        words = (
            f"the residual current device of the {line.where} trips late or not at all: no"
            f" neutral-earth bond upstream of it, or the device is worn or of another type"
            if late else f"the residual current device of the {line.where} trips too soon:"
            f" leakage of connected equipment adds up, or neutral and earth touch downstream of it"
        )  # fmt: skip
        return Cause(key="residual-device", ids=(line.id,), words=words, remedy=line.remedy)
    cause, words = found.get(key, ("out-of-limits", f"{line.what}: outside its limits"))
    return Cause(key=cause, ids=(line.id,), words=words, remedy=line.remedy)


def unit_causes(reads: Sequence[Read]) -> list[Cause]:
    """Why units of one string, or of one bank in parallel, are not alike or not in range.

    Parameters
    ----------
    reads : sequence of Read
        Units of one group.
    """
    if not reads:
        return []
    cells = reads[0].line.count
    sound = [read.value for read in reads if read.good]
    middle = median(sound or [abs(read.value) for read in reads])
    causes = []
    for read in reads:
        apart = abs(read.value - middle) > cells * float(CELL_APART_V) + 1e-9
        if apart and (named := _unit(read, middle, cells)) is not None:
            causes.append(named)
        elif not read.good:
            causes.append(_charge(read))
    return causes


def _unit(read: Read, middle: float, cells: int) -> Cause | None:
    name, cell_v = read.line.where, middle / cells
    lost = (middle - read.value) / cell_v
    whole = round(lost)
    if read.value < -NOTHING_FRAC * middle:
        key, words = "unit-reversed", f"{name}: reversed, or the leads swapped"
    elif read.value <= NOTHING_FRAC * middle:
        key, words = "open-unit", f"{name}: no voltage: shorted, switched off by its own" \
            " management, or its terminal not touched"  # fmt: skip
    elif 1 <= whole < cells and abs(lost - whole) <= DEAD_CELL_FRAC:
        plural = "s" * (whole > 1)
        key, words = "dead-cell", f"{name}: short by the voltage of {whole} cell{plural}: dead"
    else:
        side = "below" if lost > 0.0 else "above"
        key, words = "unlike-unit", f"{name}: {plain_number(abs(read.value - middle))} V {side}" \
            " the others: unlike in charge, age or kind"  # fmt: skip
    return Cause(key=key, ids=(read.line.id,), words=words,  # type: ignore[arg-type]
                 remedy="isolate it: a hot, swollen or leaking unit is left alone and the place"
                 f" cleared. Else: {read.line.remedy}")


def _charge(read: Read) -> Cause:
    below = read.line.low is not None and read.value < read.line.low
    return Cause(
        key="not-charged" if below else "overcharged", ids=(read.line.id,),
        words=f"{read.line.where}: {'not charged yet' if below else 'still high from a charge'}",
        remedy="charge to full, let it rest for hours, measure again" if below else
        "let it rest for hours without charger, measure again",
    )  # fmt: skip


def sum_good(read: Read, units: Sequence[Read]) -> bool:
    """Whether a string of units has the voltage of its units together."""
    if len(units) < read.line.count:
        return read.good
    total = sum(abs(unit.value) for unit in units)
    return abs(read.value - total) <= float(SUM_FRAC) * total


def sum_cause(read: Read, units: Sequence[Read]) -> Cause:
    """Why a string of units does not have the voltage of its units together.

    Parameters
    ----------
    read : Read
        Of the whole string.
    units : sequence of Read
        Its units, as many as were measured.
    """
    ids, name, count = (read.line.id,), read.line.where, read.line.count
    one = median(abs(unit.value) for unit in units) if units else \
        ((read.line.low or 0.0) + (read.line.high or 0.0)) / 2.0 / count  # fmt: skip
    short = count - abs(read.value) / one
    steps = round(short)
    key: CauseKey
    if read.value < 0.0:
        key, words = "bank-reversed", f"{name}: positive and negative swapped, or the leads"
    elif abs(short - count) < NOTHING_FRAC * count:
        key, words = "link-missing", f"{name}: no voltage: a link is missing or a fuse is open"
    elif steps > 0 and steps % 2 == 0 and abs(short - steps) < 0.3:
        key, words = "unit-linked-backwards", (
            f"{name}: short by {steps} units: {steps // 2} linked backwards, or {steps} left out")
    elif steps != 0 and abs(short - steps) < 0.3:
        more = "left out by a wrong link" if steps > 0 else "too many in it"
        key, words = "link-missing", f"{name}: off by {abs(steps)} unit{'s' * (abs(steps) > 1)}:" \
            f" {more}"  # fmt: skip
    else:
        key, words = "sum-wrong", f"{name}: not the sum of its units: a loose link, or a reading" \
            " taken while it was charged or used"  # fmt: skip
    return Cause(key=key, ids=ids, words=words, remedy=read.line.remedy)
