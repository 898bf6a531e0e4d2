"""What the currents of strings say: a fuse out, one string in shade, a sensor that sees less sun.

A sensor that is shaded, dirty or turned away reads too little sun: every string then stands high
alike against what is expected. All strings low alike: the whole array is dirty or in haze that
the sensor does not see, or the sensor is turned more to the sun than the modules.
"""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.commissioning.causes import NOTHING_FRAC, Cause, Reading, typical


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
        causes.append(_all_alike(alike, middle, working=working))
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
            key="reversed-string", ids=(each.id,),
            words=f"the current of {each.name} runs backwards: the string is reversed, other"
            " strings feed into it, or the clamp was the wrong way round",
            remedy="look at the arrow on the clamp; if it was right, array isolator off at once"
            " and measure each string's voltage alone",
        )  # fmt: skip
    return Cause(
        key="open-fuse", ids=(each.id,),
        words=f"{each.name} gives no current: a fuse blown or left out, a connector not mated, a"
        " switch open",
        remedy="isolator off, then the string's fuse and connectors; find out why it blew before"
        " a new one goes in",
    )  # fmt: skip


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
        return Cause(
            key="two-strings", ids=(each.id,),
            words=f"{each.name} gives twice the others: two strings in one clamp or on one fuse",
            remedy="look which cables run through the clamp; no fuse carries two strings",
        )  # fmt: skip
    return Cause(
        key="string-current-high", ids=(each.id,),
        words=f"{each.name} gives {100.0 * (share - 1.0):.0f} % more than the others: the sun"
        " changed between the readings, or the others are in shade or dirty",
        remedy="measure all strings again within a few minutes of steady sun",
    )  # fmt: skip


def _all_alike(live: Sequence[Reading], middle: float, *, working: bool) -> Cause:
    ids = tuple(each.id for each in live)
    if middle > 1.0:
        return Cause(
            key="sensor-shaded", ids=ids,
            words=f"{_who(live)} {100.0 * (middle - 1.0):.0f} % above what the irradiance"
            " read allows: its sensor is in shade, dirty or turned away from the sun",
            remedy="clean the sensor, lay it in the plane of the modules in full sun, measure"
            " again; then look at the clamp meter",
        )  # fmt: skip
    if working:
        return Cause(
            key="held-back", ids=ids,
            words=f"{_who(live)} {100.0 * (1.0 - middle):.0f} % below what the sun would give: the"
            " battery is full or the load small, so the controller holds the array back; or the"
            " whole array is dirty",
            remedy="measure again with a load on and the battery well below full",
        )  # fmt: skip
    return Cause(
        key="array-dirty", ids=ids,
        words=f"{_who(live)} {100.0 * (1.0 - middle):.0f} % below what the irradiance read asks:"
        " dirt or shade over it, or the irradiance sensor is turned more to the sun than the"
        " modules, or reads too much",
        remedy="wash one string and measure it again; lay the sensor in the plane of the modules",
    )  # fmt: skip


def _who(live: Sequence[Reading]) -> str:
    return f"{live[0].name} is" if len(live) == 1 else "all strings are alike,"
