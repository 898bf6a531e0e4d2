"""The array of a site: its rows, its pitch, its place on the roof and its year of energy."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import get_args

import pandas as pd

from solarcalc.basis.check import Check, checked
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.energy.diode import weak_light_bounds
from solarcalc.energy.light import Dust, RowLight, Setup, light_on_rows
from solarcalc.energy.year import Balance, Harvest, array_power, bus_power_w, dc_power, harvest_year
from solarcalc.roof.hardware import Hardware, hardware_of
from solarcalc.roof.packing import (
    ModulePlaces,
    RoofFit,
    RowPlace,
    fit_on_roof,
    modules_on_roof,
)
from solarcalc.roof.rows import Orientation, Rows, pitch_of, rows_of, shadow_rule_pitch_m
from solarcalc.roof.strings import parts_of, spots_of
from solarcalc.sitefile.array import Array, Module, holds
from solarcalc.sitefile.roof import Rails, Roof
from solarcalc.sitefile.site import Site
from solarcalc.siteyear import SiteYear
from solarcalc.snow import by_hour
from solarcalc.soiling import dirt_band_of_year, soiling_loss_frac
from solarcalc.stages.boards import daily_energy_wh
from solarcalc.stages.snow import open_light, snow_loss_of
from solarcalc.stages.surroundings import (
    Boxes,
    around_of,
    box_check,
    box_shade_table,
    boxes_of,
)
from solarcalc.wiring.string_plan import ABOVE_BANK_V

LOW_TILT_DEG = float(constant("soiling.low_tilt_deg"))


@dataclass(frozen=True, kw_only=True)
class Standing:
    """How an array stands on the roof of the site.

    Parameters
    ----------
    rows : Rows
    pitch_m : float
        The pitch used [m].
    rule_m : float or None
        What the shadow rule asks [m]; None where it has no answer.
    roof_fit : RoofFit
        The roof filled at that pitch.
    hardware : Hardware
        Rails, clamps, feet and weight of the filled roof.
    """

    rows: Rows
    pitch_m: float
    rule_m: float | None
    roof_fit: RoofFit
    hardware: Hardware


def standing(own: SiteYear, orientation: Orientation | None = None) -> Standing:
    """Rows, pitch and roof fit of the site's array, or of the other orientation.

    Where the shadow rule has no answer (the sun stays down on the shortest day) and the site
    file gives no pitch, the site's rows are spread evenly over the depth of the roof.
    """
    site = own.site
    return _standing(
        site.site.latitude_deg, (site.array, site.module, site.roof, site.rails), orientation
    )


def standing_with(site: Site, array: Array) -> Standing:
    """The same for another array on the roof of a site.

    `array` is the record of [array], each value in the unit of its key.
    """
    records = array, site.module, site.roof, site.rails
    return _standing(site.site.latitude_deg, records, None)


@lru_cache(maxsize=64)
def _standing(
    latitude_deg: float, records: tuple[Array, Module, Roof, Rails], orientation: Orientation | None
) -> Standing:
    """Kept by what it follows from: most changes of a site leave its rows alone."""
    array, module, roof, rails = records
    rows = rows_of(array, module, roof, orientation=orientation)
    rule_m = shadow_rule_pitch_m(
        rows,
        latitude_deg=latitude_deg,
        from_solar_h=array.clear_from_solar_h,
        to_solar_h=array.clear_to_solar_h,
    )
    pitch_m = pitch_of(array, rows, latitude_deg=latitude_deg)
    if pitch_m is None:
        depth = roof.depth_m - 2.0 * roof.edge_setback_m
        spread = (depth - rows.footprint_m) / max(array.rows - 1, 1)
        pitch_m = max(rows.least_pitch_m, spread)
    fit = fit_on_roof(rows, roof, pitch_m=pitch_m)
    return Standing(
        rows=rows,
        pitch_m=pitch_m,
        rule_m=rule_m,
        roof_fit=fit,
        hardware=hardware_of(fit, module, rails),
    )


def own_places(own: SiteYear) -> ModulePlaces | None:
    """The site's own modules on its roof; None where the roof does not hold them all."""
    array = own.site.array
    places = modules_on_roof(
        standing(own).roof_fit, module_count=array.module_count, row_count=array.rows
    )
    return places if places.count == array.module_count else None


