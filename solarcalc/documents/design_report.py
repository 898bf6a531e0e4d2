"""DR, the design report: at most twelve pages for an engineer and for who approves the design.

Page one is the decision sheet. Every table and figure has a link to its calculation in the
appendix. What was tested or logged later has no place here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from solarcalc.basis.check import Check
from solarcalc.basis.errors import InputError
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.basis.sourced import works_named_in
from solarcalc.basis.text import brief, whole_clauses
from solarcalc.design import Design
from solarcalc.documents import decision_sheet
from solarcalc.documents.anchors import CHAPTERS, CHECKS_OF, Anchors, anchors_of
from solarcalc.documents.facts import (
    Finding,
    findings_of,
    not_assessed,
    not_covered,
    trade_words,
    verdict,
)
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import page_count
from solarcalc.documents.report_built import (
    cables_and_protection,
    cost_and_programme,
    earthing_and_room,
    electrical_design,
)
from solarcalc.documents.report_parts import (
    TERM_MM,
    first_up,
    in_figures,
    row_table,
    said,
    titled,
)
from solarcalc.documents.report_supply import (
    array_and_orientation,
    battery_and_supply,
    energy_yield,
    site_and_loads,
)
from solarcalc.documents.tree import (
    Block,
    Cell,
    Document,
    cell,
    fill,
    heading,
    line_break,
    new_page,
    pairs,
    points,
    sentence,
    signatures,
    strong,
    table,
)
from solarcalc.sitefile.status import STAGES, document_set
from solarcalc.stages.progress import document_status
from solarcalc.views.battery_tried import what_would_change_the_supply, why_no_years
from solarcalc.views.electrical import guess_rows
from solarcalc.views.quote import swings_of

MOST_GUESSES = 10
MOST_SWINGS = 4
MOST_ON_A_PAGE = 17
"""Lines of findings that a page holds; where there are more, they are told more shortly."""
_PAGES = (site_and_loads, array_and_orientation, energy_yield, battery_and_supply,
          electrical_design, cables_and_protection, earthing_and_room, cost_and_programme)
_LEAST = {"item": 30, "found": 22, "limit": 22, "action": 32}
_LETTERS = {"item": 54, "found": 44, "limit": 46, "action": 56}
"""Of a line of findings; less where there are more of them than a page holds."""
MOST_ACTION = 120
"""Letters of what to do where nobody has put it more shortly, and twice the room at most."""


def documents(making: Making) -> tuple[Document, ...]:
    """The design report."""
    design = making.design
    anchors = anchors_of(design)
    decision, closing = _decision(making), list(_closing(making))
    sections = [list(page(design, anchors)) for page in (_findings, *_PAGES, _guesses)]
    short = (earthing_and_room, cost_and_programme, _guesses)  # each would leave half a page empty
    for follow in (short, (*_PAGES, _guesses)):
        ahead = [[] if page in follow else [new_page()] for page in (_findings, *_PAGES, _guesses)]
        blocks = [*decision, *(block for start, section in zip(ahead, sections, strict=True)
                               for block in (*start, *section)), *closing]  # fmt: skip
        if page_count(_report(making, blocks)) <= len(design.planes) + 2 + sum(map(bool, ahead)):
            break  # 8 to 12 take three pages, each roof plane one: no other section runs on
    return (_report(making, blocks),)


def _report(making: Making, blocks: Sequence[Block]) -> Document:
    return Document(
        code="DR", head=making.head("DR", "Design report", kind="report",
                                    status=document_status(making.design, "DR")),
        look="sheet", stamp=making.example_stamp(), contents=True, blocks=tuple(blocks),
    )  # fmt: skip


def _decision(making: Making) -> Sequence[Block]:
    """What the decision sheet says, but for what mounting costs the firm, on the first page."""
    head = titled(1, "Decision")
    return [head, *decision_sheet.blocks_of(
        making.design, lambda blocks: _report(making, [head, *blocks]), priced=False)]  # fmt: skip


def _findings(design: Design, anchors: Anchors) -> Iterator[Block]:
    """2: every check that failed or is for review, what is not covered, the rest in counts."""
    yield titled(2, "Checks failed and to review")
    yield sentence(strong(verdict(design)))
    told = _told(design)
    if told:
        yield table(
            ("Class", "Item", "Found", "Required", "Action, or who accepted it", "Calculation"),
            [_finding(one, anchors, min(1.0, (MOST_ON_A_PAGE / len(told)) ** 2)) for one in told],
            caption="Failed first, safety first",
        )  # fmt: skip
    if unknown := not_assessed(design):
        yield sentence(strong("Not assessed: "), unknown)
    yield from _lapsed(design)
    yield sentence(strong("Not covered: "), not_covered(design.site))
    yield heading("All checks by chapter", 3)
    titles = {one.number: one.title_words for one in CHAPTERS}
    yield pairs([(titles[CHECKS_OF[workbook]], _counted(found))
                 for workbook, found in design.checks.items()], term_mm=TERM_MM)  # fmt: skip


def _lapsed(design: Design) -> Iterator[Block]:
    """What somebody accepted and what no longer holds, each with why; nothing where all holds."""
    said = [f"{trade_words(check.item)}: {words}" for check, words in design.lapsed]
    said += [trade_words(words) for words in design.unmet]
    if said:
        yield heading("Accepted before, no longer valid", 3)
        yield points([[f"{words}."] for words in said])


def _told(design: Design) -> tuple[Finding, ...]:
    """What failed or is for review, a line each; accepted ones among them."""
    return findings_of(one for one in design.all_checks if one.outcome in ("failed", "review"))


def _finding(found: Finding, anchors: Anchors, part: float) -> list[Cell]:
    check, more = found.checks[0], len(found.checks) - 1
    texts = {"item": found.item, "found": check.found_words, "limit": check.limit_words}
    room = {name: max(round(part * most), _LEAST[name]) for name, most in _LETTERS.items()}
    lines = [brief(trade_words(text), room[name]) for name, text in texts.items()]
    lines[0] += f" (and {more} more)" if more else ""
    more_room = 3 if part == 1.0 and check.kind == "safety" else 1
    lines.append(_action(check, more_room * room["action"]))
    mark = "failed" if check.outcome == "failed" else "review"
    links = anchors.links([anchors.checks[one] for one in found.checks])[1:-1]
    return [cell(f"{check.outcome}, {check.kind}", mark=mark), *lines, links]  # type: ignore[arg-type]


def _action(check: Check, room: int) -> str:
    """What to do: whole where there is room, else as put shortly, else its first clauses."""
    if check.accepted:
        return brief(trade_words(f"accepted by {check.accepted}"), max(room, _LETTERS["action"]))
    said, short = (first_up(trade_words(text)) for text in (check.remedy, check.action))
    if short and len(said) > room:
        return short
    return whole_clauses(said, max(room, min(MOST_ACTION, 2 * room)), "see the calculation")


def _counted(checks: Sequence[Check]) -> str:
    """One line: ``"21 of 21 passed"``."""
    passed = sum(one.outcome == "passed" for one in checks)
    missing = sum(one.outcome == "not assessed" for one in checks)
    return f"{passed} of {len(checks)} passed" + (f", {missing} not assessed" if missing else "")


def _guesses(design: Design, anchors: Anchors) -> Iterator[Block]:
    """11: ten deciding guesses, sensitivities of the supply and of the cost of energy."""
    yield titled(11, "Guesses and sensitivities")
    yield from said(lambda: _guessed(design, anchors), lambda: _tried(design, anchors),
                    lambda: _swings(design, anchors))


def _guessed(design: Design, anchors: Anchors) -> Iterator[Block]:
    try:
        found = guess_rows(design)[:MOST_GUESSES]
    except InputError as error:
        yield sentence(trade_words(f"Guesses were not tried: {error.faults[0].given}."))
        return
    head = ("guess", "used", "usual range", "changes at", "what changes")
    room = 100 if len(_told(design)) <= MOST_ON_A_PAGE else 60
    rows = [[brief(trade_words(str(one[name])), room) for name in head] for one in found]
    yield table([first_up(name) for name in head], rows, caption=[
        "Guesses, the deciding ones first", *anchors.links([anchors.part("guesses")])])


def _tried(design: Design, anchors: Anchors) -> Iterator[Block]:
    yield row_table(what_would_change_the_supply(design), [
        "Supply with one thing changed", *anchors.to("what_would_change_the_supply")])
    if why := why_no_years(design):
        yield sentence(" ".join(why))


def _swings(design: Design, anchors: Anchors) -> Iterator[Block]:
    swings = swings_of(design)
    if isinstance(swings, NoAnswer):
        raise swings
    unit = f"{design.prices.currency}/kWh"
    yield heading([f"Cost of energy supplied [{unit}]", *anchors.to("swings_of")], 3)
    yield pairs([(first_up(one.name), f"{in_figures(one.at_low)} to {in_figures(one.at_high)}")
                 for one in swings[:MOST_SWINGS]], term_mm=TERM_MM)  # fmt: skip


def _closing(making: Making) -> Iterator[Block]:
    """12: revision, documents of the site, standards, who approves."""
    design = making.design
    status = design.site.status
    reached = max(map(STAGES.index, (status.stage, "design")))
    later = [one for one in document_set().values() if STAGES.index(one.stage) > reached]
    yield titled(12, "Revision, documents, standards, approval")
    yield pairs([
        (f"Revision {status.revision}", [f"design {design.fingerprint}, ",
                                         status.date or fill(8.0)]),
        ("Documents made with it", "; ".join(making.beside) or "none"),
        *([("From later stages", "; ".join(
            f"{first_up(one.title)} ({one.stage})" for one in later))] if later else []),
        ("Standards", ", ".join(one.name for one in works_named_in(
            check.clause for check in design.all_checks) if one.standard)),
    ])  # fmt: skip
    yield signatures(*([who, line_break(), "name, date"]
                       for who in ("Designed", "Checked", "Approved")))
