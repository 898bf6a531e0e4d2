"""What would change the answer of the boards: one thing at a time, the rest as the site has it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from solarcalc.harvest.energy import Harvest
from solarcalc.job.bank_life import lives_of
from solarcalc.job.boards import supply_of_sun, unserved_frac
from solarcalc.job.opening import Job, changed
from solarcalc.supply.run import SupplyRun

Row = dict[str, Any]
Change = tuple[str, Job, float]
"""What is changed, the changed job, and by how much its array's sun is scaled."""

WARM_ROOM_C, COOL_ROOM_C = 35.0, 20.0


def what_would_change_the_supply(job: Job, harvest: Harvest, year: SupplyRun) -> list[Row]:
    """One row for each thing changed alone: dark hours, waiting, lowest charge, battery years.

    More or fewer strings scale the sun of the site's own array.
    """
    rows = [_row("as the site file says", job, year)]
    for name, tried, scale in _changes(job):
        run = supply_of_sun(tried, harvest.hours["bus_w"] * scale)
        rows.append(_row(name, tried, run))
    return rows


def _changes(job: Job) -> Iterator[Change]:
    site = job.site
    reserve = site.battery.reserve_frac

    def above(share: float) -> float:
        """A level between the reserve and full."""
        return reserve + share * (1.0 - reserve)

    strings = site.array.string_count
    units = site.battery.units_in_parallel
    yield "one module string more", job, (strings + 1) / strings
    if strings > 1:
        yield "one module string fewer", job, (strings - 1) / strings
    if not site.supply.separate_banks:
        more = {"units_in_parallel": units + 1}
        yield "one battery string more", changed(job, battery=more), 1.0
        if units > 1:
            fewer = {"units_in_parallel": units - 1}
            yield "one battery string fewer", changed(job, battery=fewer), 1.0
    no_room = {"room_swing_frac": None, "room_above_k": None}
    for word, room_c in (("warm", WARM_ROOM_C), ("cool", COOL_ROOM_C)):
        room = changed(job, battery={**no_room, "room_c": room_c})
        yield f"a {word} battery room, {room_c:.0f} °C", room, 1.0
    if not site.grid.there:
        weak = {"kind": "random", "outage_h_per_day": 12.0, "mean_outage_h": 4.0,
                "charge_below_frac": above(0.2)}  # fmt: skip
        yield "a grid that is away half of the time", changed(job, grid=weak), 1.0
    else:
        yield "no grid at all", changed(job, grid={"kind": "none"}), 1.0
    if not site.generator.there:
        power_w = site.inverter.critical.continuous_power_w
        levels = {"power_w": power_w, "start_frac": above(0.1), "stop_frac": above(0.4)}
        generator = changed(job, generator=levels)
        yield f"a generator of {power_w:.0f} W", generator, 1.0


def _row(name: str, job: Job, year: SupplyRun) -> Row:
    return {
        "what is changed": name,
        "critical board dark [h]": year.dark_hours("critical"),
        "heavy energy that waits [%]": 100.0 * unserved_frac(year, "heavy"),
        "lowest charge [%]": 100.0 * float(year.state_of_charge.min()),
        "battery years": min(life.years for life, _ in lives_of(job, year).values()),
        "fuel [l]": f"{year.fuel_l:.0f}",
    }