def own_hardware(own: SiteYear) -> Hardware:
    """Rails, clamps and feet of the site's own modules, part by part as they stand on the roof.

    Where the roof does not hold them, which is a failed check, rows are taken whole and as even
    as can be.
    """
    stands, places = standing(own), own_places(own)
    fit = RoofFit(
        rows=stands.rows, pitch_m=stands.pitch_m, turn_deg=0.0,
        places=tuple(_even_rows(own) if places is None else _parts_on_rails(places)),
    )  # fmt: skip
    return hardware_of(fit, own.site.module, own.site.rails)


def _parts_on_rails(places: ModulePlaces) -> Iterator[RowPlace]:
    for part in parts_of(spots_of(places)):
        yield RowPlace(along_m=part[0].along_m, across_m=part[0].up_m, modules_along=len(part),
                       modules_high=1, row=part[0].row - 1)  # fmt: skip


def _even_rows(own: SiteYear) -> Iterator[RowPlace]:
    site, stands = own.site, standing(own)
    up, rows = stands.rows.modules_high, site.array.rows
    columns, odd = divmod(site.array.module_count, up)
    each, more = divmod(columns, rows)
    for row in range(rows):
        if each + (row < more):
            yield RowPlace(along_m=0.0, across_m=row * stands.pitch_m, modules_high=up, row=row,
                           modules_along=each + (row < more))  # fmt: skip
    if odd:
        yield RowPlace(along_m=0.0, across_m=0.0, modules_along=odd, modules_high=1, row=0)


def own_boxes(own: SiteYear, orientation: Orientation | None = None) -> Boxes | None:
    """What the roof's boxes do to as many modules as the site has, laid its way or the other."""
    array = own.site.array
    return boxes_of(
        own,
        standing(own, orientation).roof_fit,
        module_count=array.module_count,
        row_count=array.rows,
    )


def own_box_shade(own: SiteYear) -> pd.DataFrame:
    """What boxes leave each of the site's own modules (`box_shade_table`); empty without any."""
    boxes, rows = own_boxes(own), standing(own).rows
    if boxes is None:
        return pd.DataFrame()
    light, _ = open_plane(own, rows.tilt_deg, rows.azimuth_deg)
    return box_shade_table(own, boxes, light)


def light_of(
    own: SiteYear, rows: Rows, *, pitch_m: float, row_count: int, boxes: Boxes | None = None
) -> tuple[RowLight, ...]:
    """Light on the rows of an array through the year; `boxes` where their shade is to count."""
    site = own.site
    setup = Setup(
        module=site.module, array=site.array, rows=rows, pitch_m=pitch_m, row_count=row_count
    )
    light, dust = open_plane(own, rows.tilt_deg, rows.azimuth_deg)
    strip = dirt_band_of_year(
        own.weather.hours, site.soiling, tilt_deg=rows.tilt_deg, module_up_m=rows.module_up_m
    )
    snow = by_hour(snow_loss_of(own, rows), pd.DatetimeIndex(light.index))
    return light_on_rows(
        light, own.sun, own.weather.hours, setup, around=around_of(own, rows, boxes),
        dust=Dust(loss_frac=dust, strip=strip, snow_frac=snow),
    )  # fmt: skip


def open_plane(
    own: SiteYear, tilt_deg: float, azimuth_deg: float
) -> tuple[pd.DataFrame, pd.Series]:
    """Light on an unshaded plane of the site by hour [W/m2], and its dust loss [0 to 1]."""
    dust = soiling_loss_frac(own.weather.hours, own.site.soiling, tilt_deg=tilt_deg)
    return open_light(own, tilt_deg, azimuth_deg), dust


