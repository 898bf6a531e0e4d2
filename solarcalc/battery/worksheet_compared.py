"""The worksheet beside the hour-by-hour balance: verdicts, and why the two differ."""

from __future__ import annotations

import math

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.battery.worksheet import (
    ARRAY_TO_LOAD,
    ARRAY_TO_LOAD_CRITICAL,
    ARRAY_TO_LOAD_ORDINARY,
    BATTERY_BOOK,
    SizingInput,
    Worksheet,
    cold_factor,
)
from solarcalc.sitefile.chemistry import Chemistry

ALIKE_FRAC = float(constant("battery.alike_frac"))


def worksheet_verdicts(
    sheet: Worksheet,
    figures: SizingInput,
    *,
    installed_wh: float,
    installed_strings: int,
    kind: Chemistry,
) -> tuple[Verdict, ...]:
    """The bank and array of the site against what the book asks for.

    Parameters
    ----------
    sheet : Worksheet
    figures : SizingInput
        What it was filled in with.
    installed_wh : float
        Rated energy of the site's bank [Wh].
    installed_strings : int
        Module strings of the site.
    kind : Chemistry
        The book is for lead-acid; for another kind it is shown for comparison only.
    """
    required_wh = sheet.required_capacity_ah * figures.bank_voltage_v
    ratio = sheet.array_to_load * installed_strings / sheet.strings
    target = ARRAY_TO_LOAD_CRITICAL if figures.critical else ARRAY_TO_LOAD_ORDINARY
    book = BATTERY_BOOK if kind.in_sizing_worksheet else (
        f"{BATTERY_BOOK}, written for lead-acid: a comparison only")  # fmt: skip
    most = math.inf if kind.bank.most_strings is None else kind.bank.most_strings
    return (
        judged(
            installed_wh >= required_wh,
            item="Bank against the sizing worksheet",
            found=f"{installed_wh / 1000.0:.1f}", limit=f"{required_wh / 1000.0:.1f}", unit="kWh",
            clause=book,
            remedy="a larger bank, fewer days of autonomy with a generator, or less use; see what"
            " the hour-by-hour year says",
        ),
        judged(
            ratio >= target,
            item="Array-to-load ratio of the worst month",
            found=f"{ratio:.2f}", limit=f"{target:g}", unit="",
            clause=ARRAY_TO_LOAD.source,
            remedy="more modules, a steeper tilt for the worst month, or less use in it",
        ),
        judged(
            sheet.units_in_parallel <= most,
            item="Battery strings in parallel, by the worksheet",
            found=str(sheet.units_in_parallel), limit=f"{most:g}",
            clause=kind.bank.clause,
            remedy="larger cells in fewer strings",
        ),
    )  # fmt: skip


def why_it_differs(
    sheet: Worksheet, figures: SizingInput, *, simulated_wh: float
) -> tuple[str, ...]:
    """Sentences that set the worksheet beside the smallest bank the hour-by-hour year found.

    Parameters
    ----------
    sheet : Worksheet
    figures : SizingInput
        What it was filled in with.
    simulated_wh : float
        Smallest rated energy that met the target in the hour-by-hour year [Wh].

    Raises
    ------
    InputError
        When that is not above 0.
    """
    if not 0.0 < simulated_wh < float("inf"):
        raise InputError(
            Fault(where="sizing worksheet: simulated_wh", given=str(simulated_wh),
                  allowed="above 0 Wh")
        )  # fmt: skip
    required_wh = sheet.required_capacity_ah * figures.bank_voltage_v
    share = required_wh / simulated_wh
    said = (
        f"The worksheet asks for {required_wh / 1000.0:.1f} kWh, the hour-by-hour year for"
        f" {simulated_wh / 1000.0:.1f} kWh: "
    )
    if abs(share - 1.0) <= ALIKE_FRAC:
        said += "they agree within a tenth."
    else:
        said += f"{share:.1f} times as much." if share > 1.0 else f"{share:.0%} of it."
    return (
        said,
        f"The worksheet carries {figures.autonomy_days:g} days with no sun at all; in the year"
        " even dull days bring some.",
        _decided_by(sheet, figures),
        f"It adds {figures.margin_frac:.0%} of margin; the year takes the bank as the site file"
        " gives it.",
        f"It counts the cold of the coldest days (x {cold_factor(figures.lowest_temp_c):.2f}) all"
        " the time; the year counts it hour by hour.",
        "It takes every day for an average day of the worst month; the year has runs of dull days"
        " that may be longer than the days of autonomy.",
        "It knows no outages, no waiting of the heavy board and no generator; the year counts"
        " what the site file gives of them.",
    )


def _decided_by(sheet: Worksheet, figures: SizingInput) -> str:
    """The limit that decides, against what the year allows."""
    if sheet.governed_by == "daily discharge":
        return (
            "Its size is decided by the daily discharge: an ordinary day may take only"
            f" {figures.max_daily_depth_frac:.0%} of it, for the sake of its years; the year lets"
            " it be drawn to its reserve every night, and pays in years."
        )
    if sheet.governed_by == "end of life":
        return (
            "Its size is decided by the end of life: the days of autonomy must still be there when"
            f" it is worn to {figures.end_of_life_frac:.0%}; the year takes it as new."
        )
    return (
        "Its size is decided by the deepest discharge: after the days of autonomy"
        f" {1.0 - figures.max_depth_frac:.0%} must be left in it; the year stops at its own"
        " reserve."
    )
