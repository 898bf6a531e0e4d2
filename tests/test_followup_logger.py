"""A logger's file as loggers write them: every fault is named, and the file stays as it was."""

from __future__ import annotations

import re
import runpy
from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from solarcalc.basis.errors import InputError
from solarcalc.design import open_design
from solarcalc.followup.answer import (
    dark_days,
    follow_up,
    followup_advice,
    followup_answer,
    followup_checks,
    followup_rows,
    followup_values,
    judge,
    loss_rows,
    plane_of,
)
from solarcalc.followup.clock import clear_light, sun_of_steps
from solarcalc.followup.expected import design_share
from solarcalc.followup.logger import LoggerData, read_logger
from solarcalc.sitefile.programme import Logger
from solarcalc.stages.array import open_plane

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))
CLINIC = PLAIN["plain_file"]("ridge-clinic")

DEMO = Path(__file__).resolve().parents[1] / "data" / "loggers" / "ridge-clinic.csv"
DEMO_COLUMNS = {"time": "Time", "array_power": "Array W", "irradiance": "Light W/m2",
                "state_of_charge": "Charge %"}  # fmt: skip


def plain(days: int = 3, step: str = "15min", start: str = "2025-03-01") -> pd.DataFrame:
    """Half a sine of 4 kW from six to six."""
    index = pd.date_range(start, periods=int(days * pd.Timedelta("1D") / pd.Timedelta(step)),
                          freq=step)  # fmt: skip
    hour = np.asarray(index.hour + index.minute / 60.0)
    power = np.maximum(4000.0 * np.sin((hour - 6.0) / 12.0 * np.pi), 0.0).round(1)
    return pd.DataFrame({"Time": index.strftime("%Y-%m-%d %H:%M"), "P": power})


def read(folder: Path, text: str | pd.DataFrame, *, peak_w: float = 5000.0, zone=None,
         usual_w: float | None = None, **keys):  # fmt: skip
    path = folder / "log.csv"
    if isinstance(text, pd.DataFrame):
        text = text.to_csv(index=False)
    path.write_bytes(text.encode("utf-8"))
    before = path.stat()
    columns = keys.pop("columns", {"time": "Time", "array_power": "P"})
    try:
        return read_logger(folder, Logger(file="log.csv", columns=columns, **keys), usual_w=usual_w,
                           offset_h=2.0, peak_w=peak_w, time_zone=zone)  # fmt: skip
    finally:
        after = path.stat()
        assert path.read_bytes() == text.encode("utf-8")
        assert (before.st_mtime_ns, before.st_size) == (after.st_mtime_ns, after.st_size)
        path.rename(path.with_suffix(".moved")).rename(path)  # nothing holds it open


def said(data) -> str:
    return " | ".join(finding.said for finding in data.findings)


def test_a_plain_file_says_nothing(tmp_path):
    data = read(tmp_path, plain())
    assert data.findings == ()
    assert data.step_min == 15.0
    assert data.table.index[0].isoformat() == "2025-03-01T00:00:00+02:00"
    assert data.table["array_power_w"].max() == pytest.approx(4000.0)


@pytest.mark.parametrize(
    ("unit", "change"),
    [
        ("kW", lambda p: p / 1000.0),
        ("Wh", lambda p: p / 4.0),
        ("kWh", lambda p: p / 4000.0),
        ("kWh-total", lambda p: 512.0 + np.concatenate([[0.0], np.cumsum(p[:-1]) / 4000.0])),
    ],
)
def test_units_come_out_as_watts(tmp_path, unit, change):
    table = plain()
    want = table["P"].to_numpy().copy()
    table["P"] = change(want)
    got = read(tmp_path, table, power_unit=unit).table["array_power_w"].to_numpy()
    same = slice(0, -1) if unit == "kWh-total" else slice(None)
    np.testing.assert_allclose(got[same], want[same], atol=0.01)


