"""The table of allowed strings, checks of the site's own, and what strings and ends are called."""

from __future__ import annotations

import math
from itertools import groupby, islice

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import FROM_MEMORY
from solarcalc.basis.worded import worded
from solarcalc.sitefile.site import Site
from solarcalc.wiring.string_plan import (
    ABOVE_BANK_V,
    LIGHT_FACTOR,
    StringCase,
    StringRow,
    least_working_v,
    series_limits,
    string_row,
    table_open_circuit_v,
)

MOST_COUNT = 30
"""Series or parallel counts shown at most; a longer table is not read."""


def string_plan(
    case: StringCase, most_series: int | None = None, most_strings: int | None = None
) -> tuple[StringRow, ...]:
    """Every series and parallel count, checked.

    Parameters
    ----------
    case : StringCase
    most_series : int, optional
        Left out: one more than the voltage allows.
    most_strings : int, optional
        Left out: one more for each controller than its charge current asks for.
    """
    least, most = series_limits(case)
    series = most_series or min(max(most, 1) + 1, MOST_COUNT)
    strings = most_strings or _most_strings(case, max(min(least, most), 1))
    return tuple(
        string_row(case, modules, parallel)
        for modules in range(1, series + 1)
        for parallel in range(1, strings + 1)
    )


def _most_strings(case: StringCase, series: int) -> int:
    """Strings of the shortest kind that fill all controllers, and one more each."""
    controller, module = case.controller, case.module
    each_w = module.pmax_w * series * controller.efficiency_frac
    full = math.ceil(controller.max_charge_current_a * case.bank_v / each_w)
    return min((full + 1) * controller.count, MOST_COUNT)


def allowed_table(rows: tuple[StringRow, ...]) -> list[dict[str, object]]:
    """Rows for a table on the page: string counts that fare alike share a line.

    The reason stands beside every line that is not allowed, by the figures of its first count.
    """
    lines = []
    for series in sorted({row.series for row in rows}):
        same = sorted((row for row in rows if row.series == series), key=lambda row: row.strings)
        for outcome, group in groupby(same, key=_outcome):
            alike = list(group)
            first, last = alike[0], alike[-1]
            span = f"{first.strings}"
            if len(alike) > 1:
                span += f" to {last.strings}"
            why = "; ".join(first.reasons or first.reviews)
            lines.append({
                "in series": series,
                "strings": span,
                "cold open circuit [V]": first.cold_voc_v,
                "hot working [V]": first.hot_working_v,
                "array up to [kW]": last.power_w / 1000.0,
                "charge up to, fullest controller [A]": last.charge_a,
                "allowed": outcome,
                "why": f"from {first.strings} on: {why}" if first.strings > 1 and why else why,
            })
    return lines


def _outcome(row: StringRow) -> str:
    return "no" if row.reasons else "to review" if row.reviews else "yes"


def plan_sentence(case: StringCase) -> str:
    """Which series counts fit, in one sentence."""
    least, most = series_limits(case)
    between = (
        f"between {_celsius(case.coldest_c)} at dawn and cells of {_celsius(case.hottest_cell_c)}"
    )
    if least > most:
        return (
            f"No number of these modules in series fits {case.controller.label} {between}: heat"
            f" asks for {least} or more, cold allows {most}."
        )
    counts = f"{least}" if least == most else f"{least} to {most}"
    return f"{counts} modules in series fit {case.controller.label} {between}."


def _celsius(temp_c: float) -> str:
    return f"{temp_c:.0f}\u00a0°C".replace("-", "−")


def string_checks(case: StringCase, series: int, strings: int) -> list[Check]:
    """Checks of the site's own strings.

    Parameters
    ----------
    case : StringCase
    series, strings : int
        Modules in series; strings in parallel over all controllers.
    """
    row = string_row(case, series, strings)
    least, most = series_limits(case)
    return [
        *_cold_checks(case, row, most),
        *_window_checks(case, row, least, most),
        *_current_checks(case, row),
    ]


def _cold_checks(case: StringCase, row: StringRow, most: int) -> list[Check]:
    limit_v = case.controller.max_pv_voltage_v
    few = f"at most {most} in series" if most else "a controller of a higher voltage"
    cold = _celsius(case.coldest_c)
    checks = [
        checked(row.cold_voc_v <= limit_v, "failed", **worded(
            "wiring", "open-circuit-string", cold=cold, cold_voc_v=row.cold_voc_v, limit_v=limit_v,
            few=few,
        )),
        checked(row.cold_voc_v <= case.system_max_v, "failed", **worded(
            "wiring", "open-circuit-string-cold-checks", cold=cold, cold_voc_v=row.cold_voc_v,
            system_max_v=case.system_max_v, few=few,
        )),
    ]
    by_table_v = table_open_circuit_v(case.module, case.coldest_c)
    if by_table_v is not None:
        checks.append(
            checked(row.series * by_table_v <= limit_v, **worded(
                "wiring", "same-table-factors", cold=cold, series=row.series * by_table_v,
                limit_v=limit_v,
            ))
        )
    return checks


