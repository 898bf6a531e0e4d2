"""A claim under warranty, a page each: what is where, until when it is warranted, what is wrong."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.messages import Messages, messages
from solarcalc.basis.phrases import listed
from solarcalc.basis.text import capital
from solarcalc.design import Design
from solarcalc.documents.making import Making
from solarcalc.documents.tree import (
    Block,
    Cell,
    Document,
    Words,
    beside,
    fill,
    heading,
    pairs,
    sentence,
    signatures,
    table,
)
from solarcalc.documents.visit_letter import finding_words, to_put_right
from solarcalc.sitefile.programme import day_of
from solarcalc.stages.progress import document_status
from solarcalc.stages.serials import claim_rows, positions_of
from solarcalc.views.followup import found_of

PART_OF = {"capacity": "battery", "ageing": "module"}
"""Kinds of findings that name a part under warranty, and the kind of its positions."""
MOST_UNITS = 12
PHOTO_MM = 60.0


@dataclass(frozen=True, kw_only=True)
class Claimed:
    """What is claimed: a position, or all of a kind of part.

    Parameters
    ----------
    positions : tuple of str
    all_of : str
        Kind of position where a finding names a part as a whole; empty for a single position.
    day : date
        On which the fault was found.
    fault, measured : str
    """

    positions: tuple[str, ...]
    all_of: str = ""
    day: date
    fault: str
    measured: str


def documents(making: Making) -> tuple[Document, ...]:
    """A sheet for each claim of a site; empty where nothing is claimed."""
    words = messages(making.design.site.firm.language)
    return tuple(
        Document(
            code="CL", look="report", stamp=making.example_stamp(words.language, priced=False),
            head=making.head("CL", words.text("claim_title"), sheet=sheet, language=words.language,
                             kind=words.text("claim_kind"),
                             status=document_status(making.design, "CL")),
            blocks=tuple(_blocks(making.design, claimed, words)),
        ) for sheet, claimed in enumerate(claims_of(making.design, words), start=1)
    )  # fmt: skip


def claims_of(design: Design, words: Messages) -> list[Claimed]:
    """Claims of the site file, then what the logger says of a part under warranty.

    Raises
    ------
    InputError
        For a claim of a position that the site has not.
    """
    positions = positions_of(design.installation)
    known = {one.name for one in positions}
    found: list[Claimed] = []
    for number, one in enumerate(design.site.handover.claims, start=1):
        if one.position not in known:
            raise InputError(Fault(
                where=f"handover.claims[{number}].position", given=one.position,
                allowed=f"a position of this site, {positions[0].name} to {positions[-1].name}",
                remedy="take it from the list that `solarcalc serials` writes"))  # fmt: skip
        day = day_of(one.date)
        if day is not None:
            found.append(Claimed(positions=(one.position,), day=day, fault=one.fault,
                                 measured=one.measured))
    logged = found_of(design)
    for finding in to_put_right(logged) if logged else ():
        kind = PART_OF.get(finding.kind, "")
        if kind and logged:
            found.append(Claimed(
                positions=tuple(one.name for one in positions if one.kind == kind), all_of=kind,
                day=logged.data.table.index[-1].date(), measured=finding.said,
                fault=finding_words(finding, words)))  # fmt: skip
    return found


def _blocks(design: Design, claimed: Claimed, words: Messages) -> Iterator[Block]:
    t = words.text
    rows = [_fields(design, position) for position in claimed.positions]
    first = rows[0]
    what = t(f"kind_{first['what']}")
    place = claimed.positions[0] if not claimed.all_of else t(
        "claim_all_modules" if claimed.all_of == "module" else "claim_all_batteries")
    yield sentence(_verdict(rows, what, place, claimed, words), look="answer")
    many = bool(claimed.all_of)
    fitted: list[tuple[Words, Words]] = [] if many else [
        (t("claim_model"), first["maker's model"] or fill()),
        (t("claim_serial"), first["serial number"] or fill()),
        (t("claim_until"), _until(first, claimed.day, words) or fill()),
    ]  # fmt: skip
    handed = day_of(first["handed over"])
    yield pairs([
        (t("claim_site"), first["site"]), (t("claim_customer"), first["customer"] or "–"),
        (t("claim_position"), place), (t("claim_what"), what), *fitted,
        (t("claim_designed"), capital(listed(first["designed as"], words.language))),
        (t("claim_delivered"), words.date(handed) if handed else fill()),
        (t("claim_installed"), first["installed by"] or fill()),
        (t("claim_contact"), first["contact"] or fill()),
        (t("claim_found_on"), words.date(claimed.day)), (t("claim_fault"), claimed.fault),
        (t("claim_measured"), claimed.measured or fill(30.0)),
    ])  # fmt: skip
    if many:
        yield from _units(rows, claimed.day, words)
    nothing: list[list[Cell]] = [[None]]
    yield beside(*([table([t(key)], nothing, look="tests", tall_mm=PHOTO_MM)]
                   for key in ("claim_photo_plate", "claim_photo_fault")))  # fmt: skip
    yield pairs([(t("claim_reference"), fill(24.0))])
    yield sentence(t("claim_answer"), " ", fill(16.0))
    yield sentence(t("claim_safe"), look="small")
    yield signatures(t("claim_signed"))


def _fields(design: Design, position: str) -> dict[str, str]:
    return {row["field"]: row["value"] for row in claim_rows(design, position)}


def _units(rows: Sequence[dict[str, str]], day: date, words: Messages) -> Iterator[Block]:
    t = words.text
    yield heading(t("claim_units_title"), 3)
    yield table(
        [t(f"claim_{name}") for name in ("position", "model", "serial", "until")],
        [[row["position"], row["maker's model"] or None, row["serial number"] or None,
          _until(row, day, words) or None] for row in rows[:MOST_UNITS]],
        look="tests",
    )  # fmt: skip
    if (more := len(rows) - MOST_UNITS) > 0:
        yield sentence(words.counted("claim_more", more))


def _until(row: dict[str, str], day: date, words: Messages) -> str:
    """Last day of the warranty, and whether it was in force on the day; empty where not known."""
    until = day_of(row["warranty until"])
    if until is None:
        return ""
    state = "claim_until_in_force" if day <= until else "claim_until_expired"
    return words.text(state, day=words.date(until), found=words.date(day))


def _verdict(
    rows: Sequence[dict[str, str]], what: str, place: str, claimed: Claimed, words: Messages
) -> str:
    ends = [day_of(row["warranty until"]) for row in rows]
    known = [end for end in ends if end is not None]
    named = {"what": what, "position": place}
    if len(known) < len(ends):
        return words.text("claim_unknown", **named)
    end = min(known)
    state = "claim_in_force" if claimed.day <= end else "claim_expired"
    return words.text(state, **named, day=words.date(end))