@pytest.mark.parametrize("minutes", [2, 5, 10, 15, 30, 60])
@pytest.mark.parametrize("of_peak", [0.4, 0.6, 0.8, 1.1])
@pytest.mark.parametrize("units", [("W", "Wh"), ("kW", "kWh")])
def test_energy_read_as_power_is_told_or_refused(tmp_path, minutes, of_peak, units):
    """Energy of short intervals told as power: less than the array gives, by a factor no other
    check sees; of an hour it is the same number, and what is read right says nothing."""
    table = plain(days=4, step=f"{minutes}min")
    power_w = table["P"].to_numpy() / table["P"].max() * of_peak * 5000.0
    scale = 1.0 if units[0] == "W" else 1e-3
    table["P"] = scale * power_w * minutes / 60.0
    low = of_peak * minutes / 60.0
    if low > 0.0101:
        found = read(tmp_path, table, power_unit=units[0], peak_w=5000.0).findings
        told = low < 0.3 and of_peak > 0.5
        assert [(one.kind, one.outcome) for one in found] == [("units", "review")] * told
        assert all(float(re.search(r"up to (\d+) W", one.remedy)[1]) == pytest.approx(
            of_peak * 5000.0, rel=0.01) for one in found)
    assert read(tmp_path, table, power_unit=units[1], peak_w=5000.0).findings == ()


@pytest.mark.parametrize("minutes", [10, 15, 30, 60])
@pytest.mark.parametrize("of_usual", [0.75, 1.0, 1.3])
@pytest.mark.parametrize("units", [("W", "Wh"), ("kW", "kWh")])
def test_energy_and_power_are_told_apart_by_the_typical_year(tmp_path, minutes, of_usual, units):
    """Half an hour's energy is half the power, which the rated power alone does not tell."""
    usual_w, hours = 3500.0, minutes / 60.0
    table = plain(days=4, step=f"{minutes}min")
    power_w = table["P"] / table["P"].max() * of_usual * usual_w
    scale = 1.0 if units[0] == "W" else 1e-3
    for right, wrong, factor in ((*units, 1.0), (*units[::-1], hours)):
        table["P"] = scale * power_w * factor
        assert read(tmp_path, table, power_unit=right, usual_w=usual_w).findings == ()
        off = of_usual * (hours if right == units[1] else 1.0 / hours)
        if not 0.01 <= off * usual_w / 5000.0 <= 1.5:
            with pytest.raises(InputError, match=f'the numbers fit: .*"{right}"'):
                read(tmp_path, table, power_unit=wrong, usual_w=usual_w)
            continue
        found = read(tmp_path, table, power_unit=wrong, usual_w=usual_w).findings
        assert [one.kind for one in found] == ["units"] * (not 1 / 1.4 <= off <= 1.4)
        assert all(f"power_unit is {right.removeprefix('k')} or" in one.remedy for one in found)
        assert all(float(re.search(r"up to (\d+) W", one.remedy)[1]) == pytest.approx(
            of_usual * usual_w, rel=0.01) for one in found)


def test_a_battery_is_not_judged_by_power_in_a_doubtful_unit(tmp_path):
    """Half-hour energies of array and battery taken as power: no letter says it holds half."""
    design = open_design(CLINIC)
    hours = design.supply.hours
    index = pd.date_range("2025-01-01", periods=120 * 48, freq="30min")
    table = pd.DataFrame({
        "Time": index.strftime("%Y-%m-%d %H:%M"),
        "P": np.repeat(hours["solar_used_w"].to_numpy()[:120 * 24], 2),
        "B": np.repeat((hours["charge_w"] - hours["discharge_w"]).to_numpy()[:120 * 24], 2),
        "S": np.repeat(100.0 * design.supply.state_of_charge.to_numpy()[:120 * 24], 2),
    })  # fmt: skip
    table[["P", "B"]] *= 0.5
    (tmp_path / "log.csv").write_text(table.to_csv(index=False), "utf-8")
    columns = {"time": "Time", "array_power": "P", "battery_power": "B", "state_of_charge": "S"}
    for unit in ("Wh", "W"):
        data = read_logger(
            tmp_path, Logger(file="log.csv", columns=columns, power_unit=unit), offset_h=2.0,
            peak_w=design.site.array_w, usual_w=float(hours["solar_used_w"].max()))  # fmt: skip
        kinds = {one.kind for one in judge(design, data, by_light=False).findings}
        assert ("capacity" in kinds, "units" in kinds) == (unit == "Wh", unit == "W")


