"""A logger's CSV file as a table of ours, with all that was found in it on the way."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.hours import fixed_zone, has_summer_time
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.followup.columns import (
    at_fixed_offset,
    coarser,
    file_text,
    gap_notes,
    instants_of,
    numbers_of,
    on_grid,
    step_min_of,
    text_table,
    without_far,
)
from solarcalc.followup.daily import Finding
from solarcalc.sitefile.programme import Logger

UNIT_NAMES = {
    "time": "time",
    "array_power": "array_power_w",
    "load_power": "load_power_w",
    "battery_power": "battery_power_w",
    "battery_voltage": "battery_voltage_v",
    "state_of_charge": "state_of_charge_frac",
    "irradiance": "irradiance_w_m2",
    "module_temp": "module_temp_c",
    "air_temp": "air_temp_c",
}
"""Names in the site file, and names with units in the table."""
COLUMN_WORDS = {
    "array_power_w": "array power",
    "load_power_w": "load power",
    "battery_power_w": "battery power",
    "battery_voltage_v": "battery voltage",
    "state_of_charge_frac": "state of charge",
    "irradiance_w_m2": "in-plane irradiance",
    "module_temp_c": "module temperature",
    "air_temp_c": "air temperature",
}
"""What a finding calls a column."""
POWERS = ("array_power_w", "load_power_w", "battery_power_w")
BOUNDS: dict[str, tuple[float, float]] = {"battery_voltage_v": (0.0, 1500.0),
                                          "state_of_charge_frac": (0.0, 1.02),
                                          "irradiance_w_m2": (-20.0, 1600.0),
                                          "module_temp_c": (-40.0, 110.0),
                                          "air_temp_c": (-50.0, 60.0)}
"""Outside these a reading is a fault of the sensor and is left out (common practice, no source)."""
HIGHEST_OF_PEAK = 1.5
LOWEST_OF_PEAK = 0.01
LIKELY_OF_PEAK = (0.3, 1.3)
"""Highest power of a record over the rated power: what is refused, and what is usual."""
USUAL_OF_PEAK = 0.5
"""Highest power over the rated power that nearly every array gives on a clear day (common practice,
no source): what comes to less, and as energy of an interval to this, may be energy."""
OFF_USUAL = 1.4
"""Highest power of a record over that of the array in its typical year, or the other way round,
that still is usual: half an hour's energy is half the power (common practice, no source)."""
NEGATIVE_FRAC = float(constant("followup.negative_frac"))


@dataclass(frozen=True, kw_only=True, eq=False)
class LoggerData:
    """A logger's file on a regular step.

    Parameters
    ----------
    table : DataFrame, shape (n,)
        Index at the site's fixed offset, labels at the start; columns of `UNIT_NAMES` as far as
        the file has them; nan where there is no value.
    step_min : float
        [min].
    findings : tuple of Finding
        What was mended, left out or seen.
    source : str
        Name of the file.
    """

    table: pd.DataFrame = field(repr=False)
    step_min: float
    findings: tuple[Finding, ...]
    source: str

    @property
    def days(self) -> float:
        """Length of the record [days]."""
        return len(self.table) * self.step_min / 1440.0


