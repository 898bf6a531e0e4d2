"""The engine of a generator at its place: what air leaves of its power, litres, hours, starts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from solarcalc.basis.check import Check, checked
from solarcalc.basis.sourced import NO_SOURCE, Sourced, assumptions, constant, printed_source
from solarcalc.basis.text import small
from solarcalc.basis.worded import worded
from solarcalc.sitefile.derating import left_frac
from solarcalc.sitefile.generator import BankLevels, Generator, generator_levels
from solarcalc.sitefile.site import Site
from solarcalc.supply.run import SupplyRun
from solarcalc.supply.system import GeneratorSet

STANDBY_H = constant("generator.standby_h")
LIMITED_H = constant("generator.limited_h")
MEAN_LOAD_FRAC = constant("generator.mean_load_frac")
SERVICES_PER_YEAR = float(constant("generator.services_per_year"))
_MEAN_OVER_H = 24


def derated_w(site: Site) -> float:
    """Power that the generator gives at the site on the hottest day [W]; its plate's at most.

    For what it can serve and what its loads may ask. Cables and short circuits follow its plate:
    a cool day gives it back, and the alternator does not mind thin air.
    """
    return site.generator.power_w * left_frac(site.generator, elevation_m=site.site.elevation_m)


def source_w(site: Site) -> dict[str, float]:
    """What each source gives at the site [W]: the limit of the grid, the derated generator."""
    given = {"grid": site.grid.limit_w, "generator": derated_w(site)}
    return {source: given[source] for source in site.sources}


def bank_levels(site: Site) -> BankLevels:
    """States of charge that the generator's levels are held against, [0 to 1]."""
    battery, apart = site.battery, site.supply.separate_banks
    reserve = battery.min_soc_frac
    return BankLevels(
        reserve_frac=reserve,
        shed_frac=reserve if apart else battery.nonessential_shed_frac,
        return_frac=reserve if apart else battery.nonessential_return_frac,
    )


def levels_of(site: Site) -> tuple[float, float]:
    """States of charge at which the generator starts and stops, [0 to 1]."""
    one = site.generator
    return generator_levels(one.start_frac, one.stop_frac, bank_levels(site))


def fuel_line(generator: Generator) -> tuple[float, float]:
    """Litres an hour without load [l/h] and for each kWh more [l/kWh].

    By the litres of its sheet, as the straight line nearest to them (least squares, neither part
    below 0); else by the
    coefficients given; else by those of its engine. Litres without load grow with the plate's
    power, so that a derated set burns more for a kWh.
    """
    rated_kw, kind = generator.power_w / 1000.0, generator.kind
    if generator.sheet_load_frac:
        loads_kw = np.array(generator.sheet_load_frac) * rated_kw
        (start, slope), _ = nnls(
            np.stack([np.ones_like(loads_kw), loads_kw], axis=1), generator.sheet_fuel_l_per_h
        )
        return float(start), float(slope)
    no_load, slope = generator.no_load_fuel_l_per_h_per_kw, generator.fuel_l_per_kwh
    no_load = kind.no_load_fuel_l_per_h_per_kw if no_load is None else no_load
    return no_load * rated_kw, kind.fuel_l_per_kwh if slope is None else slope