def test_a_running_total_that_was_reset(tmp_path):
    table = plain()
    table["P"] = np.concatenate([[0.0], np.cumsum(table["P"].to_numpy()[:-1]) / 4000.0])
    table.loc[140:, "P"] -= table.loc[140, "P"]
    data = read(tmp_path, table, power_unit="kWh-total")
    assert "fell 1 time," in said(data)
    assert data.table["array_power_w"].min() >= 0.0
    assert data.table["array_power_w"].max() <= 4000.1


@pytest.mark.parametrize("minutes", [1, 3, 5, 10, 15, 30, 60])
@pytest.mark.parametrize("unit", ["W", "kW", "Wh", "kWh", "kWh-total", "kWh-daily"])
def test_energy_is_the_same_by_every_unit_and_step(tmp_path, unit, minutes):
    table = plain(days=4, step=f"{minutes}min")
    power_w = table["P"].to_numpy().copy()
    kwh = power_w * minutes / 60_000.0
    before = np.concatenate([[0.0], np.cumsum(kwh)[:-1]])
    day = pd.to_datetime(table["Time"]).dt.date.to_numpy()
    table["P"] = {
        "W": power_w, "kW": power_w / 1000.0, "Wh": 1000.0 * kwh, "kWh": kwh,
        "kWh-total": before + 77.0,  # the day's own counter begins again at midnight
        "kWh-daily": before - pd.Series(before).groupby(day).transform("first").to_numpy(),
    }[unit]  # fmt: skip
    data = read(tmp_path, table, power_unit=unit.replace("daily", "total"))
    read_kwh = float(data.table["array_power_w"].sum()) * data.step_min / 60_000.0
    assert read_kwh == pytest.approx(kwh.sum(), rel=1e-6)
    assert data.table["array_power_w"].iloc[:-1].notna().all()
    assert all(one.outcome == "passed" for one in data.findings)


@pytest.mark.parametrize("minutes", [1, 15, 60])
@pytest.mark.parametrize("column", ["P", "G"])
@pytest.mark.parametrize("at", [0.0, 730.0])
def test_a_sensor_that_stands_still_is_left_out_and_told(tmp_path, column, minutes, at):
    table = plain(days=8, step=f"{minutes}min")
    table["G"] = table["P"] / 5.0
    day = (pd.to_datetime(table["Time"]) - pd.Timestamp("2025-03-01")).dt.days
    table.loc[(day >= 3) & (day < 6), column] = at
    data = read(tmp_path, table, columns={"time": "Time", "array_power": "P", "irradiance": "G"})
    whole = data.table.index.normalize().isin(data.table.index.normalize().unique()[3:6])
    name, other = ("array_power_w", "irradiance_w_m2")[:: 1 if column == "P" else -1]
    dead_array = column == "P" and at == 0.0  # an array that gives nothing is no dead sensor
    assert data.table.loc[whole, name].isna().all() != dead_array
    assert data.table.loc[~whole, name].notna().mean() > 0.85  # the nights beside it
    assert data.table[other].notna().all()
    assert ("same value" in said(data)) != dead_array


def test_a_steady_load_on_a_full_battery_stands_still_by_day_alone(tmp_path):
    table = plain(days=4)
    table["P"] = table["P"].where(table["P"] < 400.0, 400.0)
    data = read(tmp_path, table)
    assert data.findings == ()
    assert data.table["array_power_w"].notna().all()


def test_gaps_duplicates_text_and_disorder_are_named(tmp_path):
    table = plain()
    table["P"] = table["P"].astype(str)
    table.loc[50, "P"] = "ERR"
    table.loc[51, "P"] = "---"
    rows = pd.concat([table.drop(index=range(120, 140)), table.loc[[10, 11]]])
    data = read(tmp_path, rows)
    text = said(data)
    assert "2 duplicate time stamps" in text
    assert "first in row 51: 'ERR'" in text
    assert "step back 1 time;" in text
    assert "gaps" in text
    assert "5.0 h from 2025-03-02 06:00" in text
    assert data.table["array_power_w"].isna().sum() == 22


