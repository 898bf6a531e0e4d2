"""Each stage of a job once, warm, beside a plain chain of library calls for the same year.

    python tests/bench/stages.py [SITE]

The chain reads the weather with pvlib's reader and takes light, glass, heat and module of one
unshaded row through pvlib, as a user of the library would write it; medians of seven runs.
"""

from __future__ import annotations

import json
import statistics
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pvlib

from solarcalc import diagrams, job
from solarcalc.commissioning.from_job import sheet_of_job
from solarcalc.harvest.diode import diode_of
from solarcalc.job import electrical, grounds
from solarcalc.quote.from_job import priced
from solarcalc.sitefile.read import read_site, weather_path
from solarcalc.weather.read import read_weather

RUNS = 7


def median_ms(function: Callable[[], Any]) -> float:
    """Median wall time of a call [ms], after one that is not counted."""
    function()
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return 1000.0 * statistics.median(times)


def line(figure: str, value: float, unit: str, *, target: float | None, better: str) -> None:
    """Print one figure as one JSON object."""
    print(json.dumps({"figure": figure, "value": round(value, 3), "unit": unit,
                      "target": target, "better": better}))


def plain_chain(this: job.Job, path: str) -> float:
    """Yearly energy of one module of the site, by library calls alone [kWh]."""
    place, array = this.site.site, this.site.array
    data, _ = pvlib.iotools.read_tmy3(path, coerce_year=2001, map_variables=True)
    middle = data.index - timedelta(minutes=30)
    sun = pvlib.solarposition.get_solarposition(
        middle, place.latitude_deg, place.longitude_deg, place.elevation_m)
    sun.index = data.index
    extra = pvlib.irradiance.get_extra_radiation(data.index.day_of_year)
    plane = pvlib.irradiance.get_total_irradiance(
        array.tilt_deg, array.azimuth_deg, sun["apparent_zenith"], sun["azimuth"], data["dni"],
        data["ghi"], data["dhi"], dni_extra=extra, model="haydavies")
    aoi = pvlib.irradiance.aoi(
        array.tilt_deg, array.azimuth_deg, sun["apparent_zenith"], sun["azimuth"])
    light = plane["poa_direct"] * pvlib.iam.physical(aoi) + plane["poa_diffuse"] * 0.95
    cell = pvlib.temperature.faiman(plane["poa_global"], data["temp_air"], data["wind_speed"])
    up = light > 1.0
    five = pvlib.pvsystem.calcparams_cec(light[up], cell[up], **diode_of(this.site.module))
    best = pvlib.pvsystem.max_power_point(*five, method="newton")["p_mp"]
    return float(best.sum()) / 1000.0


def main(site: str) -> None:
    """Measure and print."""
    sitefile = read_site(job.site_path(site))
    this = job.open_job(site)
    harvest = job.yearly_harvest(this)
    chain = median_ms(lambda: plain_chain(this, str(weather_path(sitefile))))

    def whole() -> None:
        opened = job.open_job(site)
        job.yearly_harvest(opened)

    ours = median_ms(whole)
    line("site file, weather and a year with all losses", ours, "ms", target=None, better="lower")
    line("plain chain of library calls, one clean row", chain, "ms", target=None, better="lower")
    line("ours over plain chain", ours / chain, "times", target=2.0, better="lower")
    line("read and check the weather", median_ms(lambda: read_weather(sitefile)), "ms",
         target=None, better="lower")
    line("a year's harvest alone", median_ms(lambda: job.yearly_harvest(job.changed(this))), "ms",
         target=None, better="lower")
    line("a year of two boards and a bank", median_ms(lambda: job.supply_year(this, harvest)),
         "ms", target=None, better="lower")
    building_stages(this, harvest)


def building_stages(this: job.Job, harvest: Any) -> None:
    """What is built, priced and tested, each from a year that is known, beside that year."""
    year = job.supply_year(this, harvest)
    built = electrical.electrical_of(this, harvest, year)
    earth = grounds.earth_of(this, built)
    a_year = median_ms(lambda: job.yearly_harvest(job.changed(this)))
    stages: dict[str, Callable[[], Any]] = {
        "strings, cables, pipe and protection": lambda: electrical.electrical_of(
            this, harvest, year),
        "places for the power room": lambda: electrical.places_of(this, built),
        "single-line diagram": lambda: diagrams.single_line(
            this.site, built.sized, built.plan.devices),
        "earthing": lambda: grounds.earth_of(this, built),
        "power room through the year": lambda: grounds.room_of(this, harvest, year),
        "programme, bill, quote and money over the life": lambda: priced(
            this, harvest, year, built, earth),
        "test sheet": lambda: sheet_of_job(this, earth),
    }
    for name, stage in stages.items():
        ms = median_ms(stage)
        line(name, ms, "ms", target=None, better="lower")
        line(f"{name}, over a year's harvest", ms / a_year, "times", target=None, better="lower")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "ridge-clinic")
