"""Sizing by the book, line by line, and beside the hour-by-hour balance.

The order of the steps is that of IEEE Std 1013 (battery) and IEEE Std 1562 (array). Their texts
were not opened: the steps and factors were seen in the works of others who cite them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import FROM_MEMORY, constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.chemistry import Chemistry, Rate


@dataclass(frozen=True, kw_only=True)
class WorksheetLine:
    """One line of the worksheet.

    Parameters
    ----------
    number : int
        From 1.
    step : str
        What it gives, in site language.
    formula : str
        In words.
    figures : str
        The same with the figures put in.
    value : float
    unit : str
    source : str
    """

    number: int
    step: str
    formula: str
    figures: str
    value: float
    unit: str
    source: str


class Lines:
    """The lines as they are worked out, numbered from 1."""

    def __init__(self) -> None:
        self._lines: list[WorksheetLine] = []

    def add(
        self, step: str, formula: str, figures: str, value: float, unit: str, source: str
    ) -> None:
        """One line more."""
        self._lines.append(
            WorksheetLine(number=len(self._lines) + 1, step=step, formula=formula,
                          figures=figures, value=float(value), unit=unit, source=source)
        )  # fmt: skip

    def __iter__(self) -> Iterator[WorksheetLine]:
        return iter(self._lines)


def worksheet_table(lines: Iterable[WorksheetLine]) -> pd.DataFrame:
    """The lines as a table: step, formula, figures, value (rounded text), unit, source."""
    rows = [
        (line.step, line.formula, line.figures, f"{line.value:.4g}", line.unit, line.source)
        for line in lines
    ]
    return pd.DataFrame(
        rows, columns=["step", "formula", "figures", "value", "unit", "source"],
        index=pd.RangeIndex(1, len(rows) + 1, name="line"),
    )  # fmt: skip


BATTERY_BOOK = "IEEE Std 1013"
ARRAY_BOOK = "IEEE Std 1562"

COLD_TEMP_C = (-6.7, -1.1, 4.4, 10.0, 15.6, 21.2, 25.0)
COLD_FACTOR = (1.59, 1.40, 1.30, 1.19, 1.11, 1.04, 1.00)
COLD_TABLE = constant("battery.cold_table")
END_OF_LIFE_FRAC = constant("battery.end_of_life_frac")
MAX_DEPTH_FRAC = constant("battery.max_depth_frac")
MAX_DAILY_DEPTH_FRAC = constant("battery.max_daily_depth_frac")
MARGIN_FRAC = constant("battery.margin_frac")
ARRAY_TO_LOAD = constant("battery.array_to_load")
ARRAY_TO_LOAD_ORDINARY = 1.1
ARRAY_TO_LOAD_ESSENTIAL = 1.3
"""Both from `ARRAY_TO_LOAD`."""
ARRAY_LOSS_FRAC = constant("battery.array_loss_frac")


@dataclass(frozen=True, kw_only=True)
class SizingInput:
    """What the worksheet asks for.

    Parameters
    ----------
    daily_load_wh : float
        What the boards draw on a day of the worst month, behind the inverter [Wh].
    running_load_w : float
        Load while the main appliances run, for the rate of discharge [W].
    inverter_efficiency_frac : float
        1 for loads on direct current, [above 0 to 1].
    bank_voltage_v, unit_voltage_v : float
        Nominal [V].
    unit_capacity_ah, unit_rated_discharge_h : float
        Of one unit, and the hours of discharge that it is stated for [Ah], [h].
    rate : Rate
        How its kind's capacity depends on the pace.
    autonomy_days : float
        Days the bank carries the load without sun [days].
    lowest_temp_c : float
        Of the battery, mean of the coldest days [degC].
    sun_hours_h_per_day : float
        Light on the modules in the worst month, as hours of 1000 W/m2 [h/day].
    string_current_a : float
        Into the bank from one module string at 1000 W/m2 [A]; see `string_current_a`.
    essential : bool
        Whether the load must not wait, for the array-to-load ratio.
    max_depth_frac, max_daily_depth_frac, end_of_life_frac, margin_frac, loss_frac : float
        [0 to 1].
    """

    daily_load_wh: float
    running_load_w: float
    inverter_efficiency_frac: float
    bank_voltage_v: float
    unit_voltage_v: float
    unit_capacity_ah: float
    unit_rated_discharge_h: float
    rate: Rate
    autonomy_days: float
    lowest_temp_c: float
    sun_hours_h_per_day: float
    string_current_a: float
    essential: bool = True
    max_depth_frac: float = float(MAX_DEPTH_FRAC)
    max_daily_depth_frac: float = float(MAX_DAILY_DEPTH_FRAC)
    end_of_life_frac: float = float(END_OF_LIFE_FRAC)
    margin_frac: float = float(MARGIN_FRAC)
    loss_frac: float = float(ARRAY_LOSS_FRAC)


@dataclass(frozen=True, kw_only=True)
class Worksheet:
    """The filled-in worksheet.

    Parameters
    ----------
    lines : tuple of WorksheetLine
        In order.
    required_capacity_ah : float
        What the book asks for [Ah].
    governed_by : str
        The limit that decides: deepest discharge, daily discharge or end of life.
    units_in_series, units_in_parallel : int
    bank_capacity_ah : float
        Of that many units, at their rating [Ah].
    bank_capacity_wh : float
        The same at the nominal voltage [Wh].
    daily_depth_frac : float
        Depth of an ordinary night with that bank, new, [0 to 1].
    strings : int
        Module strings in parallel.
    array_to_load : float
        With that many, in the worst month.
    """

    lines: tuple[WorksheetLine, ...]
    required_capacity_ah: float
    governed_by: str
    units_in_series: int
    units_in_parallel: int
    bank_capacity_ah: float
    bank_capacity_wh: float
    daily_depth_frac: float
    strings: int
    array_to_load: float


def cold_factor(temp_c: float) -> float:
    """Capacity needed at a temperature [degC] over that at 25 degC; never below 1.

    Straight lines between the rows of `COLD_TABLE`; held at its coldest row below -6.7 degC,
    where a discharged cell may freeze.
    """
    return float(np.interp(temp_c, COLD_TEMP_C, COLD_FACTOR))


def capacity_at_hours_ah(
    capacity_ah: float, rated_discharge_h: float, hours_h: float, *, rate: Rate
) -> float:
    """Capacity of a unit discharged over other hours than its rating [Ah].

    Parameters
    ----------
    capacity_ah, rated_discharge_h : float
        As rated [Ah], [h].
    hours_h : float
        Hours of the discharge [h].
    rate : Rate
        Its `exponent` is Peukert's n.

    Notes
    -----
    I^n t is the same for all currents, so C = C_r (t / t_r)^(1 - 1/n).
    """
    return float(capacity_ah * (hours_h / rated_discharge_h) ** (1.0 - 1.0 / rate.exponent))


def string_current_a(
    string_power_w: float, controller_efficiency_frac: float, bank_voltage_v: float
) -> float:
    """Current into the bank from a module string behind a tracking controller [A].

    Parameters
    ----------
    string_power_w : float
        At 1000 W/m2 with the losses of dust, heat and wiring off [W].
    controller_efficiency_frac : float
        [0 to 1].
    bank_voltage_v : float
        While charging [V].
    """
    return string_power_w * controller_efficiency_frac / bank_voltage_v


def filled_worksheet(figures: SizingInput) -> Worksheet:
    """The worksheet with every line worked out.

    Parameters
    ----------
    figures : SizingInput

    Returns
    -------
    Worksheet

    Raises
    ------
    InputError
        Each figure outside its range; a bank voltage that no whole number of units makes.
    """
    _check(figures)
    lines = Lines()
    daily_ah, running_a, base_ah, governed_by = _capacity_before_factors(figures, lines)
    required_ah = _with_factors(figures, lines, base_ah)
    at_rate_ah = _unit_at_rate(figures, lines, required_ah, running_a)
    series = round(figures.bank_voltage_v / figures.unit_voltage_v)
    parallel = _whole(required_ah / at_rate_ah)
    bank_ah = parallel * figures.unit_capacity_ah
    lines.add("Units in series", "bank voltage / unit voltage",
              f"{figures.bank_voltage_v:g} / {figures.unit_voltage_v:g}", series, "",
              f"{BATTERY_BOOK} cl. 7")  # fmt: skip
    lines.add("Strings in parallel", "capacity needed / capacity of a unit at that rate, up",
              f"{required_ah:.1f} / {at_rate_ah:.1f}", parallel, "", f"{BATTERY_BOOK} cl. 8.2")
    lines.add("Capacity of the bank", "strings × capacity of a unit",
              f"{parallel} × {figures.unit_capacity_ah:g}", bank_ah, "Ah",
              f"{BATTERY_BOOK} cl. 8.4")  # fmt: skip
    lines.add("Depth of an ordinary day, new", "daily load / capacity of the bank",
              f"{daily_ah:.1f} / {bank_ah:g}", daily_ah / bank_ah * 100.0, "%",
              f"{BATTERY_BOOK} cl. 8.5, {FROM_MEMORY}")  # fmt: skip
    strings, ratio = _array(figures, lines, daily_ah)
    return Worksheet(lines=tuple(lines), required_capacity_ah=required_ah, governed_by=governed_by,
                     units_in_series=series, units_in_parallel=parallel, bank_capacity_ah=bank_ah,
                     bank_capacity_wh=bank_ah * figures.bank_voltage_v,
                     daily_depth_frac=daily_ah / bank_ah, strings=strings, array_to_load=ratio)


def _capacity_before_factors(
    figures: SizingInput, lines: Lines
) -> tuple[float, float, float, str]:
    """Daily load and running current at the bank, and the largest of the three capacities."""
    at_bank = figures.inverter_efficiency_frac * figures.bank_voltage_v
    daily_ah, running_a = figures.daily_load_wh / at_bank, figures.running_load_w / at_bank
    unadjusted_ah = daily_ah * figures.autonomy_days
    below = f"{figures.inverter_efficiency_frac:g} / {figures.bank_voltage_v:g}"
    lines.add("Daily load", "energy of a day / inverter efficiency / bank voltage",
              f"{figures.daily_load_wh:.0f} / {below}", daily_ah, "Ah/day",
              f"{BATTERY_BOOK} cl. 5")  # fmt: skip
    lines.add("Running current", "running load / inverter efficiency / bank voltage",
              f"{figures.running_load_w:.0f} / {below}", running_a, "A", f"{BATTERY_BOOK} cl. 5")
    lines.add("Days of autonomy", "as chosen", f"{figures.autonomy_days:g}",
              figures.autonomy_days, "days", f"{BATTERY_BOOK} cl. 4")  # fmt: skip
    lines.add("Unadjusted capacity", "daily load × days", f"{daily_ah:.1f} ×"
              f" {figures.autonomy_days:g}", unadjusted_ah, "Ah",
              f"{BATTERY_BOOK} cl. 6.1")  # fmt: skip
    three = {"deepest discharge": (unadjusted_ah, figures.max_depth_frac),
             "daily discharge": (daily_ah, figures.max_daily_depth_frac),
             "end of life": (unadjusted_ah, figures.end_of_life_frac)}
    for name, (ampere_hours, share) in three.items():
        taken = "daily load" if name == "daily discharge" else "unadjusted capacity"
        lines.add(f"Capacity for the {name}", f"{taken} / its share",
                  f"{ampere_hours:.1f} / {share:g}", ampere_hours / share, "Ah",
                  f"{BATTERY_BOOK} cl. 6.3, as cited by others")  # fmt: skip
    governed_by = max(three, key=lambda name: three[name][0] / three[name][1])
    base_ah = three[governed_by][0] / three[governed_by][1]
    lines.add("Capacity before factors", "largest of the three", f"for the {governed_by}",
              base_ah, "Ah", f"{BATTERY_BOOK} cl. 6.3, as cited by others")  # fmt: skip
    return daily_ah, running_a, base_ah, governed_by


def _with_factors(figures: SizingInput, lines: Lines, base_ah: float) -> float:
    """Capacity with cold and margin on it [Ah]."""
    cold, margin = cold_factor(figures.lowest_temp_c), 1.0 + figures.margin_frac
    required_ah = base_ah * cold * margin
    lines.add("Factor for cold", "table, by temperature", f"at {figures.lowest_temp_c:.1f} °C",
              cold, "times", COLD_TABLE.source)  # fmt: skip
    lines.add("Design margin", "1 + margin", f"1 + {figures.margin_frac:g}", margin, "times",
              MARGIN_FRAC.source)  # fmt: skip
    lines.add("Capacity needed", "capacity before factors × cold × margin",
              f"{base_ah:.1f} × {cold:.2f} × {margin:g}", required_ah, "Ah",
              f"{BATTERY_BOOK} cl. 6.3, as cited by others")  # fmt: skip
    return required_ah


def _unit_at_rate(
    figures: SizingInput, lines: Lines, required_ah: float, running_a: float
) -> float:
    """Capacity of a unit at the rate of use [Ah]; no credit for a rate slower than rated."""
    hours = required_ah / running_a
    rated_h = figures.unit_rated_discharge_h
    at_rate_ah = capacity_at_hours_ah(
        figures.unit_capacity_ah, rated_h, min(hours, rated_h), rate=figures.rate
    )
    lines.add("Hours of discharge at the running current", "capacity needed / running current",
              f"{required_ah:.1f} / {running_a:.2f}", hours, "h", f"{BATTERY_BOOK} cl. 6.4")
    lines.add("Capacity of a unit at that rate", "rated × (hours / rated hours)^(1 - 1/n), no"
              " more than rated",
              f"{figures.unit_capacity_ah:g} × ({min(hours, rated_h):.3g} / {rated_h:g})"
              f"^(1 - 1/{figures.rate.exponent:g})", at_rate_ah, "Ah",
              f"{figures.rate.clause}; the maker's table stands before it")  # fmt: skip
    return at_rate_ah


def _array(figures: SizingInput, lines: Lines, daily_ah: float) -> tuple[int, float]:
    """Module strings in parallel, and their array-to-load ratio."""
    sun_h, current_a = figures.sun_hours_h_per_day, figures.string_current_a
    target = ARRAY_TO_LOAD_ESSENTIAL if figures.essential else ARRAY_TO_LOAD_ORDINARY
    loss = 1.0 + figures.loss_frac
    by_loss, by_ratio = daily_ah * loss / sun_h, daily_ah * target / sun_h
    lines.add("Array current for the losses", "daily load × (1 + losses) / sun hours",
              f"{daily_ah:.1f} × {loss:g} / {sun_h:.2f}", by_loss, "A",
              f"{ARRAY_BOOK}, {FROM_MEMORY}")  # fmt: skip
    lines.add("Array current for the array-to-load ratio", "daily load × ratio / sun hours",
              f"{daily_ah:.1f} × {target:g} / {sun_h:.2f}", by_ratio, "A", ARRAY_TO_LOAD.source)
    strings = _whole(max(by_loss, by_ratio) / current_a)
    ratio = strings * current_a * sun_h / daily_ah
    lines.add("Module strings", "larger current / current of a string, up",
              f"{max(by_loss, by_ratio):.2f} / {current_a:.2f}", strings, "", ARRAY_BOOK)
    lines.add("Array-to-load ratio", "strings × current × sun hours / daily load",
              f"{strings} × {current_a:.2f} × {sun_h:.2f} / {daily_ah:.1f}", ratio, "times",
              "IEEE Std 1013-2000 cl. 3.1, its definition read in an extract")  # fmt: skip
    return strings, ratio


def _whole(share: float) -> int:
    """The next whole number up, at least 1; 4.0000000001 is 4."""
    return max(1, math.ceil(share - 1e-9))


_FRACTIONS = ("inverter_efficiency_frac", "max_depth_frac", "max_daily_depth_frac",
              "end_of_life_frac")  # fmt: skip
_POSITIVE = ("daily_load_wh", "running_load_w", "bank_voltage_v", "unit_voltage_v",
             "unit_capacity_ah", "unit_rated_discharge_h", "autonomy_days", "sun_hours_h_per_day",
             "string_current_a")  # fmt: skip


def _check(figures: SizingInput) -> None:
    faults = [
        _fault(name, getattr(figures, name), "above 0")
        for name in _POSITIVE if not 0.0 < getattr(figures, name) < math.inf
    ]  # fmt: skip
    faults += [
        _fault(name, getattr(figures, name), "above 0 to 1")
        for name in _FRACTIONS if not 0.0 < getattr(figures, name) <= 1.0
    ]  # fmt: skip
    faults += [
        _fault(name, getattr(figures, name), "from 0 to 1")
        for name in ("margin_frac", "loss_frac") if not 0.0 <= getattr(figures, name) <= 1.0
    ]  # fmt: skip
    if not -40.0 <= figures.lowest_temp_c <= 60.0:
        faults.append(_fault("lowest_temp_c", figures.lowest_temp_c, "from -40 to 60 degC"))
    if not faults:
        ratio = figures.bank_voltage_v / figures.unit_voltage_v
        if round(ratio) < 1 or abs(ratio - round(ratio)) > 1e-6:
            faults.append(
                _fault("bank_voltage_v",
                       f"{figures.bank_voltage_v:g} V of units of {figures.unit_voltage_v:g} V",
                       "a whole number of units in series")
            )  # fmt: skip
    if faults:
        raise InputError(faults)


def _fault(field: str, given: object, allowed: str) -> Fault:
    return Fault(where=f"sizing worksheet: {field}", given=str(given), allowed=allowed)


ALIKE_FRAC = float(constant("battery.alike_frac"))


def worksheet_checks(
    sheet: Worksheet, figures: SizingInput, *, installed_wh: float, installed_strings: int,
    kind: Chemistry,
) -> tuple[Check, ...]:  # fmt: skip
    """The bank and array of the site against what the book asks for.

    Parameters
    ----------
    sheet : Worksheet
    figures : SizingInput
        What it was filled in with.
    installed_wh : float
        Rated energy of the site's bank [Wh].
    installed_strings : int
        Module strings of the site, those of other roof planes counted by their modules.
    kind : Chemistry
        The book is for lead-acid; for another kind it is shown for comparison only.
    """
    required_wh = sheet.required_capacity_ah * figures.bank_voltage_v
    ratio = sheet.array_to_load * installed_strings / sheet.strings
    target = ARRAY_TO_LOAD_ESSENTIAL if figures.essential else ARRAY_TO_LOAD_ORDINARY
    book = BATTERY_BOOK if kind.in_sizing_worksheet else (
        f"{BATTERY_BOOK}, written for lead-acid: a comparison only")  # fmt: skip
    most = kind.bank.most_strings
    parallel = [] if most is None else [checked(
        sheet.units_in_parallel <= most,
        **worded("battery", "battery-strings-parallel", most=most),
        found=str(sheet.units_in_parallel), clause=kind.bank.clause,
    )]  # fmt: skip
    return (
        checked(installed_wh >= required_wh, clause=book, **worded(
            "battery", "bank-against-sizing", installed_wh=installed_wh / 1000.0,
            required_wh=required_wh / 1000.0,
        )),
        checked(
            ratio >= target, **worded("battery", "array-load-ratio", ratio=ratio, target=target,
                                      times=target / max(ratio, 0.01)),
            clause=ARRAY_TO_LOAD.source,
        ),
        *parallel,
    )


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
            Fault(**worded("battery", "sizing-worksheet-simulated"), given=str(simulated_wh))
        )  # fmt: skip
    required_wh = sheet.required_capacity_ah * figures.bank_voltage_v
    share = required_wh / simulated_wh
    said = (
        f"The worksheet requires {required_wh / 1000.0:.1f} kWh, the hourly simulation, with this"
        f" array, {simulated_wh / 1000.0:.1f} kWh: "
    )
    if abs(share - 1.0) <= ALIKE_FRAC:
        said += "they agree within 10 %."
    else:
        said += f"{share:.1f} times as much." if share > 1.0 else f"{100.0 * share:.0f} % of it."
    more, less = _asks_for_more(figures), _asks_for_less()
    first = (*more, *less) if share >= 1.0 else (*less, *more)
    return said, *first, _decided_by(sheet, figures), _of_cold(figures)


def _asks_for_more(figures: SizingInput) -> tuple[str, ...]:
    """What makes the worksheet's bank larger than the year's."""
    margin = (
        f"The worksheet requires more because it adds a margin of"
        f" {100.0 * figures.margin_frac:.0f} %; the simulation has none.",
    ) if figures.margin_frac > 0.0 else ()  # fmt: skip
    return (
        "The worksheet requires more because it covers"
        f" {figures.autonomy_days:g} days without any sun; in the simulation even overcast days"
        " yield some energy.",
        *margin,
        "The worksheet requires more because it has no grid, no load shedding and no generator;"
        " the simulation includes those of the site file.",
    )


def _asks_for_less() -> tuple[str, ...]:
    """What makes the worksheet's bank smaller than the year's."""
    return (
        "The worksheet requires less because it takes every day as an average day of the worst"
        " month; in the simulation overcast periods may be longer than the days of autonomy.",
        "The worksheet requires less because it assumes its own array size, which recharges the"
        " battery; the simulation has this array, and a small array needs more battery.",
    )


def _of_cold(figures: SizingInput) -> str:
    """The cold in both: neither moves with the hour."""
    return (
        "Both include low temperature throughout: the worksheet that of the coldest days"
        f" (× {cold_factor(figures.lowest_temp_c):.2f}), the simulation that of the coldest thirty"
        " days, which raises the minimum state of charge and all thresholds."
    )


def _decided_by(sheet: Worksheet, figures: SizingInput) -> str:
    """The limit that decides, against what the year allows."""
    if sheet.governed_by == "daily discharge":
        return (
            "The daily discharge governs: an ordinary day may use only"
            f" {100.0 * figures.max_daily_depth_frac:.0f} % of the capacity, for the sake of"
            " service life; the simulation permits discharge to the minimum state of charge every"
            " night, at the expense of service life."
        )
    if sheet.governed_by == "end of life":
        return (
            "The end of life governs: the days of autonomy must still be available at"
            f" {100.0 * figures.end_of_life_frac:.0f} % of the rated capacity; the simulation takes"
            " the battery as new."
        )
    return (
        "The deepest discharge governs: after the days of autonomy"
        f" {100.0 * (1.0 - figures.max_depth_frac):.0f} % must remain; the simulation stops at its"
        " own minimum state of charge."
    )