@pytest.mark.parametrize(
    "text",
    [
        "Site X\nexported\n\nTime;P\n" + "\n".join(
            f"{row.Time};{str(row.P).replace('.', ',')}" for row in plain().itertuples()),
        "\ufeffP\tTime\n" + "\n".join(f"{row.P}\t{row.Time}" for row in plain().itertuples()),
        "Time,P\n" + "\n".join(
            f"{pd.Timestamp(row.Time):%d/%m/%Y %H:%M},{row.P}" for row in plain(20).itertuples()),
        "Time,P\n" + "\n".join(
            f"{pd.Timestamp(row.Time):%m/%d/%Y %H:%M},{row.P}" for row in plain(20).itertuples()),
        *("Time,P\n" + "\n".join(
            f"{pd.Timestamp(row.Time).strftime(form)},{row.P}" for row in plain(20).itertuples())
          for form in ("%m/%d/%Y %I:%M %p", "%d/%m/%Y %I:%M:%S %p", "%d.%m.%y %H:%M",
                       "%d/%m/%y %H:%M", "%m/%d/%y %H:%M")),
    ],
)  # fmt: skip
def test_other_ways_of_writing(tmp_path, text):
    data = read(tmp_path, text)
    assert data.table.index[0].isoformat() == "2025-03-01T00:00:00+02:00"
    assert data.table["array_power_w"].max() == pytest.approx(4000.0)
    assert data.findings == ()


def test_offsets_labels_and_own_clock(tmp_path):
    table = plain()
    table["Time"] += "+00:00"
    assert read(tmp_path, table).table.index[0].isoformat() == "2025-03-01T02:00:00+02:00"
    ended = read(tmp_path, plain(), time_label="end").table.index[0]
    assert ended.isoformat() == "2025-02-28T23:45:00+02:00"
    other = read(tmp_path, plain(), utc_offset_h=5.5).table.index[0]
    assert other.isoformat() == "2025-02-28T20:30:00+02:00"


@pytest.mark.parametrize(("start", "hours"), [("2025-03-28", 0), ("2025-10-24", 0)])
def test_summer_time_is_taken_out(tmp_path, start, hours):
    zone = ZoneInfo("Europe/Athens")
    index = pd.date_range(start, periods=5 * 96, freq="15min", tz="Etc/GMT-2")
    hour = np.asarray(index.hour + index.minute / 60.0)
    power = np.maximum(4000.0 * np.sin((hour - 6.0) / 12.0 * np.pi), 0.0)
    wall = index.tz_convert(zone).strftime("%Y-%m-%d %H:%M")
    data = read(tmp_path, pd.DataFrame({"Time": wall, "P": power}), zone=zone)
    assert "summer time" in said(data)
    np.testing.assert_allclose(data.table["array_power_w"].to_numpy(), power, atol=1e-6)
    assert (data.table.index == index).all()


@pytest.mark.parametrize(
    ("text", "keys", "match"),
    [
        ("", {}, "which is empty"),
        ("Time,P\n", {}, "no row below the header"),
        (plain(), {"columns": {"time": "Time", "array_power": "Power"}}, '"Power", not in log.csv'),
        (plain(), {"columns": {"time": "Time"}}, "nothing for array_power"),
        (plain(), {"columns": {"time": "Time", "array_power": "P", "arraypower": "P"}},
         "did you mean array_power"),
        (plain().assign(P="off"), {}, "cells are text"),
        (plain().assign(Time="monday"), {}, "date and time"),
        (plain().assign(P=lambda t: -t["P"]), {}, "sign is reversed"),
        (plain().assign(P=lambda t: t["P"] / 1000.0), {}, 'the numbers fit: "kW"'),
        (plain(), {"power_unit": "kW"}, 'the numbers fit: "W"'),
        (plain().iloc[:40], {}, "at least a day"),
        (plain(9, step="3h"), {}, "a value every 180 min"),
    ],
)  # fmt: skip
def test_files_that_cannot_be_used_say_why(tmp_path, text, keys, match):
    with pytest.raises(InputError, match=match):
        read(tmp_path, text, **keys)


def test_a_decimal_comma_among_commas_is_refused_or_told(tmp_path):
    table = plain()
    table["P"] = [f"{watts:.1f}".replace(".", ",") for watts in table["P"]]
    lines = ["Time,P", *(",".join(row) for row in table.itertuples(index=False))]
    with pytest.raises(InputError, match="288 of 288 lines with more cells than the line of names"):
        read(tmp_path, "\n".join(lines))
    whole = ["Time,P", *(f"{row.Time},{row.P.partition(',')[0]}" for row in table.itertuples())]
    data = read(tmp_path, "\n".join([*whole[:50], lines[50], *whole[51:]]))
    assert "1 line without a readable time or with a cell too many" in said(data)
    assert list(np.flatnonzero(data.table["array_power_w"].isna())) == [49]
    trailing = read(tmp_path, "\n".join(f"{line}," for line in whole))
    assert not trailing.findings


