"""What a job takes for granted, each with its source; printed in every report."""

from __future__ import annotations

from solarcalc.basis.hours import has_summer_time
from solarcalc.basis.sourced import Sourced, assumptions, sources_of_defaults
from solarcalc.battery.bank import bank_assumptions, warmth_assumptions
from solarcalc.battery.care import care_assumptions
from solarcalc.battery.existing import existing_assumptions
from solarcalc.design import Design
from solarcalc.sitefile.place import zone_of
from solarcalc.soiling import dirt_band_over_cells_m, dust_model
from solarcalc.stages.array import standing
from solarcalc.stages.snow import snow_of
from solarcalc.supply.engine import engine_assumptions
from solarcalc.supply.site import grid_assumptions

DEFAULT_USED = " (default value used)"
"""Behind the key of a value that nobody gave."""


def light_assumptions(design: Design) -> list[Sourced]:
    """What the orientation and yield workbooks take for granted."""
    return [
        *_weather(design),
        *assumptions("sky"), *assumptions("circuit"), *assumptions("shading"),
        *assumptions("roof", "rows"), dust_model(design.site.soiling),
        *assumptions("soiling", "dust"), *_dirt_band(design), *_snow(design),
        *assumptions("energy", "light"),
        *_gap(design),
        *defaults_of(design, ("roof", "array", "soiling", "snow", "losses")),
    ]


def hardware_assumptions(design: Design) -> list[Sourced]:
    """What the count of rails, clamps, feet and weight takes for granted."""
    wind = [*assumptions("structure"), *defaults_of(design, ("structure",))]
    return [*assumptions("roof", "rails"), *defaults_of(design, ("rails",)),
            *(wind if design.structure is not None else [])]


def board_assumptions(design: Design) -> list[Sourced]:
    """What the battery workbook takes for granted besides the light."""
    existing = existing_assumptions(design.site.existing)
    tables = ["loads", "battery", "costs"]
    tables += ["supply"] if design.site.supply.separate_banks else []
    tables += ["grid"] if design.site.grid.there else []
    tables += ["generator"] if design.site.generator.there else []
    battery = design.site.battery
    return [
        *light_assumptions(design),
        *bank_assumptions(battery), *warmth_assumptions(battery),
        *assumptions("supply"), *assumptions("battery", "ageing"),
        *care_assumptions(battery.traits), *assumptions("battery", "worksheet"), *existing,
        *engine_assumptions(design.site), *grid_assumptions(design.site),
        *defaults_of(design, tuple(tables)),
    ]


def _dirt_band(design: Design) -> list[Sourced]:
    """The dirt band, where these modules have one."""
    rows = standing(design).rows
    if dirt_band_over_cells_m(design.site.soiling, tilt_deg=rows.tilt_deg) == 0.0:
        return []
    return list(assumptions("soiling", "dirt_band"))


def _snow(design: Design) -> list[Sourced]:
    """How snow is counted, where there is any."""
    return list(assumptions("snow")) if snow_of(design).falls else []


def _gap(design: Design) -> list[Sourced]:
    """The gap under the modules, where the site file gives it."""
    return [] if design.site.array.gap_under_m is None else [*assumptions("energy", "gap")]


def _weather(design: Design) -> list[Sourced]:
    weather, place = design.weather, design.site.site
    entries = [
        Sourced(label="Weather", value=weather.source, unit="",
                source=f"station {weather.station}, {weather.distance_km:.0f} km from the site"),
        Sourced(label="Time stamps", value=weather.file_label_convention, unit="",
                source="read as the interval from each label on; sun position at its middle"),
    ]
    zone = zone_of(place.time_zone)
    if zone is not None and has_summer_time(zone):
        entries.append(
            Sourced(label="Clock", value="standard time all year", unit="",
                    source="a simplification: summer time is not used")
        )
    return entries


def defaults_of(design: Design, tables: tuple[str, ...]) -> list[Sourced]:
    """Values the site file leaves to our defaults, with the source of each default."""
    entries = []
    for path, source in sources_of_defaults().items():
        table, key = path.split(".")
        record = getattr(design.site, table)
        if table in tables and key not in record.model_fields_set:
            value = getattr(record, key)
            entries.append(
                Sourced(label=f"{path}{DEFAULT_USED}", value=value, unit="", source=source)
            )
    return entries
