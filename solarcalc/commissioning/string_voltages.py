"""What the open-circuit voltages of strings say: a module short, a group cut out, plus for minus.

A module's voltage is counted in steps: its groups of cells, one behind each bypass diode, then
whole modules. A diode that has failed short takes its group's voltage away, and so does a group
that is cut off, whose current then runs through its diode. A diode that has failed open does not
show here at all: it shows when its group is shaded and the string's current falls.
"""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.basis.sourced import constant
from solarcalc.commissioning.causes import NOTHING_FRAC, Cause, CauseKey, Reading, typical
from solarcalc.commissioning.limits import SENSITIVE_FRAC

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
        return [*causes, _all_alike(live, middle)]
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
            key="reversed-string", ids=(each.id,),
            words=f"{each.name} is reversed: plus and minus are swapped",
            remedy="keep it apart from every other string; swap its two cables at the string's"
            " end, label them, measure again",
        )  # fmt: skip
    return Cause(
        key="open-string", ids=(each.id,),
        words=f"{each.name} is open: a connector not mated, a cable cut, a fuse or switch open",
        remedy="halve the string with the meter: measure from one end to each connector in turn",
    )  # fmt: skip


def _all_alike(live: Sequence[Reading], middle: float) -> Cause:
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
        key="temperature-reading", ids=ids,
        words=f"all strings are {'low' if middle < 1.0 else 'high'} alike: the cell temperature is"
        " read wrongly (a sensor off the back of the module, in the wind or in the shade), or the"
        " modules are not those of the site file",
        remedy="tape the sensor to the back of a cell in the middle of the array, wait, measure"
        " again; compare the plates with the site file",
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
        key="bypass-diode", ids=(each.id,),
        words=f"{each.name} is short by the voltage of about {lost}{and_more}: a bypass diode that"
        " has failed, or a group of cells cut off so that its diode carries the current",
        remedy="measure module by module: one of them is low by that part; look for a warm"
        " junction box with a contactless thermometer; replace the module or its diode",
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
        return Cause(
            key="voltage-low", ids=(each.id,),
            words=f"{each.name} is low, by no whole part of a module: a weak module, a wet"
            " connector, or the cells were warmer than written",
            remedy="measure it again with the temperature of that minute, then module by module",
        )  # fmt: skip
    return Cause(
        key="voltage-high", ids=(each.id,),
        words=f"{each.name} is high, by no whole module: other modules in it, or the cells were"
        " cooler than written",
        remedy="measure it again with the temperature of that minute; compare the plates",
    )  # fmt: skip
