"""What voltages and currents of strings say: a module short, a fuse out, one string in shade.

A module's voltage is counted in steps: its groups of cells, one behind each bypass diode, then
whole modules. A diode that has failed short takes its group's voltage away, and so does a group
that is cut off, whose current then runs through its diode. A diode that has failed open does not
show here at all: it shows when its group is shaded and the string's current falls.

A sensor that is shaded, dirty or turned away reads too little sun: every string then stands high
alike against what is expected. All strings low alike: the whole array is dirty or in haze that
the sensor does not see, or the sensor is turned more to the sun than the modules.
"""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.commissioning.line import (
    NOTHING_FRAC,
    SENSITIVE_FRAC,
    Cause,
    CauseKey,
    Reading,
    typical,
)

_SHARE = {2: "half", 3: "third", 4: "quarter"}
NEAR_STEP = float(constant("commissioning.near_step"))
SHARE_OF_STEP = float(constant("commissioning.share_of_step"))


def apart_limit(modules: int, bypass_diodes: int, within: float) -> float:
    """How far strings of so many modules may lie apart before one is looked at, [0 to 1].

    One group of cells is 1 / (modules x diodes) of a string: with many modules that is less than
    the tolerance, and a comparison must be finer. Below two percent readings scatter anyway: in a
    string of eleven modules and more with three diodes each, one dead group can hide.

    Parameters
    ----------
    modules, bypass_diodes : int
    within : float
        Tolerance of the site file, [0 to 1].
    """
    step = SHARE_OF_STEP / (modules * bypass_diodes)
    return min(within, max(step, float(SENSITIVE_FRAC)))


def voltage_causes(
    readings: Sequence[Reading], *, bypass_diodes: int, within: float
) -> list[Cause]:
    """Likely causes behind strings that are off, none where all are good.

    Parameters
    ----------
    readings : sequence of Reading
        Of voltages; all strings of the site that were measured.
    bypass_diodes : int
        Of one module.
    within : float
        Tolerance, [0 to 1].
    """
    live = [each for each in readings if each.ratio > NOTHING_FRAC]
    middle = typical([each.ratio for each in live])
    causes = [_no_voltage(each) for each in readings if each.ratio <= NOTHING_FRAC]
    if abs(middle - 1.0) > within and len(live) > 1 and _alike(live, middle, bypass_diodes, within):
        return [*causes, _all_voltages_alike(live, middle)]
    reference = _reference(live, middle, bypass_diodes, within)
    for each in live:
        limit = apart_limit(each.modules, bypass_diodes, within)
        if abs(each.ratio - 1.0) > within or abs(each.ratio / reference - 1.0) > limit:
            causes.append(_by_steps(each, reference, bypass_diodes))
    return causes


def _reference(
    live: Sequence[Reading], middle: float, bypass_diodes: int, within: float
) -> float:
    """The ratio of a sound string: the middle one, unless others stand above it by a part.

    Groups of cells can be lost but not added: where some strings are higher than the middle one
    by such a part, it is most of the strings that lost it.
    """
    if abs(middle - 1.0) > within:
        return 1.0
    raised = [middle]
    for each in live:
        more = each.modules * bypass_diodes * (each.ratio / middle - 1.0)
        steps = round(more)
        above = each.ratio / middle - 1.0 > apart_limit(each.modules, bypass_diodes, within)
        if above and 0 < steps < bypass_diodes and abs(more - steps) <= NEAR_STEP and (
            abs(each.ratio - 1.0) <= within
        ):
            raised.append(each.ratio)
    return max(raised)


def _alike(live: Sequence[Reading], middle: float, bypass_diodes: int, within: float) -> bool:
    return all(
        abs(each.ratio / middle - 1.0) <= apart_limit(each.modules, bypass_diodes, within)
        for each in live
    )


def _no_voltage(each: Reading) -> Cause:
    if each.ratio < -NOTHING_FRAC:
        return Cause(
            **worded("commissioning", "reversed-string", each_name=each.name), ids=(each.id,),
        )  # fmt: skip
    return Cause(**worded("commissioning", "open-string", each_name=each.name), ids=(each.id,))


def _all_voltages_alike(live: Sequence[Reading], middle: float) -> Cause:
    """Every string off alike: the instruments, the module entry, or the same mistake each time."""
    ids = tuple(each.id for each in live)
    short = live[0].modules * (1.0 - middle)
    whole = round(short)
    if whole != 0 and abs(short - whole) <= NEAR_STEP / 3.0:
        more = "fewer" if whole > 0 else "more"
        return Cause(
            key="modules-missing" if whole > 0 else "modules-added", ids=ids,
            words=f"every string has about {abs(whole)} module{'s' * (abs(whole) > 1)} {more} than"
            " the site file says, or they are other modules",
            remedy="count the modules of a string; compare their plates with the site file",
        )  # fmt: skip
    return Cause(
        **worded(
            "commissioning", "temperature-reading", middle_said='low' if middle < 1.0 else 'high',
        ),
        ids=ids,
    )  # fmt: skip