def read_logger(
    folder: Path, logger: Logger, *, offset_h: float, peak_w: float, usual_w: float | None = None,
    time_zone: ZoneInfo | None = None, where: str = "site.toml: logger",
) -> LoggerData:  # fmt: skip
    """Read a logger's file; the original is neither altered nor locked.

    Parameters
    ----------
    folder : Path
        Of the site file.
    logger : Logger
        The [logger] table.
    offset_h : float
        The site's standard offset [h]; used where the logger's own is not given.
    peak_w : float
        Rated power of the array [W]; wrong units are told by it.
    usual_w : float, optional
        Highest power that is taken from the array in its typical year [W]: tells the energy of
        half an hour from its power, too.
    time_zone : ZoneInfo, optional
        With summer time in it, a clock that keeps summer time is recognised.
    where : str
        What messages call the table.

    Returns
    -------
    LoggerData

    Raises
    ------
    InputError
        No such file, an empty one, columns that are not there, text in place of numbers or
        times, a sign turned round, a unit that cannot be.
    """
    path = folder / logger.file
    text = text_table(
        file_text(path, where=f"{where}.file"), logger.columns, where=where, name=path.name
    )
    zone = fixed_zone(offset_h if logger.utc_offset_h is None else logger.utc_offset_h)
    stamps, has_offset = instants_of(text["time"], where=f"{where}.columns.time")
    if float(stamps.diff().dt.total_seconds().median()) < 0.0:  # the newest line first
        text, stamps = text[::-1], stamps[::-1]
    findings: list[Finding] = []
    lost = int(stamps.isna().sum())
    if lost:
        findings.append(Finding(size=lost, **worded(
            "followup", "lines-without-time", count=lost, s="s" * (lost > 1))))
    stamps, far = without_far(stamps, where=f"{where}.columns.time")
    findings += far
    summer = time_zone if time_zone and has_summer_time(time_zone) else None
    placed, notes = at_fixed_offset(
        stamps, has_offset=has_offset, zone=zone,
        summer=summer if logger.utc_offset_h is None else None,
    )  # fmt: skip
    findings += notes
    step_min = step_min_of(placed, where=f"{where}.columns.time")
    table, notes = _numbers(text, where=where)
    findings += notes
    table = table.set_axis(pd.DatetimeIndex(placed))[placed.notna().to_numpy()]
    table, notes = on_grid(_labelled(table, logger, step_min), step_min=step_min)
    table = table.tz_convert(fixed_zone(offset_h))
    findings += notes
    _refuse_total(table, logger, where)
    table, notes = _in_watts(table, logger.power_unit, step_min)
    findings += notes
    table, notes = _within_bounds(table)
    findings += notes
    table, notes = _signs(table, peak_w=peak_w, where=where)
    findings += notes
    table, notes = _without_spikes(table, peak_w=peak_w)
    findings += notes
    table, notes = _without_standing(table, peak_w=peak_w, step_min=step_min)
    findings += notes
    table, grid_min = coarser(table, step_min=step_min)
    findings += _unit_notes(table, logger, peak_w=peak_w, usual_w=usual_w, step_min=step_min,
                            where=where)  # fmt: skip
    findings += gap_notes(table, "array_power_w", step_min=grid_min)
    return LoggerData(table=table, step_min=grid_min, findings=tuple(findings), source=path.name)


def _labelled(table: pd.DataFrame, logger: Logger, step_min: float) -> pd.DataFrame:
    """Labels moved to the start of the interval; a running total is a reading at an instant."""
    share = {"start": 0.0, "middle": 0.5, "end": 1.0}[logger.time_label]
    if logger.power_unit == "kWh-total" or share == 0.0:
        return table
    return table.set_axis(pd.DatetimeIndex(table.index) - pd.Timedelta(minutes=share * step_min))


def _numbers(text: pd.DataFrame, *, where: str) -> tuple[pd.DataFrame, list[Finding]]:
    columns, notes = {}, []
    for ours in text.columns:
        if ours == "time":
            continue
        values, odd = numbers_of(text[ours], where=f"{where}.columns.{ours}")
        columns[UNIT_NAMES[ours]] = values
        if odd:
            row, cell = odd[0]
            notes.append(Finding(size=len(odd), **worded(
                "followup", "text-in-cells", column=COLUMN_WORDS[UNIT_NAMES[ours]],
                count=len(odd), cell=cell, row=row + 1,
            )))  # fmt: skip
    table = pd.DataFrame(columns)
    if not np.isfinite(table["array_power_w"].to_numpy()).any():
        raise InputError(Fault(**worded("followup", "columns-array-power", where=where)))
    return table.mask(np.isinf(table)), notes


