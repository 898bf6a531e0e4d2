"""The visit a year later: a job and its logger's file, checked; answer, checks, rows, advice."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from solarcalc.basis.check import Check, checked, worst_first
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.no_answer import NO_ANSWER
from solarcalc.basis.quantity import in_percent
from solarcalc.basis.sourced import NO_SOURCE, assumptions, constant
from solarcalc.basis.worded import worded
from solarcalc.battery.bank import set_points
from solarcalc.design import Design
from solarcalc.followup.ageing import FULL_FRAC, ageing_finding, capacity_finding, capacity_found
from solarcalc.followup.clock import (
    Plane,
    clear_light,
    clock_findings,
    clock_stretches,
    shifts_by_window,
    sun_of_steps,
    with_clock_set_right,
)
from solarcalc.followup.daily import (
    ITEMS,
    Finding,
    Measured,
    held_while_filling,
    ratio_table,
    some_named,
    spells_of,
)
from solarcalc.followup.expected import (
    cell_of,
    design_share,
    expected_power_w,
    modelled_cell_c,
    typical_months,
)
from solarcalc.followup.logger import LoggerData, read_logger
from solarcalc.followup.separate import EXPECTED, MEASURED, Separated, separate
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.place import zone_of
from solarcalc.stages.array import standing

FULL_OF_ABSORPTION = float(constant("followup.full_of_absorption"))
QUITE_FULL_FRAC = float(constant("followup.quite_full_frac"))
ENERGY_BAND = (0.9, 1.1)
MONTH_BAND = (0.8, 1.2)
"""Measured over expected that passes: light measured, and by typical months (no source)."""
MOST_HELD_FRAC = 0.05
HOT_K = 8.0
FOLLOWUP_ASSUMPTIONS = assumptions("followup")
FOLLOWUP_CAUTION = (
    "A module is live whenever there is light and a battery always: figures point to a place, they"
    " do not make it safe. Opening boxes, cleaning on a roof and measuring on conductors are for"
    " trained people, under local codes and licensed practice."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class FollowUp:
    """A logger's file, checked.

    Parameters
    ----------
    data : LoggerData
        Clock set right where it could be told.
    measured : Measured or None
        None without light in the file.
    separated : Separated or None
    months : DataFrame
        Performance ratio by month (``ratio_25c_free`` with full batteries left out), or, without
        light, energy against the typical year.
    ratio : float
        Energy of the array over what was expected.
    findings : tuple of Finding
        All of them.
    held_frac : float
        Without light in the file: share of the daylight in which the battery was full, so that
        the array was held back by an amount that cannot be told, [0 to 1].
    """

    data: LoggerData
    measured: Measured | None = field(repr=False)
    separated: Separated | None = field(repr=False)
    months: pd.DataFrame = field(repr=False)
    ratio: float
    findings: tuple[Finding, ...]
    held_frac: float = 0.0

    @property
    def by_light(self) -> bool:
        """Whether the light was measured, so that losses could be told apart."""
        return self.separated is not None


def follow_up(design: Design) -> FollowUp:
    """Read the logger's file of a site and judge it.

    Raises
    ------
    InputError
        No [logger] file in the site file, or one that cannot be used (`read_logger`).
    """
    site, logger = design.site, design.site.logger
    where = f"{design.sitefile.path.name}: logger"
    if not logger.file:
        raise InputError(Fault(**worded("followup", "file", where=where)))
    data = read_logger(
        design.sitefile.folder, logger, offset_h=design.sitefile.offset_h, where=where,
        peak_w=site.array_w,
        usual_w=float(design.supply.hours["solar_used_w"].max()),
        time_zone=zone_of(site.site.time_zone),
    )  # fmt: skip
    if logger.weather == "measured" and "irradiance_w_m2" not in data.table:
        raise InputError(Fault(**worded("followup", "weather", where=where)))
    if logger.weather == "measured" and site.planes:
        names = " and ".join(one.plane for one in design.planes)
        told = Finding(**worded("followup", "light-of-one-plane", planes=names))
        data = replace(data, findings=(*data.findings, told),
                       table=data.table.drop(columns="irradiance_w_m2"))  # fmt: skip
        return judge(design, data, by_light=False)
    return judge(design, data, by_light=logger.weather == "measured")


def judge(design: Design, data: LoggerData, *, by_light: bool) -> FollowUp:
    """Judge a file that was read: the clock first, then the energy, then the battery."""
    plane = plane_of(design)
    index = pd.DatetimeIndex(data.table.index)
    clear = _clear_of_all(design, index)
    full = full_steps(data.table, design.site.battery)
    told_by = data.table["array_power_w"].mask(full)
    if "irradiance_w_m2" in data.table:
        told_by = data.table["irradiance_w_m2"]
    windows = shifts_by_window(told_by, clear)
    stretches = clock_stretches(told_by, clear, windows)
    clock = clock_findings(windows, stretches, ends=index[-1].date())
    table = with_clock_set_right(data.table, stretches)
    data = LoggerData(table=table, step_min=data.step_min, source=data.source,
                      findings=(*data.findings, *clock))  # fmt: skip
    doubted = any(one.kind == "units" for one in data.findings)  # of the battery's power, too
    battery = () if doubted else _battery_findings(design, table)
    if not by_light:
        months = typical_months(table["array_power_w"], design.energy.hours["dc_w"])
        whole = months[["measured_kwh", "design_kwh"]].sum()
        ratio = float(whole["measured_kwh"] / whole["design_kwh"]) if len(months) else float("nan")
        held = float(full[clear > 200.0].mean())
        dead = dark_days(design, table["array_power_w"], clear)
        return FollowUp(data=data, measured=None, separated=None, months=months, ratio=ratio,
                        findings=(*data.findings, *dead, *battery), held_frac=held)  # fmt: skip
    return _by_light(design, data, battery, plane)


NOTHING_OF_CLEAR = 0.01
"""Energy of a day over that under a clear sky below which the array gave nothing: the darkest
clouds leave some 5 % (common practice, no source)."""


def dark_days(design: Design, power_w: pd.Series, clear_w_m2: pd.Series) -> tuple[Finding, ...]:
    """Days on which the array gave nothing at all, which no weather does but snow.

    Without measured light this much can still be told. Months in which the design has snow on
    the modules are passed over, and days that lack a tenth of their values.

    Parameters
    ----------
    design : Design
    power_w, clear_w_m2 : Series, shape (n,)
        Of the array [W], of a clear sky on it [W/m2], same index.
    """
    day = pd.DatetimeIndex(power_w.index).normalize()
    clear_w = clear_w_m2 * design.site.array_w / 1000.0
    daily = pd.DataFrame({"gave": power_w, "clear": clear_w, "known": power_w.notna()}) \
        .groupby(day).agg({"gave": "sum", "clear": "sum", "known": "mean"})  # fmt: skip
    days = pd.DatetimeIndex(daily.index)
    snowy = np.asarray(design_share(design).snow < 1.0)[np.asarray(days.month) - 1]
    dead = days[((daily["known"] >= 0.9) & (daily["clear"] > 0.0)
                 & (daily["gave"] < NOTHING_OF_CLEAR * daily["clear"])).to_numpy() & ~snowy]
    if dead.empty:
        return ()
    typical = design.energy.hours["dc_w"]
    month_kwh = typical.groupby(pd.DatetimeIndex(typical.index).month).mean() * 24.0 / 1000.0
    last = days[daily["known"] >= 0.9][-1]
    return tuple(Finding(
        **worded("followup", "dark-days", count=len(spell), s="s" * (len(spell) > 1),
                 named=some_named(spell)),
        size=len(spell) / len(days), since=spell[0].date(), count=len(spell),
        until=None if spell[-1] == last else spell[-1].date(),
        lost_kwh=float(month_kwh.reindex(spell.month).sum()),
        outcome="failed" if spell[-1] == last else "review",
    ) for spell in spells_of(dead))  # fmt: skip


def _by_light(
    design: Design, data: LoggerData, battery: tuple[Finding, ...], plane: Plane
) -> FollowUp:
    table, site = data.table, design.site
    index, share = pd.DatetimeIndex(table.index), design_share(design)
    sun = sun_of_steps(index, plane)
    measured = held_while_filling(Measured(
        power_w=table["array_power_w"], expected_w=expected_power_w(design, table, share),
        clear_w_m2=clear_light(index, sun, plane), light_w_m2=table["irradiance_w_m2"],
        sun_azimuth_deg=sun["azimuth_deg"], full=full_steps(table, site.battery),
    ), filling_steps(table))  # fmt: skip
    parts = separate(measured, string_count=site.string_count)
    months = ratio_table(
        table["array_power_w"], table["irradiance_w_m2"], cell_of(design, table, share),
        rated_w=site.array_w,
        gamma_per_k=site.module.gamma_pmax_pct_per_k / 100.0, by="MS",
    )  # fmt: skip
    free = ratio_table(
        table["array_power_w"].mask(measured.full), table["irradiance_w_m2"],
        cell_of(design, table, share), rated_w=site.array_w,
        gamma_per_k=site.module.gamma_pmax_pct_per_k / 100.0, by="MS",
    )  # fmt: skip
    months["ratio_25c_free"] = free["ratio_25c"]
    expected = parts.losses_kwh[EXPECTED]
    findings = (
        *data.findings, *parts.findings,
        *_heat(table, modelled_cell_c(design, table, share)),
        ageing_finding(parts.days["ratio"], design_frac_per_year=site.losses.yearly_ageing_frac),
        *battery,
    )  # fmt: skip
    return FollowUp(
        data=data,
        measured=measured,
        separated=parts,
        months=months,
        findings=findings,
        ratio=parts.losses_kwh[MEASURED] / expected if expected > 0.0 else float("nan"),
    )


def _clear_of_all(design: Design, index: pd.DatetimeIndex) -> pd.Series:
    """Light of a clear sky on the modules [W/m2]: of several roof planes the mean by power."""
    lights = []
    for one in design.planes:
        plane = plane_of(one)
        light = clear_light(index, sun_of_steps(index, plane), plane)
        lights.append(light * (one.site.array_w / design.site.array_w))
    return sum(lights[1:], lights[0])


def plane_of(design: Design) -> Plane:
    """Where the site's array stands and how it lies; the first of several roof planes."""
    rows, place = standing(design).rows, design.site.site
    return Plane(
        latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m, tilt_deg=rows.tilt_deg, azimuth_deg=rows.azimuth_deg,
    )  # fmt: skip


