"""Global radiation against the sum of its parts; the parts made where a file lacks them."""

from __future__ import annotations

import calendar
from dataclasses import dataclass

import numpy as np
import pandas as pd
from pvlib import irradiance

from solarcalc.basis.check import Check
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.weather.records import Mask, Source, SunOfYear, Values

CLOSES_FRAC = float(constant("weather.closes_frac"))
MAX_FRAC = float(constant("weather.max_frac"))
MIN_ELEVATION_DEG = float(constant("weather.min_elevation_deg"))
SHIFTS_MIN = (-60, -30, 30, 60)
_LABEL_MIN = {"start": 0, "middle": -30, "end": -60}
_MOVED_BY = {minutes: label for label, minutes in _LABEL_MIN.items()}
_MIN_HOURS = int(constant("weather.min_hours"))


@dataclass(frozen=True, kw_only=True)
class Closure:
    """Mean of abs(GHI - (DNI cos z + DHI)) over the mean of GHI, in a year and its months.

    Parameters
    ----------
    year_frac : float
    month_frac : tuple of float
        NaN where the sun hardly rises above `MIN_ELEVATION_DEG`.
    """

    year_frac: float
    month_frac: tuple[float, ...]

    @property
    def worst_month_frac(self) -> float:
        """Largest of the months; 0 where no month can be checked."""
        known = [value for value in self.month_frac if not np.isnan(value)]
        return max(known, default=0.0)


def closure(hours: pd.DataFrame, elevation_deg: Values) -> Closure:
    """Closure of a year against a sun elevation [deg] for each hour."""
    high = elevation_deg > MIN_ELEVATION_DEG
    ghi = hours["ghi"].to_numpy(float)
    parts = hours["dni"].to_numpy(float) * np.sin(np.deg2rad(elevation_deg)) + hours[
        "dhi"
    ].to_numpy(float)
    gap = np.abs(ghi - parts)
    high &= ~np.isnan(gap)
    month = pd.DatetimeIndex(hours.index).month.to_numpy()

    def share(chosen: Mask, least: int) -> float:
        total = float(ghi[chosen].sum())
        enough = int(chosen.sum()) >= least and total > 0.0
        return float(gap[chosen].sum()) / total if enough else float("nan")

    return Closure(
        year_frac=share(high, 1),
        month_frac=tuple(share(high & (month == number), _MIN_HOURS) for number in range(1, 13)),
    )


def check_closure(
    hours: pd.DataFrame, sun: SunOfYear, source: Source, *, rebuild_beam: bool,
    hour_label: str | None,
) -> Check:  # fmt: skip
    """Check on the sum of the parts.

    Parameters
    ----------
    hours : pandas.DataFrame
    sun : SunOfYear
    source : Source
    rebuild_beam : bool
        Whether the user asked for beam and diffuse to be made from the global.
    hour_label : str or None
        How a table names its hours; None for a format that has a rule of its own.

    Raises
    ------
    InputError
        When moving the radiation by half an hour or an hour would close it, in the year or in
        single months; or when it is off by more than `MAX_FRAC` and `rebuild_beam` is not set.
    """
    here = closure(hours, sun.elevation_deg)
    if np.isnan(here.year_frac):
        return _check(here, "review", "the sun never stands above 10 deg: not checked")
    if here.year_frac <= CLOSES_FRAC and here.worst_month_frac <= MAX_FRAC:
        return _check(here, "passed", "")
    moved = {shift: closure(hours, sun.elevation_at(30.0 + shift)) for shift in SHIFTS_MIN}
    needs = shifts_that_close(here, moved)
    if any(needs.values()):
        raise source.error(
            field_name="hour_label" if hour_label else "source",
            found="global irradiation differs from beam and diffuse by"
            f" {100 * here.year_frac:.1f} %",
            allowed=f"up to {100 * CLOSES_FRAC:g} %, and no time shift that would close it",
            why=_by_month(needs),
            remedy=_remedy(set(needs.values()), hour_label),
        )
    if here.year_frac > MAX_FRAC and not rebuild_beam:
        raise source.error(**worded(
            "weather", "check-closure", year_percent=100 * here.year_frac,
            max_percent=100 * MAX_FRAC,
        ))  # fmt: skip
    return _check(here, "review", "compare with another file of the place")


def shifts_that_close(here: Closure, moved: dict[int, Closure]) -> dict[int, int | None]:
    """For each month 1 to 12 the shift [min, later is positive] that it needs.

    0 where it closes as it stands, None where it cannot be checked or no shift closes it.
    """
    needs: dict[int, int | None] = {}
    for number in range(1, 13):
        stands = here.month_frac[number - 1]
        shift, best = min(
            ((shift, other.month_frac[number - 1]) for shift, other in moved.items()),
            key=lambda pair: pair[1] if not np.isnan(pair[1]) else np.inf,
        )
        if stands <= CLOSES_FRAC:
            needs[number] = 0
        elif best <= CLOSES_FRAC and best < stands / 2.0:
            needs[number] = shift
        else:
            needs[number] = None
    return needs


