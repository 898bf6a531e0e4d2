"""The sweep beside a chain of library calls, the whole field, one slider move, and what bounds it.

    python tests/bench/sweep.py

The chain is what a user who knows pvlib would write for many arrays: plain arrays, daylight
alone, the sun once, light, glass and dust of a plane once for all its pitches, closed forms for
the rows, and the fastest of the library's exact solvers, tried here. It has the same physics
with the shade table off. All times are of one run; those of the sweep on one thread unless said.
"""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import lru_cache, partial
from typing import Any

import numpy as np
import pandas as pd
import pvlib
from numba import njit

from solarcalc.circuit.module import cells_of_fit, five_parameters
from solarcalc.circuit.strings import Strung, along_row
from solarcalc.design import open_design
from solarcalc.energy.diode import diode_of
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.losses import Losses
from solarcalc.sweep import kernels
from solarcalc.sweep.device import Equipment, device_of
from solarcalc.sweep.fields import Setting, _arrays_of, one_year, planes_of, sun_of, sweep
from solarcalc.sweep.years import Field, RoofPlane, sky_year_of

TILTS_DEG, AZIMUTHS_DEG = np.linspace(0.0, 40.0, 41), np.arange(73) * 360.0 / 73
PITCHES = np.linspace(1.3, 3.25, 40)
"""In slants, so that every pitch of every plane can stand and none is skipped."""
ALBEDO_FRAC = 0.2
BAND_RAD = np.radians(6.5)
SPREAD = 300


def line(
    figure: str, value: float, unit: str, target: float | None = None, better: str = "lower"
) -> None:
    """Print one figure as one JSON object."""
    print(json.dumps({"figure": figure, "value": float(f"{value:.4g}"), "unit": unit,
                      "target": target, "better": better}), flush=True)  # fmt: skip


def seconds(function: Callable[[], Any], runs: int = 7) -> float:
    """Median wall time of a call [s], after one that is not counted."""
    function()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


class Chain:
    """Yearly energy of rows on a level roof by pvlib's functions alone [kWh/kWp]."""

    def __init__(self, hours: pd.DataFrame, sun: pd.DataFrame, module: Module, losses: Losses):
        day = (hours.index + pd.Timedelta(minutes=30)).tz_convert("UTC").day_of_year.to_numpy()
        light = hours["ghi"].to_numpy() + hours["dhi"].to_numpy()
        up = sun["apparent_zenith_deg"].to_numpy() < 90.0
        day_hours = (light > 0.0) | ((hours["dni"].to_numpy() > 0.0) & up)
        self.zenith, self.azimuth = (
            sun[name].to_numpy()[day_hours] for name in ("apparent_zenith_deg", "azimuth_deg")
        )
        self.ghi, self.dhi, self.air, self.wind = (
            hours[name].to_numpy(float)[day_hours]
            for name in ("ghi", "dhi", "temp_air", "wind_speed")
        )
        self.up = self.zenith < 90.0
        self.dni = np.where(self.up, hours["dni"].to_numpy(float)[day_hours], 0.0)
        self.extra = pvlib.irradiance.get_extra_radiation(day)[day_hours]
        self.diode, self.rated_w = diode_of(module), module.pmax_w
        self.kept = (1.0 - losses.light_induced_frac) * (1.0 - losses.mismatch_frac)
        self.kept *= (1.0 - losses.yearly_ageing_frac) ** losses.age_years
        self.wiring = losses.dc_wiring_frac
        self.solver: Callable[..., Any] = SOLVERS["newton"]
        self.plane = lru_cache(maxsize=2)(self._plane)
        self.diffuse_glass = lru_cache(partial(pvlib.iam.marion_diffuse, "physical"))

    def _plane(self, tilt_deg: float, azimuth_deg: float) -> tuple[Any, ...]:
        """Direct, sky, band, ground light, glass for each, and whether the plane is lit."""
        aoi = pvlib.irradiance.aoi(tilt_deg, azimuth_deg, self.zenith, self.azimuth)
        parts = pvlib.irradiance.perez_driesse(
            tilt_deg, azimuth_deg, self.dhi, self.dni, self.extra, self.zenith, self.azimuth,
            return_components=True,
        )
        around, band = (
            np.where(self.up, parts[name], 0.0) for name in ("poa_circumsolar", "poa_horizon")
        )
        even = pvlib.irradiance.isotropic(tilt_deg, self.dhi)
        sky = np.where(self.up, parts["poa_isotropic"], even)
        sky, band = np.maximum(sky + np.minimum(band, 0.0), 0.0), np.maximum(band, 0.0)
        direct = np.maximum(self.dni * np.cos(np.radians(aoi)), 0.0) + around
        ground = pvlib.irradiance.get_ground_diffuse(tilt_deg, self.ghi, ALBEDO_FRAC)
        glass = self.diffuse_glass(tilt_deg)
        on_glass = (glass["sky"], glass["horizon"], glass["ground"] if tilt_deg > 0.0 else 0.0)
        lit = (aoi < 90.0) & self.up
        return direct, (sky, band, ground), pvlib.iam.physical(aoi), on_glass, lit

    def year(self, tilt_deg: float, azimuth_deg: float, pitch: float) -> float:
        """A row behind another at a pitch in slants."""
        direct, (sky, band, ground), glass, on_glass, lit = self.plane(tilt_deg, azimuth_deg)
        shaded = pvlib.shading.shaded_fraction1d(
            self.zenith, self.azimuth, axis_azimuth=azimuth_deg - 90.0,
            shaded_row_rotation=tilt_deg, collector_width=1.0, pitch=pitch,
        )  # fmt: skip
        direct = direct * np.where(lit, 1.0 - shaded, 1.0)
        cosine = np.cos(np.radians(tilt_deg))
        seen = (1.0 + pitch - np.sqrt(pitch**2 + 1.0 - 2.0 * pitch * cosine)) / (1.0 + cosine)
        sky, band = sky * seen, band * _band_seen(tilt_deg, azimuth_deg, pitch)
        cell = pvlib.temperature.sapm_cell(
            direct + sky + band + ground, self.air, self.wind, a=-3.56, b=-0.075, deltaT=3
        )
        light = direct * glass + sky * on_glass[0] + band * on_glass[1] + ground * on_glass[2]
        on = light > 1.0
        power = self.solver(five_parameters(self.diode, light[on], cell[on]))
        power = power * (self.kept / self.rated_w)
        return float((power * (1.0 - self.wiring * power)).sum())


