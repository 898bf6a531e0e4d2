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
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pvlib

from solarcalc.circuit.module import five_parameters
from solarcalc.design import Design, open_design
from solarcalc.diagrams.single_line import single_line
from solarcalc.energy.diode import diode_of
from solarcalc.sitefile.named import site_path
from solarcalc.sitefile.read import read_site, weather_path
from solarcalc.views.commissioning import sheet_of_site
from solarcalc.views.electrical import places_of
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


def plain_chain(this: Design, path: str) -> float:
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
    five = five_parameters(diode_of(this.site.module), light[up], cell[up])
    best = pvlib.pvsystem.max_power_point(*five, method="newton")["p_mp"]
    return float(best.sum()) / 1000.0


def main(site: str) -> None:
    """Measure and print."""
    sitefile = read_site(site_path(site))
    this = open_design(site)
    assert this.economics is not None
    chain = median_ms(lambda: plain_chain(this, str(weather_path(sitefile))))

    def whole() -> None:
        assert open_design(site).energy is not None

    ours = median_ms(whole)
    line("site file, weather and a year with all losses", ours, "ms", target=None, better="lower")
    line("plain chain of library calls, one clean row", chain, "ms", target=None, better="lower")
    line("ours over plain chain", ours / chain, "times", target=2.0, better="lower")
    line("read and check the weather", median_ms(lambda: read_weather(sitefile)), "ms",
         target=None, better="lower")
    line("a year's harvest alone", median_ms(lambda: fresh(this, "energy").energy), "ms",
         target=None, better="lower")
    line("a year of two boards and a bank", median_ms(lambda: fresh(this, "supply").supply),
         "ms", target=None, better="lower")
    building_stages(this)


def building_stages(this: Design) -> None:
    """What is built, priced and tested, each from the stages before it, beside a year's harvest."""
    a_year = median_ms(lambda: fresh(this, "energy").energy)
    stages: dict[str, Callable[[], Any]] = {
        "strings, cables, pipe and protection": lambda: fresh(this, "electrical").electrical,
        "places for the power room": lambda: places_of(this),
        "single-line diagram": lambda: single_line(this.installation),
        "parts, conductors and routes": lambda: fresh(this, "installation").installation,
        "earthing": lambda: fresh(this, "earth").earth,
        "power room through the year": lambda: fresh(this, "room").room,
        "programme, bill, quote and money over the life": lambda: fresh(
            this, "installation", "programme", "bill", "offer", "economics").economics,
        "test sheet": lambda: sheet_of_site(this),
    }
    for name, stage in stages.items():
        ms = median_ms(stage)
        line(name, ms, "ms", target=None, better="lower")
        line(f"{name}, over a year's harvest", ms / a_year, "times", target=None, better="lower")


def fresh(this: Design, *stages: str) -> Design:
    """The same design with these stages still to be worked out."""
    return replace(this, kept={name: one for name, one in this.kept.items() if name not in stages})


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "ridge-clinic")
