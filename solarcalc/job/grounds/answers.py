"""What the workbook of earthing and power room answers."""

from __future__ import annotations

from solarcalc.basis.sourced import NO_SOURCE, Sourced, assumptions
from solarcalc.basis.verdict import Verdict
from solarcalc.earthing.plan import EarthingPlan
from solarcalc.job.assumptions import defaults_of
from solarcalc.job.opening import Job
from solarcalc.job.tables import Values
from solarcalc.powerroom.plan import ROOM_ASSUMPTIONS, RoomPlan


def grounds_verdicts(earth: EarthingPlan, room: RoomPlan) -> list[Verdict]:
    """Every check of earthing and power room."""
    kept = [] if room.year.cooling_kw == 0.0 else [_kept(room)]
    return [*earth.verdicts, *room.verdicts, *kept]


def _kept(room: RoomPlan) -> Verdict:
    """A room kept at one temperature asks for a cooler or heater, which no list of loads holds."""
    year = room.year
    heating_kwh = float(year.heating_w.sum()) / 1000.0
    return Verdict(
        item="Keeping the room at one temperature, as a room of its own",
        found=f"{year.cooling_kwh_per_year:.0f} kWh of heat to take out a year, at most"
        f" {year.cooling_kw:.1f} kW, and {heating_kwh:.0f} kWh to put in",
        limit="counted among the loads",
        unit="", outcome="caution", clause=f"battery.room_c; {NO_SOURCE}",
        remedy="put cooler and heater on the heavy board's list of loads where the room is not"
        " inside a building that is kept so; or leave battery.room_c out and insulate and shade it",
    )  # fmt: skip


def grounds_answer(earth: EarthingPlan, room: RoomPlan) -> str:
    """The answer in one sentence, from the figures."""
    electrode = earth.electrode
    held = "keeps" if electrode.worst_ohm <= earth.asked_ohm else "is above"
    failed = sum(verdict.outcome == "failed" for verdict in grounds_verdicts(earth, room))
    state = "no check fails" if failed == 0 else f"{failed} checks fail"
    return (
        f"The electrode comes to {electrode.worst_ohm:.0f} Ω in the worst season and {held} the"
        f" {earth.asked_ohm:.0f} Ω it is built for; the batteries are {room.warmth.mean_c:.0f} °C"
        f" warm in the mean and {room.warmth.hottest_c:.0f} °C at the most, and {state}."
    )


def grounds_values(earth: EarthingPlan, room: RoomPlan) -> Values:
    """Named results."""
    ground, electrode = earth.electrode.ground, earth.electrode
    return {
        "soil_resistivity_ohm_m": round(ground.resistivity_ohm_m, 1),
        "electrode_computed_ohm": round(electrode.computed_ohm, 1),
        "electrode_worst_season_ohm": round(electrode.worst_ohm, 1),
        "electrode_allowed_ohm": round(earth.allowed_ohm, 1),
        "rods_needed": "more than 24" if earth.needed_rods is None else earth.needed_rods,
        "earthing_conductor_mm2": earth.main_earth_mm2,
        "earth_bar_lines": len(earth.lines),
        "ventilation_m3_per_h": round(room.need.flow_m3_per_h, 2),
        "free_vent_cm2": round(room.need.free_cm2, 1),
        "spark_distance_mm": round(room.need.spark_mm),
        "battery_mean_c": round(room.warmth.mean_c, 1),
        "battery_hottest_c": round(room.warmth.hottest_c, 1),
        "room_cooling_kwh_per_year": round(room.year.cooling_kwh_per_year),
        "floor_load_kg_per_m2": round(room.floor.rack_kg_per_m2),
    }


def grounds_assumptions(job: Job) -> list[Sourced]:
    """What the workbook of earthing and power room takes for granted."""
    return [
        *assumptions("earthing"), *ROOM_ASSUMPTIONS,
        *defaults_of(job, ("earthing", "protection", "room")),
    ]  # fmt: skip