def _band_seen(tilt_deg: float, azimuth_deg: float, pitch: float) -> float:
    """Share that a row on a level roof sees of a band 6.5 deg high: rays from its middle."""
    if tilt_deg == 0.0:
        return 1.0
    off = np.radians(np.arange(1.0, 360.0, 2.0) - azimuth_deg)
    tilt, height = np.radians(tilt_deg), BAND_RAD / 2.0
    on_modules = np.cos(off) * np.sin(tilt) * np.cos(height) + np.cos(tilt) * np.sin(height)
    on_modules = np.maximum(on_modules, 0.0)
    return float(np.minimum(on_modules, pitch * np.sin(height)).sum() / on_modules.sum())


def _loose_newton(five: Any) -> Any:
    return pvlib.singlediode.bishop88_mpp(
        *five, method="newton", method_kwargs={"tol": 1e-3, "rtol": 0.0, "maxiter": 50}
    )[2]


SOLVERS: dict[str, Callable[..., Any]] = {
    "newton": lambda five: pvlib.pvsystem.max_power_point(*five, method="newton")["p_mp"],
    "newton to 1 mV": _loose_newton,
    "chandrupatla": lambda five: pvlib.pvsystem.max_power_point(
        *five, method="chandrupatla")["p_mp"],
    "lambertw": lambda five: pvlib.pvsystem.singlediode(*five, method="lambertw")["p_mp"],
}  # fmt: skip
"""Brent's method, the library's default, takes over a second a year and is not tried."""


def demo() -> tuple[Chain, Setting, Setting]:
    """The chain, and the sweep's site with the table off and on, of one demo site's year."""
    this = open_design("ridge-clinic")
    module, losses = this.site.module, this.site.losses
    cells = cells_of_fit(
        diode_of(module), cells_in_series=module.cells_in_series,
        bypass_diodes=module.bypass_diodes, cell_build=module.cell_build,
    )  # fmt: skip
    off = Setting(
        year=sky_year_of(this.weather.hours, this.sun),
        roof=RoofPlane(slope_deg=0.0, azimuth_deg=180.0, albedo_frac=ALBEDO_FRAC),
        equipment=Equipment(module=module, losses=losses, mounting="open-frame", gap_m=0.02),
    )
    ways: tuple[Any, ...] = ("portrait", "landscape")
    wiring = {(way, 1): Strung(cells=cells, wiring=along_row(10), orientation=way) for way in ways}
    on = Setting(year=off.year, roof=off.roof, equipment=off.equipment, wiring=wiring)
    return Chain(this.weather.hours, this.sun, module, losses), off, on