def generator_of(site: Site) -> GeneratorSet | None:
    """The generator of the site file at its height and in its heat; None at 0 W."""
    one = site.generator
    if not one.there:
        return None
    power_w, (no_load_l, slope_l), levels = derated_w(site), fuel_line(one), levels_of(site)
    return GeneratorSet(
        power_w=power_w, start_frac=levels[0], stop_frac=levels[1],
        least_load_frac=min(1.0, one.least_load_frac * one.power_w / power_w),
        idle_fuel_l_per_h=no_load_l, fuel_l_per_kwh=slope_l, warm_up_h=one.warm_up_min / 60.0,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Running:
    """A year of a generator.

    Parameters
    ----------
    run_h : float
        Hours in which it runs [h/year].
    starts : int
        Times it starts in the year; one that runs over the year's end has not stopped.
    fuel_l : float
        Of the year [l].
    warm_up_l : float
        The part of it that is burnt before it takes load [l].
    mean_load_frac : float
        Highest mean over 24 h of running, standstill left out, of its derated power, [0 to 1].
    """

    run_h: float
    starts: int
    fuel_l: float
    warm_up_l: float
    mean_load_frac: float


NO_ENGINE = Running(run_h=0.0, starts=0, fuel_l=0.0, warm_up_l=0.0, mean_load_frac=0.0)


def services_per_year(generator: Generator, running: Running) -> float:
    """Services of a generator in a year: by its hours, and once a year at least."""
    return max(running.run_h / generator.serviced_each_h, SERVICES_PER_YEAR)


def running_of(year: SupplyRun) -> Running:
    """Hours, starts, litres and load of a year's generator; nothing where there is none.

    Each hour in which it runs has its litres without load, its warming up included.
    """
    engine, on = year.system.generator, year.hours["generator_on"].to_numpy(bool)
    if engine is None:
        return NO_ENGINE
    starts = int((on & ~np.roll(on, 1)).sum())
    gives = [f"generator_to_{to}_w" for to in ("essential", "nonessential", "charge")]
    load = year.hours[gives].sum(axis=1).to_numpy()[on] / engine.power_w
    return Running(
        run_h=float(on.sum()), starts=starts, fuel_l=year.fuel_l,
        warm_up_l=starts * engine.warm_up_h * engine.idle_fuel_l_per_h,
        mean_load_frac=_highest_mean(load),
    )  # fmt: skip


def _highest_mean(load: np.ndarray) -> float:
    """Highest mean of so many values in a row; of all where there are fewer."""
    if len(load) <= _MEAN_OVER_H:
        return float(load.mean()) if len(load) else 0.0
    return float(np.convolve(load, np.full(_MEAN_OVER_H, 1.0 / _MEAN_OVER_H), "valid").max())


def engine_checks(
    site: Site, year: SupplyRun, hottest_c: float, *, essential_peak_w: float
) -> list[Check]:
    """Whether plate, heat and levels of charge agree with how the generator is used.

    Parameters
    ----------
    site : Site
    year : SupplyRun
    hottest_c : float
        Hottest hour of the weather year [degC].
    essential_peak_w : float
        Highest power of the essential board [W].
    """
    if not site.generator.there:
        return []
    return [*_rating_checks(site.generator, running_of(year)), _heat_check(site, hottest_c),
            _peak_check(site, essential_peak_w), *_level_checks(site)]  # fmt: skip


def _rating_checks(generator: Generator, running: Running) -> list[Check]:
    """Hours a year and mean load that the rating on its plate allows."""
    rating = generator.rating
    most = {"standby": STANDBY_H, "limited-time": LIMITED_H}.get(rating)
    found = []
    if most is not None:
        found.append(checked(running.run_h <= float(most), "failed", **worded(
            "supply", "generator-hours", hours=running.run_h, rating=rating, most=float(most),
            source=most.source,
        )))  # fmt: skip
    if rating in ("prime", "standby") and running.run_h > 0.0:
        limit = float(MEAN_LOAD_FRAC)
        found.append(checked(running.mean_load_frac <= limit + 1e-9, **worded(
            "supply", "generator-load", load=100.0 * running.mean_load_frac, rating=rating,
            limit=100.0 * limit, source=MEAN_LOAD_FRAC.source,
        )))  # fmt: skip
    return found


def _heat_check(site: Site, hottest_c: float) -> Check:
    air_c = site.generator.hottest_air_c
    given = "hottest_air_c" in site.generator.model_fields_set
    return checked(hottest_c <= air_c, **worded(
        "supply", "generator-air", air_c=air_c, hottest_c=hottest_c, power_w=derated_w(site),
        plate_w=site.generator.power_w, elevation_m=site.site.elevation_m,
    ), evidence="computed" if given else "assumed")  # fmt: skip


def _peak_check(site: Site, peak_w: float) -> Check:
    """Whether the derated set carries the essential board without the bank."""
    power_w = derated_w(site)
    return checked(power_w >= peak_w, **worded(
        "supply", "generator-peak", power_w=power_w, peak_w=peak_w,
        short_w=max(peak_w - power_w, 0.0),
    ))  # fmt: skip


def _level_checks(site: Site) -> list[Check]:
    """Whether the nonessential board is shed before the engine starts, or after it has stopped."""
    if site.supply.separate_banks:
        return []
    (start, stop), bank = levels_of(site), bank_levels(site)
    return [
        checked(start > bank.shed_frac, **worded(
            "supply", "generator-start", start=100.0 * start, shed=100.0 * bank.shed_frac)),
        checked(stop >= bank.return_frac, **worded(
            "supply", "generator-stop", stop=100.0 * stop, back=100.0 * bank.return_frac)),
    ]  # fmt: skip


def engine_assumptions(site: Site) -> list[Sourced]:
    """What is taken for granted of the generator, with its sources; nothing where there is none."""
    generator = site.generator
    if not generator.there:
        return []
    kind, (no_load_l, slope_l), levels = generator.kind, fuel_line(generator), levels_of(site)
    own = "the site file"
    by_sheet = bool(generator.sheet_load_frac)
    fuel = printed_source(kind.fuel_source, kind.fuel_seen)
    said = (
        ("No-load fuel consumption", no_load_l, "l/h",
         own if by_sheet or generator.no_load_fuel_l_per_h_per_kw is not None else fuel),
        ("Additional fuel per kWh", slope_l, "l/kWh",
         own if by_sheet or generator.fuel_l_per_kwh is not None else fuel),
        ("Derating by air density", f"exponents {kind.pressure_exponent:g} of pressure and"
         f" {kind.heat_exponent:g} of temperature", "",
         printed_source(kind.air_source, kind.air_seen)),
        ("Service interval", generator.serviced_each_h, "h", own
         if generator.service_h is not None
         else printed_source(kind.service_source, kind.service_seen)),
        ("Start threshold, state of charge", 100.0 * levels[0], "%",
         NO_SOURCE if generator.start_frac is None else own),
        ("Stop threshold, state of charge", 100.0 * levels[1], "%",
         NO_SOURCE if generator.stop_frac is None else own),
        ("Running time until overhaul", generator.lasts_h, "h",
         NO_SOURCE if generator.life_h is None else own),
    )  # fmt: skip
    return [*assumptions("generator"), *(
        Sourced(label=f"Generator, {kind.words}: {small(label)}", value=value,
                unit=unit, source=source)
        for label, value, unit, source in said
    )]  # fmt: skip