def test_a_name_of_two_columns_is_refused(tmp_path):
    twice = plain().assign(Q=7.0).set_axis(["Time", "P", "P"], axis=1)
    with pytest.raises(InputError, match='"P", 2 times in the line of names'):
        read(tmp_path, twice)


@pytest.mark.parametrize("form", ["%Y-%m-%d %H:%M", "%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M"])
@pytest.mark.parametrize("own_summer", [False, True])
def test_the_newest_line_first_is_the_same_record(tmp_path, form, own_summer):
    zone = ZoneInfo("Europe/Athens")
    index = pd.date_range("2025-10-20", periods=10 * 96, freq="15min", tz="Etc/GMT-2")
    power = np.maximum(4000.0 * np.sin((index.hour - 6.0) / 12.0 * np.pi), 0.0)
    clock = index.tz_convert(zone) if own_summer else index
    table = pd.DataFrame({"Time": clock.strftime(form), "P": power})
    first, last = (read(tmp_path, one, zone=zone) for one in (table, table[::-1]))
    pd.testing.assert_frame_equal(first.table, last.table)
    assert said(first) == said(last)
    assert ("summer time" in said(last)) is own_summer


def test_negative_and_impossible_values_are_left_out(tmp_path):
    table = plain().assign(G=700.0)
    table.loc[40, "P"] = -900.0
    table.loc[41, "G"] = 9999.0
    data = read(tmp_path, table, columns={"time": "Time", "array_power": "P", "irradiance": "G"})
    assert "1 values of negative energy" in said(data)
    assert "1 values outside" in said(data)
    assert np.isnan(data.table["array_power_w"].iloc[40])


def test_a_missing_file_and_no_file(tmp_path):
    with pytest.raises(InputError, match="No such file"):
        read_logger(tmp_path, Logger(file="none.csv"), offset_h=0.0, peak_w=1.0)
    with pytest.raises(InputError, match="a CSV file"):
        follow_up(open_design(CLINIC))


def test_the_demo_site_from_file_to_answer():
    logger = {"file": str(DEMO), "columns": DEMO_COLUMNS, "weather": "measured"}
    clinic = open_design(CLINIC, {"logger": logger})
    strings = clinic.site.array.module_count // clinic.site.array.modules_in_series
    found = follow_up(clinic)
    kinds = {one.kind: one for one in found.findings if one.outcome != "passed"}
    assert set(kinds) == {"dust", "string"}
    assert kinds["string"].size == pytest.approx(1.0 / strings, abs=0.02)
    made = runpy.run_path(str(DEMO.with_name("make_ridge_clinic.py")))  # what was put in
    lost_on = date(2025, 1, 1) + timedelta(made["STRING_LOST"])
    assert abs((kinds["string"].since - lost_on).days) <= 1
    assert kinds["dust"].size == pytest.approx(
        (made["CLEANED"] - made["DUST_FROM"]) * made["DUST_FRAC_PER_DAY"], abs=0.03
    )
    values = followup_values(found)
    assert values["curtailed_energy_kwh"] > 0.4 * values["measured_kwh"]
    assert sum(row["energy [kWh]"] for row in loss_rows(found)[:-1]) == pytest.approx(
        loss_rows(found)[-1]["energy [kWh]"], abs=4
    )
    assert "full" in followup_answer(found)
    assert followup_checks(found)[0].item == "Strings in operation"
    assert "local codes" in followup_advice(found)[-1]
    assert len(followup_rows(found)) == len(found.findings)


def test_without_light_it_says_less():
    logger = {"file": str(DEMO), "columns": {k: v for k, v in DEMO_COLUMNS.items()
                                             if k != "irradiance"}}  # fmt: skip
    found = follow_up(open_design(CLINIC, {"logger": logger}))
    assert not found.by_light
    assert loss_rows(found) == []
    assert {"dust", "string", "shade"}.isdisjoint(one.kind for one in found.findings)
    assert "cannot be separated" in followup_answer(found)
    assert "battery full" in " ".join(v.found for v in followup_checks(found))