def _window_checks(case: StringCase, row: StringRow, least: int, most: int) -> list[Check]:
    controller, asked_v = case.controller, least_working_v(case)
    if least <= most:
        more = f"at least {least} in series"
    else:
        more = "another module or controller: no series count fits both heat and cold"
    return [
        checked(row.hot_working_v >= asked_v, "failed", **worded(
            "wiring", "working-voltage-string", hottest_cell_c=_celsius(case.hottest_cell_c),
            hot_working_v=row.hot_working_v, asked_v=asked_v,
            min_tracking_voltage_v=controller.min_tracking_voltage_v,
            above_bank_v=float(ABOVE_BANK_V), bank_top_v=case.bank_top_v, more=more,
        )),
        checked(row.cold_working_v <= controller.max_tracking_voltage_v, **worded(
            "wiring", "working-voltage-string-window-checks", coldest_c=_celsius(case.coldest_c),
            cold_working_v=row.cold_working_v,
            max_tracking_voltage_v=controller.max_tracking_voltage_v,
        )),
    ]


def _current_checks(case: StringCase, row: StringRow) -> list[Check]:
    controller = case.controller
    limit_a = controller.max_charge_current_a
    fullest_w = row.power_w * -(-row.strings // controller.count) / row.strings
    each = limit_a / row.charge_a * fullest_w / case.module.pmax_w
    fits = math.floor(controller.count * each + 1e-9)
    return [
        checked(round(row.charge_a, 1) <= limit_a, **worded(  # as printed: nothing is damaged
            "wiring", "charge-current-full", charge_a=row.charge_a, limit_a=limit_a,
            bank_v=case.bank_v, fits=fits, efficiency_frac=controller.efficiency_frac,
            power_w=fullest_w,
            controllers="the controller" if controller.count == 1 else f"all {controller.count}",
        )),
        checked(row.circuit_a <= limit_a, **worded(
            "wiring", "short-circuit-strings", circuit_a=row.circuit_a, limit_a=limit_a,
            light_factor=float(LIGHT_FACTOR),
        )),
        checked(
            row.strings % controller.count == 0,
            **worded("wiring", "strings-shared-out", strings=row.strings, count=controller.count),
        ),
    ]


COLOUR_RULE = f"IEC 60445:2021, {FROM_MEMORY}"


def strings_by_plane(site: Site) -> tuple[tuple[str, ...], ...]:
    """Names of the strings of each roof plane, numbered on from plane to plane."""
    names = iter(string_names(site.string_count))
    return tuple(tuple(islice(names, one.array.string_count)) for one in site.sites)


def string_names(strings: int) -> tuple[str, ...]:
    """S1, S2 and so on.

    Raises
    ------
    InputError
        When there is none.
    """
    if strings < 1:
        fault = Fault(where="strings in parallel", given=f"{strings}", allowed="1 or more")
        raise InputError(fault)
    return tuple(f"S{number}" for number in range(1, strings + 1))


def core_colour_rows() -> list[dict[str, object]]:
    """Colours of cores; the local code decides where it says otherwise."""
    note = "local code decides; mark both ends with letters whatever the colour"
    return [
        {"core": "plus, L+", "colour": "red", "source": COLOUR_RULE, "note": note},
        {"core": "minus, L−", "colour": "white", "source": COLOUR_RULE,
         "note": f"black is common, and black for both on solar cable; {note}"},
        {"core": "line L1, L2, L3", "colour": "brown, black, grey", "source": COLOUR_RULE,
         "note": note},
        {"core": "neutral N", "colour": "blue", "source": COLOUR_RULE, "note": note},
        {"core": "protective earth", "colour": "green-and-yellow, for nothing else",
         "source": COLOUR_RULE, "note": note},
        {"core": "functional earth", "colour": "pink", "source": COLOUR_RULE, "note": note},
    ]  # fmt: skip


def polarity_steps(site: Site, cold_voc_v: float) -> tuple[str, ...]:
    """How the polarity is proved before anything is closed, step by step (IEC 62446-1).

    From plus to plus of two strings, one of them reversed, stands twice the voltage of a string:
    the meter must be made for that.

    Parameters
    ----------
    site : Site
    cold_voc_v : float
        Open circuit of a string at the record low [V].
    """
    names = string_names(site.string_count)
    meter_v = cold_voc_v * (2.0 if len(names) > 1 else 1.0)
    which = names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}, one at a time"
    series = " or ".join(dict.fromkeys(f"{one.array.modules_in_series}" for one in site.sites))
    alike = "strings" if " or " not in series else "strings of as many modules"
    steps = [
        "All isolators off, fuse carriers open, controllers and battery parted.",
        f"Meter and leads made for {math.ceil(meter_v)} V direct current or more, insulating"
        " gloves; test the meter on a known source first.",
        f"Strings {which}: red lead on the end marked plus, black on minus. The reading must be"
        " positive; a minus sign means swapped ends.",
        f"Write the voltage down. {series} modules each: {alike} within"
        " 5 % of one another in the same light.",
    ]
    if len(names) > 1:
        steps += [
            "In the combiner, first put two strings' minus ends on the bar and measure from plus to"
            " plus: near 0 V. Near twice the string voltage means that one is reversed; do not"
            " close.",
            "Repeat for each further string against the first.",
        ]
    steps += [
        "At the array isolator's inlet, isolator open and locked, its outlet not yet connected:"
        " plus is plus, voltage as before. Then connect the controller, the battery side first.",
        f"The same for the battery: {site.battery.nominal_voltage_v:.0f} V, plus is plus, before"
        " its fuse is closed.",
        "Never trust the colour of a sheath or the plug alone: makers' leads have been swapped.",
        "Live direct current is work for licensed people, under local codes, never alone.",
    ]
    return tuple(steps)