def balance_of(own: SiteYear, *, module_count: int | None = None) -> Balance:
    """What lies between the array and the loads of the own."""
    site = own.site
    controller = site.controller
    essential_wh = daily_energy_wh(own, "essential")
    nonessential_wh = daily_energy_wh(own, "nonessential")
    drawn = essential_wh / site.inverter_of("essential").efficiency_frac
    drawn += nonessential_wh / site.inverter_of("nonessential").efficiency_frac
    voltage_v = site.battery.charging_voltage_v
    return Balance(
        module_count=module_count or site.array.module_count,
        modules_in_series=site.array.modules_in_series,
        losses=site.losses,
        min_tracking_v=max(controller.min_tracking_voltage_v, voltage_v + float(ABOVE_BANK_V)),
        max_tracking_v=controller.max_tracking_voltage_v,
        controller_efficiency_frac=controller.efficiency_frac,
        start_v=controller.start_voltage_v or 0.0,
        controller_limit_w=controller.count * controller.max_charge_current_a * voltage_v,
        inverter_efficiency_frac=(essential_wh + nonessential_wh) / drawn
        if drawn > 0.0
        else site.inverter_of("essential").efficiency_frac,
    )


def array_kwh_per_kwp(
    own: SiteYear, rows: Rows, *, pitch_m: float, row_count: int, boxes: Boxes | None = None
) -> float:
    """Array yield of the year [kWh/kWp] of rows other than the site's own."""
    rows_light = light_of(own, rows, pitch_m=pitch_m, row_count=row_count, boxes=boxes)
    return kwh_per_kwp_of_power(own, array_power(own.site.module, rows_light))


def kwh_per_kwp_of_power(own: SiteYear, array: pd.DataFrame) -> float:
    """Array yield of the year [kWh/kWp] from power already worked out (`array_power`).

    `array`: columns as `array_power`, one row an hour [W].
    """
    module = own.site.module
    power = dc_power(array, module, balance_of(own))
    return float(power["tracked"].sum()) / (module.pmax_w * own.site.array.module_count)


def own_light(own: SiteYear) -> tuple[RowLight, ...]:
    """Light on the rows of the site's own array through the year."""
    stands = standing(own)
    return light_of(
        own, stands.rows, pitch_m=stands.pitch_m, row_count=own.site.array.rows,
        boxes=own_boxes(own),
    )  # fmt: skip


def yearly_harvest(own: SiteYear, rows_light: tuple[RowLight, ...]) -> Harvest:
    """A year of the site's own array, with every loss in order."""
    return harvest_year(
        rows_light, own.site.module, balance_of(own),
        coldest_air_c=float(own.weather.hours["temp_air"].min()),
    )  # fmt: skip


def least_bus_w(own: SiteYear, rows_light: tuple[RowLight, ...]) -> pd.Series | None:
    """What the battery bus is offered where the modules are as weak in low light as is usual [W].

    Shape (8760,), a value for each hour.

    None where their sheet says how weak they are.
    """
    least, most = weak_light_bounds(own.site.module)
    if least is most:
        return None
    return module_bus_w(own, rows_light, least)


def module_bus_w(own: SiteYear, rows_light: tuple[RowLight, ...], module: Module) -> pd.Series:
    """What the battery bus is offered by other modules of the same size in the same light [W].

    Shape (8760,), a value for each hour.
    """
    balance = balance_of(own)
    return bus_power_w(dc_power(array_power(module, rows_light), module, balance), balance)