def test_a_year_of_quarter_hours_is_read(tmp_path):
    data = read(tmp_path, plain(365))
    assert len(data.table) == 35040
    assert data.findings == ()


@pytest.mark.parametrize("name", ["coral-pharmacy", "plateau-school", "orchard-shop"])
def test_a_clean_array_of_our_own_is_not_blamed(name):
    """The design's own year with 2 % noise and no dust: boxes, rows and heat are no fault."""
    job = open_design(name)
    rows = job.array.rows
    light, dust = open_plane(job, rows.tilt_deg, rows.azimuth_deg)
    noise = np.random.default_rng(0).normal(0.0, 0.02, 8760)
    power = job.energy.hours["dc_w"].to_numpy() / (1.0 - dust.to_numpy()) * (1.0 + noise)
    table = pd.DataFrame(
        {"array_power_w": power, "irradiance_w_m2": light["total"].to_numpy()}, index=light.index
    )
    data = LoggerData(table=table, step_min=60.0, findings=(), source="made")
    found = judge(job, data, by_light=True)
    assert [one for one in found.findings if one.outcome != "passed"] == []
    assert found.ratio == pytest.approx(1.0, abs=0.03)
    assert "no fault was found" in followup_answer(found)


@pytest.mark.parametrize("name", ["ridge-clinic", "valley-workshop", "lagoon-house"])
def test_days_without_any_power_are_found_without_light(name):
    """The typical year of the design is its own record; then some of its days give nothing."""
    design = open_design(name)
    power = design.energy.hours["dc_w"]
    index = pd.DatetimeIndex(power.index)
    clear = sum(clear_light(index, sun_of_steps(index, plane_of(one)), plane_of(one))
                * one.site.array_w / design.site.array_w for one in design.planes)  # fmt: skip
    assert dark_days(design, power, clear) == ()
    day = np.arange(len(power)) // 24
    without_snow = np.asarray(design_share(design).snow)[index.month - 1] == 1.0
    for first, count in ((110, 1), (150, 5), (300, 65)):
        dead = (day >= first) & (day < first + count)
        if not without_snow[dead].all():
            continue  # a day without any power may be one under snow
        (found,) = dark_days(design, power.mask(dead, 0.0), clear)
        assert found.said.startswith(f"{count} day")
        assert found.since == index[dead][0].date()
        goes_on = first == 300  # to the last day of the record
        assert found.until == (None if goes_on else index[dead][-1].date())
        assert found.outcome == ("failed" if goes_on else "review")
        month = np.asarray(index.month)
        true_kwh = sum(power[month == index[24 * one].month].mean() * 0.024
                       for one in range(first, first + count))  # fmt: skip
        assert found.lost_kwh == pytest.approx(true_kwh, rel=1e-6)
    gone = power.mask((day >= 40) & (day < 60))
    assert dark_days(design, gone, clear) == (), "what is not known is not nothing"


WAYS = {
    "plain": lambda watts: f"{watts:.0f}", "points": lambda watts: f"{watts:.1f}",
    "decimal commas": lambda watts: f"{watts:.1f}".replace(".", ","),
    "commas between thousands": lambda watts: f"{watts:,.0f}",
    "commas and a point": lambda watts: f"{watts:,.1f}",
    "points between thousands": lambda watts: f"{watts:,.0f}".replace(",", "."),
    "points and a comma": lambda watts: f"{watts:,.1f}".translate(str.maketrans(",.", ".,")),
    "apostrophes": lambda watts: f"{watts:,.0f}".replace(",", "'"),
    "spaces": lambda watts: f"{watts:,.0f}".replace(",", " "),
}  # fmt: skip


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("way", WAYS)
def test_energy_is_the_same_in_every_way_of_writing_or_the_file_is_refused(tmp_path, way, mark):
    """Never a thousandth of it, and never what is left where large values are no numbers."""
    table = plain(days=4)
    energy = table["P"].sum()
    written = table.assign(P=[WAYS[way](watts) for watts in table["P"]])
    text = written.to_csv(index=False, sep=mark)
    if way not in ("plain", "points", "decimal commas"):
        with pytest.raises(InputError, match="thousands"):
            read(tmp_path, text)
        return
    data = read(tmp_path, text)
    assert data.table["array_power_w"].sum() == pytest.approx(energy, rel=1e-3)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_times_of_two_clocks_are_refused(tmp_path, share):
    table = plain(days=4)
    count = round(share * len(table))
    table["Time"] = [time + "+02:00" * (number < count) for number, time in
                     enumerate(table["Time"])]  # fmt: skip
    with pytest.raises(InputError, match=f"{count} of {len(table)} times with an offset"):
        read(tmp_path, table)