def _by_steps(each: Reading, reference: float, bypass_diodes: int) -> Cause:
    short = each.modules * (1.0 - each.ratio / reference)
    steps = round(short * bypass_diodes)
    near = abs(short * bypass_diodes - steps) <= NEAR_STEP
    if steps == 0 or not near:
        return _between(each, short)
    if steps % bypass_diodes == 0:
        return _whole_modules(each, steps // bypass_diodes)
    if steps < 0:
        return _between(each, short)
    whole, groups = divmod(steps, bypass_diodes)
    part = _SHARE.get(bypass_diodes, f"one part in {bypass_diodes}")
    lost = f"{groups} {part}{'s' * (groups > 1)} of a module" if groups > 1 else \
        f"a {part} of a module" if bypass_diodes in _SHARE else f"{part} of a module"  # fmt: skip
    and_more = f" and {whole} whole module{'s' * (whole > 1)}" if whole else ""
    return Cause(
        **worded(
            "commissioning", "bypass-diode", each_name=each.name, lost=lost, and_more=and_more,
        ),
        ids=(each.id,),
    )  # fmt: skip


def _whole_modules(each: Reading, count: int) -> Cause:
    number = abs(count)
    plural = "s" * (number > 1)
    if count < 0:
        return Cause(
            key="modules-added", ids=(each.id,),
            words=f"{each.name} has about {number} module{plural} too many",
            remedy="count its modules; check the cold voltage against the controller before it is"
            " connected",
        )  # fmt: skip
    key: CauseKey = "modules-missing" if number % 2 else "module-reversed"
    turned = "" if number % 2 else (
        f", or {number // 2} module{'s' * (number > 2)} in it the wrong way round"
    )
    return Cause(
        key=key, ids=(each.id,),
        words=f"{each.name} is short by {number} module{plural}: missing or bridged{turned}",
        remedy="count its modules and follow the cable from connector to connector",
    )  # fmt: skip


def _between(each: Reading, short: float) -> Cause:
    if short >= 0.0:
        return Cause(**worded("commissioning", "voltage-low", each_name=each.name), ids=(each.id,))
    return Cause(**worded("commissioning", "voltage-high", each_name=each.name), ids=(each.id,))


def current_causes(readings: Sequence[Reading], *, within: float, working: bool) -> list[Cause]:
    """Likely causes behind currents that are off, none where all are good.

    Parameters
    ----------
    readings : sequence of Reading
        Of currents; all strings of the site that were measured in enough light.
    within : float
        Tolerance, [0 to 1].
    working : bool
        Currents at work, which a full battery holds back: only compared with one another and
        with the most there can be.
    """
    causes = [_no_current(each) for each in readings if each.ratio <= NOTHING_FRAC]
    live = [each for each in readings if each.ratio > NOTHING_FRAC]
    if not live:
        return causes
    middle = typical([each.ratio for each in live])
    off = [each for each in live if abs(each.ratio / middle - 1.0) > within]
    causes += [_one(each, middle) for each in off]
    alike = tuple(each for each in live if each not in off)
    if abs(middle - 1.0) > within:
        causes.append(_all_currents_alike(alike, middle, working=working))
    else:
        causes += [_edge(each) for each in alike if abs(each.ratio - 1.0) > within]
    return causes


def _edge(each: Reading) -> Cause:
    """Like its neighbours, which stand just within the tolerance."""
    side = "below" if each.ratio < 1.0 else "above"
    return Cause(
        key="current-doubtful", ids=(each.id,),
        words=f"{each.name} is like the others and they stand near the tolerance:"
        f" {100.0 * abs(each.ratio - 1.0):.1f} % {side} what is expected: dirt, or the sensor and"
        " its plane",
        remedy="wash, lay the sensor in the plane of the modules and measure all strings again",
    )  # fmt: skip


def _no_current(each: Reading) -> Cause:
    if each.ratio < -NOTHING_FRAC:
        return Cause(
            **worded("commissioning", "reversed-string-no-current", each_name=each.name),
            ids=(each.id,),
        )  # fmt: skip
    return Cause(**worded("commissioning", "open-fuse", each_name=each.name), ids=(each.id,))


def _one(each: Reading, middle: float) -> Cause:
    share = each.ratio / middle
    if share < 1.0:
        return Cause(
            key="string-current-low", ids=(each.id,),
            words=f"{each.name} gives {100.0 * (1.0 - share):.0f} % less than the others: shade or"
            " dirt on a part of it, or a module that does not match or is cracked",
            remedy="look for shade, dirt and glass; measure at another hour; then module by module",
        )  # fmt: skip
    if 1.8 <= share <= 2.2:
        return Cause(**worded("commissioning", "two-strings", each_name=each.name), ids=(each.id,))
    return Cause(
        key="string-current-high", ids=(each.id,),
        words=f"{each.name} gives {100.0 * (share - 1.0):.0f} % more than the others: the sun"
        " changed between the readings, or the others are in shade or dirty",
        remedy="measure all strings again within a few minutes of steady sun",
    )  # fmt: skip


def _all_currents_alike(live: Sequence[Reading], middle: float, *, working: bool) -> Cause:
    ids = tuple(each.id for each in live)
    if middle > 1.0:
        return Cause(
            **worded(
                "commissioning", "sensor-shaded", who=_who(live), middle=100.0 * (middle - 1.0),
            ),
            ids=ids,
        )  # fmt: skip
    if working:
        return Cause(
            **worded("commissioning", "held-back", who=_who(live), middle=100.0 * (1.0 - middle)),
            ids=ids,
        )  # fmt: skip
    return Cause(
        **worded("commissioning", "array-dirty", who=_who(live), middle=100.0 * (1.0 - middle)),
        ids=ids,
    )  # fmt: skip


def _who(live: Sequence[Reading]) -> str:
    return f"{live[0].name} is" if len(live) == 1 else "all strings are alike,"