def roof_checks(own: SiteYear) -> list[Check]:
    """Checks of the site's array on its roof: room, shadow rule, tilt."""
    stands, array = standing(own), own.site.array
    fit = stands.roof_fit
    per_row = -(-array.module_count // array.rows)
    sizes = sorted(fit.row_sizes, reverse=True)
    fits = holds(sizes, array.rows, array.module_count)
    uneven = "up to " if sizes and sizes[0] != sizes[-1] else ""
    checks = [
        checked(
            fits, "failed",
            **worded(
                "stages", "modules-on-roof", module_count=array.module_count, rows=array.rows,
                per_row=per_row,
            ),
            limit=f"{fit.module_count} in {len(sizes)} {'rows' if len(sizes) > 1 else 'row'} of"
            f" {uneven}{fit.largest_row}" if sizes else "none fits",
        )
    ]
    if stands.rows.lift_deg > 0.0 and array.rows > 1:
        checks.append(_pitch_check(own, stands))
        if array.string_layout != "across-rows":
            checks.append(_string_rows_check(array))
    boxes = own_boxes(own)
    if boxes is not None:
        light, _ = open_plane(own, stands.rows.tilt_deg, stands.rows.azimuth_deg)
        checks.append(
            box_check(around_of(own, stands.rows, boxes), light, stands.rows.orientation)
        )
    if stands.rows.tilt_deg < LOW_TILT_DEG:
        checks.append(
            Check(outcome="review", **worded(
                "stages", "tilt-modules", tilt_deg=stands.rows.tilt_deg, low_tilt_deg=LOW_TILT_DEG,
            ))
        )
    return checks


def room_checks(own: SiteYear) -> list[Check]:
    """Nothing to check but that a module fits on the roof at all.

    Raises
    ------
    NoAnswer
        Where none does, either way round.
    """
    ways: tuple[Orientation, ...] = get_args(Orientation)
    if not any(standing(own, way).roof_fit.module_count for way in ways):
        raise NoAnswer(**worded("stages", "no-array-on-roof"))
    return []


def _string_rows_check(array: Array) -> Check:
    """Whether the strings can lie within one row each, as the shade model takes them to."""
    per_row = -(-array.module_count // array.rows)
    whole = per_row % array.modules_in_series == 0
    return checked(whole, **worded(
        "stages", "strings-that-lie", per_row=per_row, modules_in_series=array.modules_in_series,
    ))  # fmt: skip


def _pitch_check(own: SiteYear, stands: Standing) -> Check:
    array = own.site.array
    window = f"{array.clear_from_solar_h:g} to {array.clear_to_solar_h:g} h solar time"
    if stands.rule_m is None:
        return Check(
            **worded("stages", "row-pitch-pitch-check", pitch_m=stands.pitch_m, window=window),
            outcome="review",
        )  # fmt: skip
    clear = stands.pitch_m >= stands.rule_m - 0.005
    return checked(clear, **worded(
        "stages", "row-pitch", pitch_m=stands.pitch_m, rule_m=stands.rule_m, window=window,
    ))  # fmt: skip


def string_checks(own: SiteYear, harvest: Harvest) -> list[Check]:
    """Checks of the string's voltage and of the controller against the year's weather."""
    controller = own.site.controller
    safe = harvest.coldest_voc_v <= controller.max_pv_voltage_v
    lost, inside = harvest.lost_to_window_frac, harvest.in_window_frac
    bus_kwh = float(harvest.hours["bus_w"].sum()) / 1000.0
    offered_kwh = bus_kwh + harvest.clipped_kwh
    clipped = harvest.clipped_kwh / offered_kwh if offered_kwh > 0.0 else 0.0
    return [
        checked(safe, "failed", **worded(
            "stages", "string-open-circuit", coldest_voc_v=harvest.coldest_voc_v,
            max_pv_voltage_v=controller.max_pv_voltage_v,
        )),
        checked(
            lost <= WINDOW_LOST_FRAC and inside >= IN_WINDOW_FRAC,
            "failed" if inside < IN_WINDOW_FRAC or harvest.ac_kwh == 0.0 else "review",
            **worded("stages", "energy-outside-window", lost=100.0 * lost, inside=100.0 * inside,
                     lost_percent=100.0 * WINDOW_LOST_FRAC,
                     inside_percent=100.0 * IN_WINDOW_FRAC),
        ),
        checked(clipped <= CLIPPED_FRAC, **worded(
            "stages", "energy-turned-away", clipped=100.0 * clipped,
            clipped_percent=100.0 * CLIPPED_FRAC,
        )),
        *([Check(outcome="failed", **worded("stages", "array-without-energy"))]
          if harvest.ac_kwh <= 0.0 else []),
    ]  # fmt: skip


WINDOW_LOST_FRAC = float(constant("energy.window_lost_frac"))
IN_WINDOW_FRAC = float(constant("energy.in_window_frac"))
CLIPPED_FRAC = float(constant("energy.clipped_frac"))