def full_steps(table: pd.DataFrame, battery: Battery) -> pd.Series:
    """Intervals in which the battery was full or held at its voltage (bool).

    One value for each interval of the logger.

    All of them are left out of the judgement of the array, whatever it gave: to pick those with
    little power would blame or spare it by chance.
    """
    full = pd.Series(False, index=table.index)
    if "state_of_charge_frac" in table:
        full |= table["state_of_charge_frac"] >= FULL_FRAC
    elif "battery_voltage_v" in table:
        points = set_points(battery)
        full |= table["battery_voltage_v"] >= FULL_OF_ABSORPTION * points.absorption_v
    return full


def filling_steps(table: pd.DataFrame) -> pd.Series:
    """Intervals before one that begins quite full (bool): in them the battery may become full.

    One value for each interval of the logger.
    """
    if "state_of_charge_frac" not in table:
        return pd.Series(False, index=table.index)
    filled: pd.Series = table["state_of_charge_frac"].shift(-1) >= QUITE_FULL_FRAC
    return filled


def _heat(table: pd.DataFrame, modelled_c: pd.Series) -> list[Finding]:
    """Modules that run hotter in full light than their mounting lets expect."""
    if "module_temp_c" not in table or "air_temp_c" not in table:
        return []
    bright = table["irradiance_w_m2"] > 600.0
    over = (table["module_temp_c"] + 3.0 * table["irradiance_w_m2"] / 1000.0 - modelled_c)[bright]
    if over.notna().sum() < 20 or float(over.median()) < HOT_K:
        return []
    return [
        Finding(
            **worded("followup", "heat", median=float(over.median())), size=float(over.median()),
        )
    ]


