"""The handover file: a list of what is filed, then the serial numbers by position."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from solarcalc.basis.files import data_rows
from solarcalc.basis.messages import Messages, messages
from solarcalc.design import Design
from solarcalc.documents.making import Making, document_number
from solarcalc.documents.tree import (
    Block,
    Document,
    heading,
    new_page,
    sentence,
    signatures,
    table,
)
from solarcalc.sitefile.status import drawing_status
from solarcalc.stages.files import there
from solarcalc.stages.owned import told_of
from solarcalc.stages.progress import approved, document_status, test_report
from solarcalc.stages.serials import Serial, positions_of, serials_of
from solarcalc.views.handover import signed_on


def documents(making: Making) -> tuple[Document, ...]:
    """The handover file in the customer's language; none while something blocks it."""
    if why_no_handover(making.design):
        return ()
    words = messages(making.design.site.firm.language)
    head = making.head("HF", words.text("hf_title"), language=words.language,
                       status=document_status(making.design, "HF"))
    return (Document(
        code="HF", head=head, stamp=making.example_stamp(words.language, priced=False),
        blocks=(*_list_page(making.design, words), new_page(),
                *_serial_pages(making.design, words)),
    ),)  # fmt: skip


def why_no_handover(design: Design) -> str:
    """What keeps a job from being handed over, in words for the office; empty where nothing does.

    Every test is done and passed and the test report signed: IEC 62446-1 and IEC 60364-6 want the
    verification before the system is handed over (from memory).
    """
    report = test_report(design)
    if report is None:
        return f"no handover file: the job is at stage {design.site.status.stage}, before its tests"
    found = [
        f"{count} {words}" for count, words in (
            (len(report.standing("fail")), "failed"),
            (len(report.standing("not done")), "not done"),
            (len(report.standing("review", "not assessed")), "to review"),
        ) if count
    ]  # fmt: skip
    if found:
        return f"no handover file: of {len(report.lines)} tests {', '.join(found)}"
    return "" if signed_on(design, "TR") else "no handover file: the test report is not signed"


def _list_page(design: Design, words: Messages) -> Iterator[Block]:
    t = words.text
    rows = [_row(design, row, words) for row in data_rows("handover_list")]
    filed = (t("hf_is_filed"), t("hf_by_hand"))
    missing = sum(not row[-1].startswith(filed) for row in rows)
    yield sentence(t("hf_complete") if not missing else
                   words.counted("hf_lacking", missing, total=words.number(len(rows))),
                   look="answer")  # fmt: skip
    yield sentence(t("hf_keep"))
    if own := told_of(design.bill, design.site.existing):
        yield sentence(t("hf_own", own=own))
    yield table([t("hf_item"), t("hf_number"), t("hf_revision"), t("hf_filed")], rows,
                look="schedule")  # fmt: skip
    yield sentence(t("hf_defer"))
    yield signatures(t("hf_handed"), t("hf_received"))


def _row(design: Design, row: Mapping[str, str], words: Messages) -> tuple[str, str, str, str]:
    code = row["document"]
    number = document_number(design.site.site.name, code, int(row["sheet"])) if code else "–"
    revision = design.site.status.revision if code else "–"
    return words.text(f"hf_{row['key']}"), number, revision, _filed(design, row, words)


def _filed(design: Design, row: Mapping[str, str], words: Messages) -> str:
    """Filed or missing, and why, of one line of the list."""
    t, code = words.text, row["document"]
    if not code:
        invented = row["key"] == "sheets" and "equipment" in design.example_of
        return t("hf_invented") if invented else t("hf_by_hand")
    if code == "HF":
        return _serials_filed(design, words)
    if code == "SP":
        built = drawing_status(design.site.status, approved=approved(design)) == "as built"
        return t("hf_is_filed") if built else t("hf_not_as_built")
    signed = signed_on(design, code)
    if signed is None:
        return t("hf_not_signed")
    issued = document_status(design, "TR" if code == "TR" else "BK") == "as built"
    return t("hf_filed_on", day=words.date(signed)) if issued else t("hf_not_issued")


def _fitted(design: Design) -> dict[str, Serial]:
    named = there(design.sitefile.folder / design.site.handover.serials)
    return serials_of(design) if named else {}


def _serials_filed(design: Design, words: Messages) -> str:
    fitted, positions = _fitted(design), positions_of(design.installation)
    known = [fitted[one.name] for one in positions if one.name in fitted]
    lacking = len(positions) - sum(bool(one.serial) for one in known)
    undated = len(positions) - sum(one.warranty_until is not None for one in known)
    if not lacking and not undated:
        return words.text("hf_is_filed")
    return words.text("hf_some", serials=words.number(lacking), dates=words.number(undated),
                      total=words.number(len(positions)))  # fmt: skip


def _serial_pages(design: Design, words: Messages) -> Iterator[Block]:
    t, fitted = words.text, _fitted(design)
    yield heading(t("hf_serials_title"))
    yield sentence(t("hf_positions") if fitted else t("hf_serials_none"))
    rows = []
    for one in positions_of(design.installation):
        held = fitted.get(one.name)
        until = held.warranty_until if held else None
        rows.append((one.name, t(f"kind_{one.kind}"), (held.model if held else "") or None,
                     (held.serial if held else "") or None, words.date(until) if until else None))
    yield table([t(f"hf_{name}") for name in ("position", "kind", "model", "serial", "until")],
                rows, look="schedule")  # fmt: skip
