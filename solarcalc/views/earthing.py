"""What the earthing workbook shows: soil, electrode, earth bar, lightning, power room."""

from __future__ import annotations

from solarcalc.basis.check import chapter_words
from solarcalc.basis.sourced import Sourced, assumptions
from solarcalc.design import Design
from solarcalc.earthing import plan as earthing
from solarcalc.earthing.bar import bar_rows
from solarcalc.earthing.checks import electrode_limits
from solarcalc.installation.records import with_tags
from solarcalc.powerroom.plan import ROOM_ASSUMPTIONS
from solarcalc.stages.battery_life import said_years
from solarcalc.views.assumptions import defaults_of
from solarcalc.views.rows import Row, Values, fact_line


def has_soil_test(design: Design) -> bool:
    """Whether the site file holds a four-electrode test."""
    return bool(design.site.soil.spacing_m)


def soil_rows(design: Design) -> list[Row]:
    """Readings of the four-electrode test, or what stands in for it."""
    ground = design.earth.electrode.ground
    read: list[Row] = [dict(row) for row in earthing.ground_rows(design.earth)]
    return read or [
        fact_line("No soil test: typical value of the soil type", ground.basis),
        fact_line("Soil resistivity", ground.resistivity_ohm_m, "Ω·m"),
    ]


def electrode_rows(design: Design) -> list[Row]:
    """Resistances of the electrode, down to what the checks use."""
    return [dict(row) for row in earthing.electrode_rows(design.earth)]


def electrode_words(design: Design) -> str:
    """The electrode in words, for its drawing."""
    electrode = design.earth.electrode
    return f"{electrode.words}; {electrode.worst_ohm:.0f} Ω in the worst season"


def rod_rows(design: Design) -> list[Row]:
    """What other lengths and numbers of rods would give in the worst season."""
    return [dict(row) for row in design.earth.rod_rows]


def measuring_words(design: Design) -> tuple[str, ...]:
    """Steps of measuring soil and electrode."""
    earth = design.earth
    return (*earth.soil_steps, *earth.electrode_steps)


def bar_schedule(design: Design) -> list[Row]:
    """The schedule of the main earth bar."""
    tags = {part.key: part.tag for part in design.installation.parts}
    return [{**row, "label": with_tags(str(row["label"]), tags)}
            for row in bar_rows(design.earth.lines)]  # fmt: skip


def lightning_rows(design: Design) -> list[Row]:
    """Flashes, distances and what a rod would shelter."""
    lightning = design.earth.lightning
    return [
        fact_line("Thunderstorm days T_D", lightning.thunderstorm_days, "days/year"),
        fact_line("Ground flash density N_G", lightning.ground_flash_density_per_km2,
                  "per km² and year"),
        fact_line("Lightning protection system on the building", "yes" if lightning.rods else "no"),
        fact_line("Separation distance s, array to lightning protection",
                  lightning.keep_away_m, "m"),
        fact_line("Array bonded to the lightning protection",
                  "yes" if lightning.array_bonded else "no"),
    ]


def lightning_words(design: Design) -> tuple[str, ...]:
    """What lightning asks, and how the earths meet."""
    earth = design.earth
    return (*earth.notes, *earth.lightning_notes)


def answer(design: Design) -> str:
    """The answer in one sentence, from the figures."""
    worst, asked = design.earth.electrode.worst_ohm, design.earth.asked_ohm
    checks = design.checks["earthing"]
    limit = next(check for check in checks if check.rule == "earthing/electrode-limit")
    why = next(words for words, ohm in electrode_limits(design.site).items() if ohm == asked)
    held = "is below" if worst <= asked else "exceeds"
    stands = ""
    if worst > asked:
        stands = ": to review" if limit.outcome == "review" else f": {limit.outcome}"
    guessed = " (by soil type, not measured)" if limit.evidence == "assumed" else ""
    state = chapter_words(checks)
    return (
        f"Earth electrode resistance: {worst:.0f} Ω in the worst season{guessed}; this {held} the"
        f" limit of {asked:.0f} Ω ({why}){stands}. Battery temperature: mean"
        f" {design.room.warmth.mean_c:.0f} °C, maximum hourly"
        f" {design.room.warmth.hottest_c:.0f} °C; {state}."
    )


def values(design: Design) -> Values:
    """Named results.

    Each name ends in its unit.
    """
    room = design.room
    earth = design.earth
    ground, electrode = earth.electrode.ground, earth.electrode
    return {
        "soil_resistivity_ohm_m": round(ground.resistivity_ohm_m, 1),
        "electrode_computed_ohm": round(electrode.computed_ohm, 1),
        "electrode_worst_season_ohm": round(electrode.worst_ohm, 1),
        "electrode_allowed_ohm": round(earth.asked_ohm, 1),
        "rods_needed": "more than 24" if earth.needed_rods is None else earth.needed_rods,
        "earthing_conductor_mm2": earth.main_earth_mm2,
        "main_earthing_terminal_connections": len(earth.lines),
        "ventilation_m3_per_h": round(room.need.flow_m3_per_h, 2),
        "free_vent_cm2": round(room.need.free_cm2, 1),
        "battery_safety_distance_mm": round(room.need.spark_mm),
        "battery_mean_c": round(room.warmth.mean_c, 1),
        "battery_hottest_c": round(room.warmth.hottest_c, 1),
        "room_cooling_kwh_per_year": round(room.year.cooling_kwh_per_year),
        "floor_load_kg_per_m2": round(room.floor.rack_kg_per_m2),
    }


def assumed(design: Design) -> list[Sourced]:
    """What the workbook of earthing and power room takes for granted."""
    return [
        *assumptions("earthing"), *assumptions("sitepack", "trench"), *ROOM_ASSUMPTIONS,
        design.site.battery.traits.room.sourced("above_m", "m"),
        *defaults_of(design, ("earthing", "protection", "room")),
    ]  # fmt: skip


def battery_years_rows(design: Design) -> list[Row]:
    """Years of the battery in its room."""
    said = said_years(design.life)
    return [fact_line("Expected battery service life", said,
                      "" if isinstance(said, str) else "years")]  # fmt: skip