def _battery_findings(design: Design, table: pd.DataFrame) -> tuple[Finding, ...]:
    if "battery_power_w" not in table or "state_of_charge_frac" not in table:
        return ()
    battery = design.site.battery
    charge, power = table["state_of_charge_frac"], table["battery_power_w"]
    rising = charge.shift(-1) - charge
    drawn = power if float((power * rising).sum()) < 0.0 else -power
    found = capacity_found(
        drawn, charge, per_k_frac=battery.traits.capacity_test.per_k_frac,
        rated_wh=battery.rated_wh, battery_c=table.get("air_temp_c"),
    )  # fmt: skip
    return (capacity_finding(found),)


def followup_answer(found: FollowUp) -> str:
    """The answer in a sentence or two."""
    share = f"{100.0 * found.ratio:.0f} %"
    if found.separated is None:
        if not len(found.months):
            return ("The file has no whole month; without measured irradiance no statement is"
                    " possible yet.")
        dark = sum(one.count for one in found.findings if one.kind == "outage")
        return (
            f"The array gave {share} of what the design has for these {len(found.months)} months;"
            " without measured irradiance, weather and faults cannot be separated."
            + f" It gave nothing at all on {dark} day{'s' * (dark > 1)}." * (dark > 0)
            + (
                f" The battery was full in {in_percent(found.held_frac, 0)} % of the daylight, so"
                " less than the design is no fault in itself." * (found.held_frac > MOST_HELD_FRAC)
            )
        )
    costs: dict[str, float] = {}
    for one in found.findings:
        if one.lost_kwh > 0.0:
            costs[one.kind] = costs.get(one.kind, 0.0) + one.lost_kwh
    said = f"The array yielded {share} of the energy expected of a clean array without faults"
    if not costs:
        due = dict.fromkeys(ITEMS[one.kind] for one in found.findings if one.outcome != "passed")
        return f"{said}; no lost energy was found, but see: {'; '.join(due)}." if due else \
            said + "; no fault was found."  # fmt: skip
    worst = max(costs, key=lambda kind: costs[kind])
    words = {
        "dust": "dust", "string": "a string out of operation", "shade": "shading not in the design",
        "step": "a sudden drop", "outage": "days without power",
        "full battery": "energy curtailed, battery full (no fault of the array)",
    }  # fmt: skip
    total = found.separated.losses_kwh[EXPECTED]
    return f"{said}; largest loss: {words[worst]}, {in_percent(costs[worst] / total, 0)} %."


