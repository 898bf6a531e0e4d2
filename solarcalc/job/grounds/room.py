"""The power room of a job: its year, its tables, what its heat does to the battery."""

from __future__ import annotations

import numpy as np

from solarcalc.harvest.energy import Harvest
from solarcalc.job.bank_life import years_at
from solarcalc.job.opening import Job
from solarcalc.job.tables import Row, fact_line
from solarcalc.powerroom.plan import EquipmentHeat, RoomPlan, room_plan
from solarcalc.supply.run import SupplyRun


def room_of(job: Job, harvest: Harvest, year: SupplyRun) -> RoomPlan:
    """The power room of a job with the heat of its own year.

    The controllers' heat is that of the energy the boards and the battery take, not of what is
    thrown away.
    """
    hours, supply = harvest.hours, year.hours
    used = np.divide(
        supply["solar_used_w"], supply["solar_w"],
        out=np.zeros(len(supply)), where=supply["solar_w"].to_numpy() > 0.0,
    )  # fmt: skip
    losses = EquipmentHeat(
        inverter_w=(supply["inverter_loss_w"] + supply["charger_loss_w"]).to_numpy(),
        controller_w=np.clip((hours["dc_w"] - hours["bus_w"]).to_numpy() * used, 0.0, None),
        battery_w=(supply["battery_loss_w"] + supply["self_discharge_w"]).to_numpy(),
    )
    weather = job.weather.hours
    return room_plan(
        job.site, air_c=weather["temp_air"].to_numpy(), ghi_w_m2=weather["ghi"].to_numpy(),
        losses=losses,
    )  # fmt: skip


def room_rows(plan: RoomPlan) -> list[Row]:
    """Air, heat and floor, line by line."""
    return [dict(row) for row in plan.rows]


def room_notes(plan: RoomPlan) -> tuple[str, ...]:
    """Air, fire and safety in words."""
    return plan.notes


def battery_years_rows(job: Job, year: SupplyRun, plan: RoomPlan) -> list[Row]:
    """Years of the battery, and what they would be at the room's heat balance."""
    plain, own = years_at(job, year, None), years_at(job, year, plan.balance_c)
    return [
        fact_line("Battery years", plain, "years"),
        fact_line("Battery years by the room's heat balance, as a check", own, "years"),
    ]