def field_of(
    tilts_deg: Any = TILTS_DEG, azimuths_deg: Any = AZIMUTHS_DEG, pitches: Any = PITCHES,
    ways: Any = ("portrait", "landscape"),
) -> Field:  # fmt: skip
    """The whole field, or a part of it."""
    return Field(tilts_deg=tilts_deg, azimuths_deg=azimuths_deg, pitches=pitches,
                 pitch_unit="slants", orientations=ways)  # fmt: skip


def compare_spread(chain: Chain, off: Setting, count: int) -> tuple[np.ndarray, float]:
    """Sweep over chain, less one, of arrays each on a plane of its own; the chain's time of one."""
    dice = np.random.default_rng(11)
    differences, chain_s = [], 0.0
    for _ in range(count):
        tilt_deg, azimuth_deg = float(dice.uniform(1.0, 75.0)), float(dice.uniform(0.0, 360.0))
        slant_m = off.equipment.slant_m("portrait", 1)
        least = np.cos(np.radians(tilt_deg)) + 0.301 / slant_m
        pitch = float(least + dice.exponential(0.6))
        found = sweep(off, field_of([tilt_deg], [azimuth_deg], [pitch], ["portrait"]))
        chain.diffuse_glass(tilt_deg)  # kept by both, so not in the time
        start = time.perf_counter()
        energy = chain.year(tilt_deg, azimuth_deg, pitch)
        chain_s += time.perf_counter() - start
        differences.append(float(found["behind_kwh_per_kwp"].iloc[0]) / energy - 1.0)
    return np.array(differences), chain_s / count


def against_the_chain(chain: Chain, off: Setting, on: Setting) -> None:
    """Speed and agreement."""
    for name, solver in SOLVERS.items():
        chain.solver = solver
        took = seconds(lambda: chain.year(20.0, 190.0, 1.7), 3)
        line(f"chain: an array, plane at hand, solver {name}", 1000 * took, "ms")
    planes = [(5.0, 180.0), (20.0, 100.0), (35.0, 300.0)]
    times = {}
    for name in ("newton", "newton to 1 mV"):
        chain.solver = SOLVERS[name]
        start = time.perf_counter()
        for plane in planes:
            for pitch in PITCHES[::2]:
                chain.year(*plane, pitch)
        times[name] = (time.perf_counter() - start) / (len(planes) * len(PITCHES[::2]))
    fastest = min(times, key=lambda name: times[name])
    line(f"chain: an array of a field, best solver {fastest}", 1000 * times[fastest], "ms")
    whole = field_of()
    count = len(TILTS_DEG) * len(AZIMUTHS_DEG) * len(PITCHES) * 2
    for site, words, target in ((off, "off", 300.0), (on, "on", None)):
        took = seconds(lambda site=site: sweep(site, whole, threads=1), 3) / count
        line(f"sweep: an array of the field, table {words}", 1e6 * took, "us")
        line(f"variants a second a core, sweep over chain, table {words}",
             times[fastest] / took, "times", target, "higher")  # fmt: skip
    found, chain_s = compare_spread(chain, off, SPREAD)
    worst = np.abs(found)
    single = field_of(pitches=[1.5], ways=["portrait"])
    took = seconds(lambda: sweep(off, single, threads=1), 3) / (len(TILTS_DEG) * len(AZIMUTHS_DEG))
    line("the same where no two arrays share a plane, table off", chain_s / took, "times", None,
         "higher")  # fmt: skip
    line(f"worst of {SPREAD} spread arrays against the chain, table off", 100 * worst.max(), "%",
         0.1)  # fmt: skip
    line(f"mean of {SPREAD} spread arrays against the chain, table off", 100 * worst.mean(), "%")


def one_move(on: Setting) -> None:
    """What a slider waits for."""
    single = field_of([20.0], [180.0], [1.5], ["portrait"])
    pitches = field_of([20.0], [180.0])
    line("one array's year by month, warm", 1000 * seconds(lambda: one_year(on, single), 50),
         "ms", 2.0)  # fmt: skip
    line(
        "figure: 40 pitches both ways round, and one array by month",
        1000 * seconds(lambda: (sweep(on, pitches), one_year(on, single)), 50),
        "ms",
        20.0,
    )


def whole_field() -> None:
    """In a process of its own: seconds, and most memory held."""
    _, _, on = demo()
    sweep(on, field_of([20.0], [180.0]))
    start = time.perf_counter()
    table = sweep(on, field_of(), threads=2)
    line(f"whole field of {len(table):,} years with the shade table, two threads",
         time.perf_counter() - start, "s", 10.0)  # fmt: skip
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    line("most memory held by that process", held, "GiB", 2.0)


