"""The follow-up of a design, or the words that stand there before anything was logged."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from solarcalc.basis.check import Check
from solarcalc.basis.phrases import phrase
from solarcalc.design import Design
from solarcalc.followup.answer import (
    FollowUp,
    follow_up,
    followup_advice,
    followup_answer,
    followup_checks,
    followup_rows,
    followup_values,
    loss_rows,
)
from solarcalc.followup.yearly import years_kwh
from solarcalc.stages.files import there
from solarcalc.stages.kept import of_design
from solarcalc.stages.progress import reached

WAITING = (
    "No logger data yet: the site file names no file under [logger]. This chapter is filled in at"
    " the visit a year after handover."
)
PREPARE = (
    "Set the logger's clock to the site's standard time and leave it there.",
    "Log array power, state of charge or battery voltage, and load every quarter of an hour;"
    " in-plane irradiance and module temperature, where there are sensors, separate faults from"
    " weather.",
    "Keep the file as the logger wrote it, and name it and its columns under [logger].",
)
"""What to do before, for the file to be of use; common practice, no source."""


@of_design
def found_of(design: Design) -> FollowUp | None:
    """The logger's file of a design, checked; None where the site file names none.

    Raises
    ------
    InputError
        For a file that cannot be used; see `follow_up`.
    """
    return follow_up(design) if design.site.logger.file else None


def answer(found: FollowUp | None) -> str:
    """The answer, or that there is nothing to assess yet."""
    return WAITING if found is None else followup_answer(found)


def values(found: FollowUp | None) -> dict[str, float | int | str]:
    """Named results; days read is 0 before anything was logged.

    Each name ends in its unit.
    """
    return {"days_read": 0} if found is None else followup_values(found)


def checks_of(found: FollowUp | None) -> list[Check]:
    """Checks of the file; none before there is one."""
    return [] if found is None else list(followup_checks(found))


def findings(design: Design, found: FollowUp) -> list[dict[str, object]]:
    """Rows of what was found, in the firm's language, as the letter after the visit is."""
    return _in_firms_words(design, followup_rows(found))


def losses(design: Design, found: FollowUp) -> list[dict[str, object]]:
    """Rows of the energy expected and what became of it, in the firm's language."""
    return _in_firms_words(design, loss_rows(found))


def years(design: Design, found: FollowUp) -> list[dict[str, object]]:
    """Rows of a record year by year, as `years_kwh`; none without measured light."""
    if found.separated is None or found.measured is None:
        return []
    rows: list[dict[str, object]] = [{
        "first day": f"{first:%Y-%m-%d}", "last day": f"{last:%Y-%m-%d}", "days read": int(days),
        "expected [kWh]": round(due), "measured [kWh]": round(given),
        "curtailed [kWh]": round(spare), "of expected [%]": 100.0 * given / due if due else None,
    } for first, last, days, spare, due, given
        in years_kwh(found.separated, found.measured).to_numpy()]  # fmt: skip
    return _in_firms_words(design, rows)


def advice(design: Design, found: FollowUp) -> list[str]:
    """What to do, the costliest first; in the firm's language."""
    return [phrase(line, design.site.firm.language) for line in followup_advice(found)]


def _in_firms_words(
    design: Design, rows: Iterable[Mapping[str, object]]
) -> list[dict[str, object]]:
    language = design.site.firm.language
    return [{phrase(head, language): phrase(value, language) if isinstance(value, str) else value
             for head, value in row.items()} for row in rows]  # fmt: skip


def visit_checks(design: Design) -> list[Check]:
    """Checks of the logger's file of a job that is at stage visit; none before."""
    logged = there(design.sitefile.folder / design.site.logger.file)
    return checks_of(found_of(design)) if logged and reached(design, "visit") else []