def shift_words(shift_min: int) -> str:
    """A shift in words, such as "1 h later"."""
    size = {30: "half an hour", 60: "1 h"}.get(abs(shift_min), f"{abs(shift_min)} min")
    return f"{size} {'later' if shift_min > 0 else 'earlier'}"


def _by_month(needs: dict[int, int | None]) -> str:
    groups: dict[int | None, list[str]] = {}
    for number, shift in needs.items():
        groups.setdefault(shift, []).append(calendar.month_abbr[number])
    parts = []
    for shift, months in sorted(groups.items(), key=lambda pair: -len(pair[1])):
        names = "every month" if len(months) == 12 else ", ".join(months)
        if shift is None:
            parts.append(f"{names}: no shift closes it, or too little sun to tell")
        elif shift == 0:
            parts.append(f"{names}: closes as it stands")
        else:
            parts.append(f"{names}: closes when the radiation is moved {shift_words(shift)}")
    return "; ".join(parts)


def _remedy(shifts: set[int | None], hour_label: str | None) -> str:
    if len(shifts - {None}) > 1:
        return (
            "the months do not agree, so no label and no offset mends the file: take another, or"
            " move the radiation of those months in a copy. weather.rebuild_beam would not help:"
            " the global radiation itself stands at the wrong hour"
        )
    shift = next(value for value in shifts if value)
    return clock_remedy(shift, hour_label) + "; weather.rebuild_beam would not help"


def clock_remedy(shift: int, hour_label: str | None) -> str:
    """What to change so that the radiation moves by `shift` [min, later is positive]."""
    if hour_label is None:
        return "take another file, or give it as csv with the right weather.hour_label"
    right = _MOVED_BY.get(_LABEL_MIN[hour_label] + shift)
    label = f'set weather.hour_label = "{right}", or, ' if right else ""
    return (
        f"{label}if the clock is wrong, set weather.utc_offset_h {abs(shift) / 60.0:g} h"
        f" {'lower' if shift > 0 else 'higher'}"
    )


def _check(here: Closure, outcome: str, remedy: str) -> Check:
    return Check(outcome="passed" if outcome == "passed" else "review", remedy=remedy, **worded(
        "weather", "global-radiation-against", year_percent=100 * here.year_frac,
        worst_month_percent=100 * here.worst_month_frac, closes_percent=100 * CLOSES_FRAC,
    ))  # fmt: skip


_MAX_ZENITH_DEG = 87.0
"""Above this the beam is taken as 0 and all as diffuse; as pvlib.irradiance.erbs_driesse."""

_DECOMPOSITION = "Erbs et al. 1982 in the continuous form of Driesse et al. 2024"
_CLOSURE = "GHI = DNI cos z + DHI by definition, Duffie and Beckman 2013 sec. 1.2"


def with_beam_and_diffuse(
    hours: pd.DataFrame, sun: SunOfYear, *, rebuild_beam: bool
) -> tuple[pd.DataFrame, list[Check]]:
    """The year with all three of ghi, dni and dhi, and a caution where one was made.

    One row an hour, light in [W/m2].
    """
    has_dni, has_dhi = "dni" in hours, "dhi" in hours
    if has_dni and has_dhi and not rebuild_beam:
        return hours, []
    hours = hours.copy()
    ghi = hours["ghi"].to_numpy(float)
    if rebuild_beam or not (has_dni or has_dhi):
        hours["dni"], hours["dhi"] = _split(ghi, sun)
        said, clause = "beam and diffuse made from the global radiation", _DECOMPOSITION
    elif has_dhi:
        hours["dni"] = _beam(ghi, hours["dhi"].to_numpy(float), sun)
        said, clause = "beam made from global less diffuse", _CLOSURE
    else:
        beam = hours["dni"].to_numpy(float) * sun.upward
        hours["dhi"] = np.clip(ghi - beam, 0.0, ghi)
        said, clause = "diffuse made from global less beam", _CLOSURE
    return hours, [
        Check(
        rule="weather/rebuilt", kind="data",
        item="Beam and diffuse radiation",
                found=said + (", as asked" if rebuild_beam else ", as the file lacks them"),
                limit="all three measured or modelled by the maker of the file", unit="",
                outcome="review", clause=clause,
                remedy="expect a few percent more doubt on steep or east and west planes")
    ]


def _split(ghi: Values, sun: SunOfYear) -> tuple[Values, Values]:
    parts = irradiance.erbs_driesse(
        ghi, sun.zenith_deg, dni_extra=sun.normal_w_m2, max_zenith=_MAX_ZENITH_DEG
    )
    return np.asarray(parts["dni"], dtype=float), np.asarray(parts["dhi"], dtype=float)


def _beam(ghi: Values, dhi: Values, sun: SunOfYear) -> Values:
    high = sun.zenith_deg < _MAX_ZENITH_DEG
    beam = np.divide(ghi - dhi, sun.upward, out=np.zeros_like(ghi), where=high)
    return np.clip(beam, 0.0, sun.normal_w_m2)
