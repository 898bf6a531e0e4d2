"""What a short site file leaves to defaults and to rules of thumb, as checks for a person."""

from __future__ import annotations

from solarcalc.basis.check import Check
from solarcalc.basis.worded import worded
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
    return checks