def _in_watts(
    table: pd.DataFrame, unit: str, step_min: float
) -> tuple[pd.DataFrame, list[Finding]]:
    hours, notes = step_min / 60.0, []
    factor = {"W": 1.0, "kW": 1000.0, "Wh": 1.0 / hours, "kWh": 1000.0 / hours}.get(unit)
    table = table.copy()
    for name in [name for name in POWERS if name in table]:
        if factor is not None:
            table[name] = table[name] * factor
            continue
        grown = table[name].shift(-1) - table[name]
        reset = grown < 0.0
        count = int(reset.sum())
        still = (grown.shift(1) == 0.0) & (grown.shift(-1) == 0.0)
        table[name] = grown.mask(reset).mask(reset & still, 0.0) * 1000.0 / hours
        if count:
            stamp = pd.Timestamp(grown.index[reset][0])
            notes.append(Finding(size=count, **worded(
                "followup", "total-fell", column=COLUMN_WORDS[name], count=count,
                s="s" * (count > 1), first=f"{stamp:%Y-%m-%d %H:%M}",
            )))  # fmt: skip
    return table, notes


def _within_bounds(table: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    table, notes = table.copy(), []
    charge = table.get("state_of_charge_frac")
    if charge is not None and float(charge.quantile(0.99)) > 1.5:
        table["state_of_charge_frac"] = charge / 100.0
    for name, (low, high) in BOUNDS.items():
        if name in table:
            out = (table[name] < low) | (table[name] > high)
            table[name] = table[name].mask(out)
            if count := int(out.sum()):
                notes.append(Finding(size=count, **worded(
                    "followup", "out-of-bounds", column=COLUMN_WORDS[name], count=count,
                    low=low, high=high,
                )))  # fmt: skip
    if "irradiance_w_m2" in table:
        table["irradiance_w_m2"] = table["irradiance_w_m2"].clip(lower=0.0)
    return table, notes


MOST_SPIKES_FRAC = 0.05
"""Of the values with power; with more beyond the rated power its unit is another (common practice,
no source)."""
TOTAL_TOLD_DAYS = 2
"""Days from which a column that never falls is told from power, and rises a day that it then has
at least (common practice, no source)."""
STANDING_H = 24.0
"""A sensor of light or power that shows one value for longer, night and day, is stuck (common
practice, no source)."""
GIVES_OF_PEAK = 0.05
"""Power over the rated one from which there was light."""


def _without_standing(
    table: pd.DataFrame, *, peak_w: float, step_min: float
) -> tuple[pd.DataFrame, list[Finding]]:
    """Values left out that stand still for a day and more.

    Power at anything but zero; light at any value while the array gave power: a sensor that died
    shows zero, and no light is no night where the array works.
    """
    table, notes, least = table.copy(), [], round(STANDING_H * 60.0 / step_min)
    gave = table["array_power_w"] > GIVES_OF_PEAK * peak_w
    for name in ("array_power_w", "irradiance_w_m2"):
        if name not in table:
            continue
        value = table[name]
        runs = (value != value.shift()).cumsum()
        stuck = value.notna() & (value.groupby(runs).transform("size") > least)
        stuck &= value > 0.0 if name == "array_power_w" else gave.groupby(runs).transform("any")
        if not stuck.any():
            continue
        table[name] = value.mask(stuck)
        first = pd.Timestamp(table.index[stuck][0])
        hours = float(stuck.sum()) * step_min / 60.0
        notes.append(Finding(size=int(stuck.sum()), **worded(
            "followup", "standing-still", column=COLUMN_WORDS[name], least_h=STANDING_H,
            hours=hours, first=f"{first:%Y-%m-%d %H:%M}",
        )))  # fmt: skip
    return table, notes


def _signs(
    table: pd.DataFrame, *, peak_w: float, where: str
) -> tuple[pd.DataFrame, list[Finding]]:
    power = table["array_power_w"]
    high, low = float(power.quantile(0.999)), float(power.quantile(0.001))
    if low < -NEGATIVE_FRAC * peak_w and -low > high:
        raise InputError(
            Fault(
                **worded("followup", "columns-array-power-signs", where=where, low=low, high=high),
            )
        )
    deep = power < -NEGATIVE_FRAC * max(peak_w, 0.0)
    table = table.copy()
    table["array_power_w"] = power.mask(deep).clip(lower=0.0)
    if not deep.any():
        return table, []
    count = int(deep.sum())
    return table, [Finding(size=count, **worded("followup", "negative-energy", count=count))]


def _without_spikes(table: pd.DataFrame, *, peak_w: float) -> tuple[pd.DataFrame, list[Finding]]:
    """Values left out that no such array gives, where they are few: else the unit is wrong."""
    power = table["array_power_w"]
    beyond = power > HIGHEST_OF_PEAK * peak_w
    if not beyond.any() or beyond.sum() > MOST_SPIKES_FRAC * (power > 0.0).sum():
        return table, []
    table = table.copy()
    table["array_power_w"] = power.mask(beyond)
    count = int(beyond.sum())
    return table, [Finding(size=count, **worded(
        "followup", "spikes", count=count, times=HIGHEST_OF_PEAK, high_w=float(power.max()),
    ))]  # fmt: skip


def _refuse_total(table: pd.DataFrame, logger: Logger, where: str) -> None:
    """InputError for a running total told as something else: power falls again every evening."""
    raw = table["array_power_w"].dropna()
    steps = raw.diff()
    days = (raw.index[-1] - raw.index[0]).total_seconds() / 86_400.0 if len(raw) else 0.0
    if logger.power_unit == "kWh-total" or (steps < 0.0).sum() > days:
        return
    if days >= TOTAL_TOLD_DAYS and (steps > 0.0).sum() > TOTAL_TOLD_DAYS * days:
        raise InputError(Fault(
            where=f"{where}.power_unit", given=f'values that hardly ever fall, with'
            f' "{logger.power_unit}"', allowed="power, or energy of an interval, which falls"
            " every evening", remedy='the numbers fit: "kWh-total"'))  # fmt: skip


def _usual(high_w: float, usual_w: float) -> bool:
    return 1.0 / OFF_USUAL <= high_w / usual_w <= OFF_USUAL


def _unit_notes(
    table: pd.DataFrame, logger: Logger, *, peak_w: float, usual_w: float | None, step_min: float,
    where: str,
) -> list[Finding]:  # fmt: skip
    """What the highest power says of the unit.

    Raises
    ------
    InputError
        When it cannot be, and another unit makes it fit.
    """
    high = float(table["array_power_w"].quantile(0.9995))
    share = high / peak_w
    hours = step_min / 60.0
    declared = {"W": 1.0, "kW": 1e3, "Wh": 1.0 / hours, "kWh": 1e3 / hours}
    raw = share / declared.get(logger.power_unit, 1e3 / hours)
    if LOWEST_OF_PEAK <= share <= HIGHEST_OF_PEAK:
        other = {"W": 1.0 / hours, "kW": 1.0 / hours, "Wh": hours, "kWh": hours}.get(
            logger.power_unit, 1.0)
        low = share < LIKELY_OF_PEAK[0] and USUAL_OF_PEAK <= share * other <= LIKELY_OF_PEAK[1]
        if low or (usual_w and _usual(other * high, usual_w) and not _usual(high, usual_w)):
            return [Finding(size=share, **worded(
                "followup", "power-or-energy" if other > 1.0 else "energy-or-power",
                high=high, peak_w=peak_w, then_w=other * high,
            ))]  # fmt: skip
        return []
    likely = [
        unit for unit, factor in declared.items()
        if LIKELY_OF_PEAK[0] <= raw * factor <= LIKELY_OF_PEAK[1]
    ]  # fmt: skip
    found = Finding(size=share, **worded("followup", "unit-notes", high=high, peak_w=peak_w))
    if likely:
        raise InputError(
            Fault(where=f"{where}.power_unit", given=f'{found.said}, with "{logger.power_unit}"',
                  allowed="highest power between 1/100 and 1.5 of the rated power",
                  remedy="the numbers fit: " + " or ".join(f'"{unit}"' for unit in likely))
        )  # fmt: skip
    return [found]