def followup_checks(found: FollowUp) -> tuple[Check, ...]:
    """All checks, the worst first."""
    held = sum(one.lost_kwh for one in found.findings if one.kind == "full battery")
    ratio = found.ratio
    if found.separated is not None and held:
        expected = found.separated.losses_kwh[EXPECTED]
        ratio = ratio * expected / max(expected - held, 1e-9)
    low, high = ENERGY_BAND if found.by_light else MONTH_BAND
    held_back = found.held_frac > MOST_HELD_FRAC
    low = 0.0 if held_back else low
    energy = checked(
        low <= ratio <= high,
        rule="followup/energy-expected", kind="yield",
        item="Array energy against expected" if found.by_light
        else "Array energy against the typical year",
        found=f"{100.0 * ratio:.0f}"
        + (f", battery full in {in_percent(found.held_frac, 0)} % of the daylight" * held_back),
        limit=f"{100.0 * low:.0f} to {100.0 * high:.0f}", unit="%",
        clause=f"measured in-plane irradiance, battery full left out; {NO_SOURCE}"
        if found.by_light else f"years differ from the typical one; {NO_SOURCE}",
        remedy="see the loss attribution; above the range, check unit, sensor and rated power"
        if found.by_light else "measure in-plane irradiance to separate weather from"
        " faults",
    )  # fmt: skip
    return worst_first([energy, *(one.check() for one in found.findings)])


def followup_values(found: FollowUp) -> dict[str, float | int | str]:
    """Named results, rounded.

    Each name ends in its unit.
    """
    table = found.data.table
    values: dict[str, float | int | str] = {
        "days_read": round(found.data.days),
        "step_min": round(found.data.step_min, 2),
        "measured_kwh": round(float(table["array_power_w"].sum())
                              * found.data.step_min / 60000.0),
        "missing_frac": round(float(table["array_power_w"].isna().mean()), 4),
        "of_expected_frac": round(found.ratio, 3) if math.isfinite(found.ratio) else NO_ANSWER,
        "finding_count": sum(one.outcome != "passed" for one in found.findings),
    }  # fmt: skip
    for kind in ("dust", "string", "shade", "full battery"):
        name = "curtailed_energy_kwh" if kind == "full battery" else f"lost_to_{kind}_kwh"
        values[name] = round(sum(f.lost_kwh for f in found.findings if f.kind == kind))
    if found.separated is not None:
        values["detection_limit_frac"] = round(found.separated.least_step_frac, 3)
    return values


def followup_rows(found: FollowUp) -> list[dict[str, object]]:
    """Findings as rows: what, size, when, how sure, what to do."""
    return [
        {
            "finding": one.said, "when": one.when, "loss [kWh]": round(one.lost_kwh),
            "confidence": one.confidence, "action": one.remedy,
        }
        for one in sorted(found.findings, key=lambda one: -one.lost_kwh)
    ]  # fmt: skip


def loss_rows(found: FollowUp) -> list[dict[str, object]]:
    """Expected energy and what became of it, in order [kWh]; nothing without measured light.

    Where no energy was expected no share is.
    """
    if found.separated is None:
        return []
    total = next(iter(found.separated.losses_kwh.values()))
    return [
        {"step": name, "energy [kWh]": round(value),
         "of expected [%]": 100.0 * value / total if total > 0.0 else None}
        for name, value in found.separated.losses_kwh.items()
    ]


def followup_advice(found: FollowUp) -> tuple[str, ...]:
    """What to do, the costliest first; the caution last."""
    order = sorted(found.findings, key=lambda one: -one.lost_kwh)
    told = [one.remedy for one in order if one.remedy and one.outcome != "passed"]
    told += [one.remedy for one in order if one.remedy and one.kind == "full battery"]
    lines = [line[0].upper() + line[1:] + "." for line in dict.fromkeys(told)]
    return (*lines, FOLLOWUP_CAUTION)
