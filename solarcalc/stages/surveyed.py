"""What a short site file leaves to defaults and to rules of thumb, as checks for a person."""

from __future__ import annotations

import math
from collections.abc import Iterator

from solarcalc.basis.check import Check
from solarcalc.basis.worded import worded
from solarcalc.sitefile.chemistry import most_strings
from solarcalc.siteyear import SiteYear


def survey_checks(own: SiteYear) -> list[Check]:
    """What nobody filled in, and sizes that nobody chose; nothing without a short site file."""
    survey, site = own.sitefile.survey, own.site
    if survey is None:
        return []
    checks = []
    left = [(one, words) for one, words in survey.defaults if one.first]
    if left:
        checks.append(Check(outcome="review", evidence="assumed", **worded(
            "stages", "survey-left", count=len(left),
            told="; ".join(f"{one.label}: {words}" for one, words in left),
        )))
    if survey.sized:
        checks.append(Check(outcome="review", evidence="assumed", **worded(
            "stages", "survey-sizes", modules=site.module_count,
            units=site.battery.units_in_series * site.battery.units_in_parallel,
            controllers=site.controller_count,
            watts=", ".join(f"{one.total_power_w:g}" for one in site.inverters.values()),
            tables=", ".join(f"[{name}]" for name in survey.sized),
        )))  # fmt: skip
        checks += _beyond_fuses(own)
    return checks


def _beyond_fuses(own: SiteYear) -> Iterator[Check]:
    """What a first battery of more strings than any fuse breaks can be instead."""
    survey, site = own.sitefile.survey, own.site
    if survey is None or "battery" not in survey.sized:
        return
    battery = site.battery
    most = most_strings(battery.chemistry, battery.unit_capacity_ah,
                        known_a=site.protection.battery_fault_a)  # fmt: skip
    strings = max(one.units_in_parallel for one in site.banks.values())
    if strings <= most:
        return
    banks, each_kwh = len(site.banks), battery.rated_wh / battery.units_in_parallel / 1000.0
    yield Check(outcome="review", **worded(
        "stages", "survey-fuses", strings=strings, most=most, most_kwh=most * each_kwh,
        systems=math.ceil(battery.units_in_parallel / max(banks * most, 1)),
        each="for each board" if banks > 1 else "for both boards",
    ))  # fmt: skip
