"""What a site file says of its own job and cannot be so: to look at, no check of the design.

A day that lies ahead today does not tomorrow: were these checks of the design, its fingerprint
would change with the calendar, and what a person approved would no longer be that design.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from solarcalc.sitefile.programme import day_of
from solarcalc.sitefile.site import Site
from solarcalc.stages.serials import Built, positions_of


def odd_days(own: Built, today: date) -> Iterator[str]:
    """Claims and days of a site file that a person has to look at, a sentence each.

    Parameters
    ----------
    own : Built
    today : date
        Nothing was done later than this day.
    """
    yield from _claims(own)
    yield from _ahead(own, today)
    yield from _issued(own)
    if early := held_early(own.site):
        by = own.site.checked
        said = f"before the drawings were approved on {by.date}" if by.done else (
            "on drawings that nobody has approved")  # fmt: skip
        yield f"to review, safety: status.signed: {', '.join(early)} signed {said}"


BY_DRAWINGS = ("H3", "H4", "H5", "H6", "H7", "H8")
"""Hold points of work that is done by the drawings; permit and strength of the roof come before."""


def held_early(site: Site) -> tuple[str, ...]:
    """Hold points of the work that were signed before anybody had approved the drawings.

    Parameters
    ----------
    site : Site
        Its [checked] and [[status.signed]].
    """
    by = site.checked
    begins = day_of(by.date) if by.done else None
    signed = {one.what: day_of(one.date) for one in site.status.signed}
    return tuple(key for key in BY_DRAWINGS if key in signed and (
        begins is None or (signed[key] or begins) < begins))  # fmt: skip


def _claims(own: Built) -> Iterator[str]:
    known = {one.name for one in positions_of(own.installation)}
    seen = set[tuple[str, str, str]]()
    for number, one in enumerate(own.site.handover.claims, start=1):
        where = f"to review, data: handover.claims[{number}]"
        if one.position not in known:
            yield f"{where}: this site has no position {one.position}"
        claim = one.position, one.date, one.fault
        if claim in seen:
            yield f"{where}: the same claim for {one.position} a second time"
        seen.add(claim)


def _ahead(own: Built, today: date) -> Iterator[str]:
    """Days of what was done that are still to come."""
    status = own.site.status
    done = [("status.date", status.date)]
    done += [(f"handover.claims[{number}].date", one.date)
             for number, one in enumerate(own.site.handover.claims, start=1)]  # fmt: skip
    for name, rows in (("accepted", status.accepted), ("issued", status.issued),
                       ("signed", status.signed)):  # fmt: skip
        done += [(f"status.{name}[{number}].date", one.date)  # type: ignore[attr-defined]
                 for number, one in enumerate(rows, start=1)]
    for key, text in done:
        day = day_of(text) if text else None
        if day is not None and day > today:
            yield f"to review, data: {key}: {text} is later than today"


def _issued(own: Built) -> Iterator[str]:
    """Documents issued before the revision they show had its day."""
    status = own.site.status
    began = day_of(status.date) if status.date else None
    for number, one in enumerate(status.issued, start=1):
        day, where = day_of(one.date), f"to review, data: status.issued[{number}]"
        if one.revision == status.revision and began and day and day < began:
            yield (f"{where}: {one.document} of revision {one.revision} issued {one.date}, before"
                   f" that revision's day, {status.date}")  # fmt: skip
        if one.revision != status.revision and began and day and day > began:
            yield (f"{where}: {one.document} of revision {one.revision} issued {one.date}, after"
                   f" revision {status.revision} of {status.date}")  # fmt: skip