@pytest.mark.parametrize("unit", ["W", "kW", "Wh", "kWh"])
@pytest.mark.parametrize("nightly", [False, True])
def test_a_running_total_is_told_from_power(tmp_path, unit, nightly):
    table = plain(days=6)
    day = table["Time"].str[:10]
    table["P"] = (table["P"].groupby(day).cumsum() if nightly else table["P"].cumsum()) / 4000.0
    with pytest.raises(InputError, match='the numbers fit: "kWh-total"'):
        read(tmp_path, table, power_unit=unit)
    assert read(tmp_path, table, power_unit="kWh-total").table["array_power_w"].sum() > 0.0


@pytest.mark.parametrize("spike_w", [7600.0, 1e5, 1e9])
def test_a_few_impossible_values_are_left_out_and_told(tmp_path, spike_w):
    table = plain(days=20)
    expected = read(tmp_path, table).table["array_power_w"]
    table.loc[::400, "P"] = spike_w
    data = read(tmp_path, table)
    found = data.table["array_power_w"]
    assert found.isna().sum() == len(table.loc[::400])
    pd.testing.assert_series_equal(found.dropna(), expected[found.notna()], check_freq=False)
    assert "values of array power over 1.5 times the rated power left out" in said(data)


@pytest.mark.parametrize("names_between", [True, False])
@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 0, 2)])
@pytest.mark.parametrize("both_days", [0, 3])
def test_files_joined_one_under_the_other_are_as_one(tmp_path, names_between, order, both_days):
    """Lines of names in between, the order of the parts and days of both change no value."""
    whole = plain(days=30)
    head, *rows = whole.to_csv(index=False).splitlines()
    parts = [rows[max(start - 96 * both_days, 0):start + 960] for start in (0, 960, 1920)]
    lines = [line for part in order for line in ([head] * names_between + parts[part])]
    joined = read(tmp_path, "\n".join([head] * (not names_between) + lines))
    pd.testing.assert_frame_equal(joined.table, read(tmp_path, whole).table)
    assert "text in" not in said(joined)
    assert "without a readable time" not in said(joined)
    assert ("duplicate" in said(joined)) == (both_days > 0)
    assert ("step back" in said(joined)) == (order != (0, 1, 2) or both_days > 0)


def test_a_part_with_its_columns_in_another_order_is_refused(tmp_path):
    """Its light would be read as power: a wrong year without an error."""
    first = plain(days=4).assign(G=500.0)
    second = plain(days=4, start="2025-03-05").assign(G=500.0)[["Time", "G", "P"]]
    text = first.to_csv(index=False) + second.to_csv(index=False)
    columns = {"time": "Time", "array_power": "P", "irradiance": "G"}
    with pytest.raises(InputError, match=r"after 384 rows.*Time, G, P"):
        read(tmp_path, text, columns=columns)
    same = first.to_csv(index=False) + second[["Time", "P", "G"]].to_csv(index=False)
    assert read(tmp_path, same, columns=columns).days == 8.0


@pytest.mark.parametrize(("one", "other"), [("1h", "15min"), ("15min", "1h"), ("15min", "30min")])
def test_two_steps_in_one_file_are_refused_with_their_days(tmp_path, one, other):
    """Two hourly years beside a quarter-hourly one gave half of the energy."""
    first, second = plain(days=40, step=one), plain(days=40, step=other, start="2025-04-10")
    with pytest.raises(InputError, match=r"but every \d+ min from 2025-\d\d-\d\d to 2025"):
        read(tmp_path, pd.concat([first, second]))
    short = plain(days=10, step=other, start="2025-04-10")
    assert read(tmp_path, pd.concat([first, short])).days > 49.0


def test_a_logger_that_leaves_out_values_has_one_step(tmp_path):
    table = plain(days=90)
    kept = np.random.default_rng(3).random(len(table)) > 0.3
    data = read(tmp_path, table[kept])
    assert data.step_min == 15.0
    assert "gap" in said(data)