def first_use(words: str) -> None:
    """In a process of its own: the first sweep after the imports and the shade tables."""
    _, _, on = demo()
    _arrays_of(on, field_of())
    start = time.perf_counter()
    sweep(on, field_of([20.0], [180.0]))
    line(f"first sweep of a process, {words}", time.perf_counter() - start, "s")


@njit(nogil=True, fastmath=True)
def _stream(count: int, hours: Any) -> Any:
    """Only reads what the sweep reads of each hour."""
    total = np.float32(0.0)
    for i in range(count):
        total += hours[i]
    return total


@njit(nogil=True, fastmath=True)
def _multiply_add(rounds: int, values: Any) -> Any:
    """Nothing but multiplications and additions, 64 to a value, for their highest rate."""
    total = np.float32(0.0)
    for _ in range(rounds):
        for i in range(len(values)):
            x = values[i]
            p, q = x, x + x
            for _ in range(32):
                p = p * x + np.float32(0.5)
                q = q * x + np.float32(0.25)
            total += p + q
    return total


@njit(nogil=True)
def _again(
    rounds: int, count: int, hours: Any, at: Any, which: int, device: Any, shade: Any
) -> Any:
    total = 0.0
    for _ in range(rounds):
        total += kernels._shaded_sum(
            np.float32(1.3), np.float32(0.9), np.float32(0.5), count, hours, at, which, device,
            shade,
        )
    return total


@njit(nogil=True)
def _stream_again(rounds: int, count: int, hours: Any) -> Any:
    total = 0.0
    for _ in range(rounds):
        total += _stream(count * kernels.ROWS, hours)
    return total


OPERATIONS = {"off": 99, "on": 169}
"""Multiplications and additions an hour, counted in `kernels`: light and heat 18, logarithm 17,
power 61, cables 3; with the table 16 for the places and 54 for the look-up besides."""


def bounds(on: Setting) -> None:
    """Where the time goes, beside loops that only read or only calculate."""
    field = field_of([20.0], [180.0])
    sun, planes = sun_of(on.year, on.roof, on.equipment), planes_of(on, field)
    arrays, shade = _arrays_of(on, field)
    device = device_of(on.equipment.module, on.equipment.losses)
    ready = partial(kernels.order_hours, sun, planes, 0, 0, device.glass, 1.3)
    line("a plane's hours put in order", 1e6 * seconds(ready, 50), "us")
    hours, start, _ = ready()
    sums = partial(kernels._sums_from_the_end, hours, len(sun.up), 0.2, device)
    line("a plane's six sums without shade", 1e6 * seconds(sums, 50), "us")
    ratio = arrays.pitch / arrays.slant
    visited = start[np.minimum((kernels.BINS * 1.3 / ratio).astype(int) + 1, kernels.BINS)]
    line(f"hours visited an array, of {len(sun.up)} with light", float(visited.mean()), "hours")
    count, at = 4 * kernels.BLOCK, np.empty(5 * kernels.BLOCK, np.float32)
    rounds, values = 400, np.full(1024, 0.3, np.float32)
    rate = 2 * 64 * 1024 * 200 / seconds(lambda: _multiply_add(200, values)) / 1e9
    line("multiplications and additions alone", rate, "1e9 a second", None, "higher")
    per = 1e9 / (rounds * count)
    reads = per * seconds(lambda: _stream_again(rounds, count, hours))
    line("reading the same arrays alone", reads, "ns an hour")
    for words, which in (("off", -1), ("on", 0)):
        took = per * seconds(
            lambda which=which: _again(rounds, count, hours, at, which, device, shade)
        )
        line(f"an hour visited, table {words}", took, "ns an hour")
        line(f"an hour visited, table {words}: of the highest rate of arithmetic",
             100 * OPERATIONS[words] / took / rate, "%", None, "higher")  # fmt: skip
        line(f"an hour visited, table {words}: share spent on reading", 100 * reads / took, "%")


def main() -> None:
    """Measure and print."""
    chain, off, on = demo()
    against_the_chain(chain, off, on)
    one_move(on)
    bounds(on)
    own = [sys.executable, __file__]
    subprocess.run([*own, "whole field"], check=True)
    subprocess.run([*own, "machine code kept"], check=True)
    with tempfile.TemporaryDirectory() as empty:
        subprocess.run([*own, "nothing kept"], check=True, env={**os.environ,
                       "NUMBA_CACHE_DIR": empty})  # fmt: skip


if __name__ == "__main__":
    if sys.argv[1:] == ["whole field"]:
        whole_field()
    elif sys.argv[1:]:
        first_use(sys.argv[1])
    else:
        main()
