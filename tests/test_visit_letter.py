"""The letter after a visit: the largest finding first, curtailed energy apart, sums that agree."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from typing import Any

import pandas as pd
import pytest

from solarcalc.basis.messages import messages
from solarcalc.basis.text import capital
from solarcalc.design import Design, open_design
from solarcalc.documents import visit_letter
from solarcalc.documents.charts import paired_bars
from solarcalc.documents.making import Making
from solarcalc.documents.tree import text_of, texts_of
from solarcalc.documents.visit_letter import documents, finding_words, over, promised, to_put_right
from solarcalc.followup.daily import Finding
from solarcalc.report.letterhead import letterhead_of
from solarcalc.sitefile.status import Action
from solarcalc.views.followup import found_of


@cache
def _in_language(name: str, language: str) -> Design:
    """A demo site whose record is read once for many letters."""
    return open_design(name, {"firm": {"language": language}})


def test_what_was_found_comes_first_and_the_energies_balance(document_cases: Any) -> None:
    design = document_cases.demo("ridge-clinic")
    (document,) = document_cases.made("ridge-clinic", "VL")
    document_cases.hold_to_rules(document, pages=2)
    found = found_of(design)
    assert found is not None
    assert [one.kind for one in to_put_right(found)] == ["string"]
    assert [one.kind for one in over(found)] == ["dust"]
    text = "\n".join(texts_of(document.blocks))
    assert "found one thing to put right: one group of panels" in text
    losses = found.separated.losses_kwh
    curtailed, expected, measured = (int(one) for one in re.findall(r"(\d+)\skWh", text)[:3])
    assert curtailed == pytest.approx(-losses["Energy curtailed, battery full"], rel=0.005)
    assert measured == pytest.approx(losses["Measured"], rel=0.005)
    whole = losses["Expected of a clean array without faults or shading"]
    assert expected == pytest.approx(whole - curtailed, rel=0.005)


@pytest.mark.parametrize("language", ["en", "fr"])
def test_without_a_record_the_letter_says_so(document_cases: Any, language: str) -> None:
    design = _in_language("cove-cannery", language)
    (document,) = documents(Making(design=design))
    document_cases.hold_to_rules(document, pages=1)
    assert ("No record" if language == "en" else "Aucun enregistrement") in " ".join(
        texts_of(document.blocks))  # fmt: skip


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize("kinds", [(), ("outage",), ("string", "dust"), ("file",), ("step",),
                                   ("dust", "file")])  # fmt: skip
def test_without_light_in_the_record_nothing_is_said_to_be_well(
    document_cases: Any, language: str, kinds: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A lost string cannot be seen in it, so no letter tells that all is as it should be."""
    design = _in_language("ridge-clinic", language)
    words, found = messages(language), found_of(design)
    assert found is not None
    findings = tuple(Finding(kind=kind, said="", outcome="failed", confidence="high", remedy="",
                             count=1, of=2) for kind in kinds)  # type: ignore[arg-type]
    for dark in (True, False):
        shown = replace(found, findings=findings, **(
            {"separated": None, "measured": None} if dark else {}))
        monkeypatch.setattr(visit_letter, "found_of", lambda _, one=shown: one)
        (document,) = documents(Making(design=design))
        document_cases.hold_to_rules(document, pages=2)
        text = "\n".join(texts_of(document.blocks))
        assert (words.text("visit_no_light") in text) == dark
        # a sudden drop may be a burnt joint: only what is explained leaves a record safe
        assert (words.text("visit_unsafe_none") in text) == (
            not dark and not {"step", "outage", "string"} & set(kinds))
        if dark:
            fine = words.text("visit_fine", begins="", ends="").rpartition(" ")[2]
            assert not any(said in text for said in (
                fine, words.text("visit_unsafe_none"), words.text("visit_else")))


@pytest.mark.parametrize("language", ["en", "fr"])
def test_all_else_is_as_expected_only_where_little_is_unexplained(
    document_cases: Any, language: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of 3708 kWh due 3339 came and findings explain 390: without the lost string 349 are open."""
    design = _in_language("ridge-clinic", language)
    words = messages(language)
    (document,) = documents(Making(design=design))
    document_cases.hold_to_rules(document, pages=2)
    assert words.text("visit_else") in "\n".join(texts_of(document.blocks))
    found = found_of(design)
    assert found is not None
    assert found.separated is not None
    losses = found.separated.losses_kwh
    due = losses["Expected of a clean array without faults or shading"] + losses[
        "Energy curtailed, battery full"]
    open_kwh = due - losses["Measured"] + losses["Soiling between cleanings"]
    whole = replace(found, findings=tuple(
        one for one in found.findings if one.kind != "string"))
    monkeypatch.setattr(visit_letter, "found_of", lambda _: whole)
    (unexplained,) = documents(Making(design=design))
    text = "\n".join(texts_of(unexplained.blocks))
    assert words.text("visit_else") not in text
    assert f"{open_kwh:.0f}" in text


@pytest.mark.parametrize("language", ["en", "fr"])
def test_made_safe_is_ticked_and_signed_never_said(document_cases: Any, language: str) -> None:
    design = _in_language("ridge-clinic", language)
    (document,) = documents(Making(design=design))
    (warning,) = [one for one in document.blocks if one["kind"] == "box"]
    words = warning["blocks"][1]["items"][0][0]["words"]
    kinds = [one["kind"] for one in words if not isinstance(one, str)]
    assert kinds == ["break", "tick", "fill", "fill"], "a box, who, and when"
    title = "".join(texts_of(warning["blocks"][:1]))
    assert title.startswith("WARNING" if language == "en" else "AVERTISSEMENT")


def test_the_next_visit_is_the_day_that_the_site_file_has(document_cases: Any) -> None:
    design = document_cases.demo("cove-cannery")
    for day, said in (("2027-05-04", "Next visit: 4 May 2027."), ("", "Next visit: in a year.")):
        (document,) = documents(Making(design=design.changed(
            {"firm": {"language": "en"}, "status": {"next_date": day}})))
        assert said in " ".join(texts_of(document.blocks))


@pytest.mark.parametrize("language", ["en", "fr"])
def test_the_demo_at_its_visit_has_a_letter_of_one_page_with_all_it_promises(
    document_cases: Any, language: str
) -> None:
    """By hand from data/loggers/make_plateau_school.py and the site file: one of two strings lost
    on 12 October, five days off in February, dust of 0.2 % a day over 103 days; a cell claimed."""
    design = _in_language("plateau-school", language)
    making = Making(design=design, firm=letterhead_of(design.sitefile))
    (document,) = documents(making)
    _, pages = document_cases.hold_to_rules(document, pages=1)
    text = " ".join(texts_of(document.blocks))
    words = messages(language)
    rows = next(one["rows"] for one in document.blocks if one["kind"] == "table")
    said = [[text_of(one["words"]) for one in row] for row in rows]
    assert [row[1] for row in said] == [
        capital(words.text("finding_string_one")), capital(words.text("finding_outage_many",
                                                                      count=5)),
        capital(words.text("finding_dust", share=words.percent(0.19)))]
    assert [row[5] for row in said] == [words.date(date.fromisoformat(day)) for day in (
        "2026-12-04", "2026-12-04", "2027-06-15")]
    assert words.date(date(2026, 10, 12)) in said[0][2]
    assert all(words.date(date(2026, 2, day)) in said[1][2] for day in (10, 14))
    assert "G2.17" in text
    assert design.site.firm.contact in text
    assert "Invented Engineer" not in pages[0], "who checked the drawings has not checked a letter"


def test_a_full_battery_loses_nothing_to_a_fault(document_cases: Any) -> None:
    """Dust or a lost string while nothing needed the energy: curtailed, and nothing unexplained."""
    for name in ("plateau-school", "ridge-clinic"):
        found = found_of(document_cases.demo(name))
        assert found is not None
        assert found.separated is not None
        assert found.measured is not None
        losses = found.separated.losses_kwh
        whole = losses["Expected of a clean array without faults or shading"]
        assert abs(losses["Unexplained"]) < 0.01 * whole
        held = found.measured.full & found.measured.known
        hours = found.measured.expected_w[held] - found.measured.power_w[held]
        assert -losses["Energy curtailed, battery full"] == pytest.approx(
            float(hours.clip(lower=0.0).sum()) * found.measured.step_h / 1000.0)


def _string(number: int, lost: int, strings: int, *, ended: bool) -> Finding:
    return Finding(kind="string", said=f"{lost} of {strings} strings out of operation: less",
                   size=lost / strings, lost_kwh=100.0 + number, since=date(2026, 3, 1 + number),
                   until=date(2026, 4, 1 + number) if ended else None,
                   outcome="review" if ended else "failed", count=lost, of=strings)  # fmt: skip


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize("count", range(0, 14, 2))
@pytest.mark.parametrize("files", [0, 1, 3])
def test_nothing_to_put_right_is_left_out_without_a_word(
    document_cases: Any, language: str, count: int, files: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    design = _in_language("ridge-clinic", language)
    found = found_of(design)
    assert found is not None
    words = messages(language)
    worn = Finding(kind="capacity", said="73 % of its rating", size=0.27)
    notes = [Finding(kind="file", said=f"{number + 1} gaps") for number in range(files)]
    many = replace(found, findings=(
        *notes, worn, *(_string(number, 1 + number % 3, 3, ended=number % 2 == 0)
                        for number in range(count))))  # fmt: skip
    monkeypatch.setattr(visit_letter, "found_of", lambda _: many)
    (document,) = documents(Making(design=design))
    document_cases.hold_to_rules(document, pages=2)
    text = "\n".join(texts_of(document.blocks))
    rows = next(one["rows"] for one in document.blocks if one["kind"] == "table")
    due = count + 1 + (files > 0)
    more = words.counted("visit_more", due - len(rows)) if due > len(rows) else ""
    assert len(rows) == min(due, visit_letter.MOST_FINDINGS)
    assert more in text
    assert not more or words.text("visit_else") not in text
    if due <= len(rows):
        assert capital(words.text("finding_capacity", share=words.percent(0.73))) in text
    assert text.count(capital(words.text("finding_file"))) <= 1


@pytest.mark.parametrize("language", ["en", "fr"])
def test_a_string_that_came_back_is_told_as_past_and_a_whole_array_as_such(language: str) -> None:
    words = messages(language)
    said = {(lost, ended): finding_words(_string(0, lost, 3, ended=ended), words)
            for lost in (1, 2, 3) for ended in (False, True)}  # fmt: skip
    assert len(set(said.values())) == len(said)
    assert said[3, False] == words.text("finding_array")
    assert said[2, True] == words.counted("finding_string_before", 2)


ENDS = date(2028, 10, 24)


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize("open_kinds", [(), ("string",), ("string", "string"), ("clock", "dust")])
@pytest.mark.parametrize("past", [(), ("string",), ("outage", "string"), ("clock", "step", "dust")])
def test_what_ended_within_the_record_is_told_once_and_never_as_to_put_right(
    document_cases: Any, language: str, open_kinds: tuple[str, ...], past: tuple[str, ...],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Three years of a record: each finding once with its days, what goes on first."""
    design = _in_language("plateau-school", language)
    whole, words = found_of(design), messages(language)
    assert whole is not None
    findings = [_spell(kind, 10 * number, days=9 if number < len(past) else None)
                for number, kind in enumerate((*past, *open_kinds))]  # fmt: skip
    found = replace(whole, findings=tuple(findings))
    assert {id(one) for one in to_put_right(found)} == {id(one) for one in findings[len(past):]}
    assert {id(one) for one in over(found)} == {id(one) for one in findings[:len(past)]}
    monkeypatch.setattr(visit_letter, "found_of", lambda _: found)
    (document,) = documents(Making(design=design))
    document_cases.hold_to_rules(document, pages=2)
    rows = [[text_of(one["words"]) for one in row] for block in document.blocks
            if block["kind"] == "table" for row in block["rows"]]  # fmt: skip
    days = [row[2] for row in rows]
    assert len(set(days)) == len(days) == len(findings)
    for one in findings:
        assert words.date(one.since) in " ".join(days[:len(open_kinds)] if one.until is None else
                                                 days[len(open_kinds):])  # fmt: skip
    warned = "\n".join(texts_of([one for one in document.blocks if one["kind"] == "box"]))
    assert warned.count(capital(words.counted("finding_string", 1))) == open_kinds.count("string")
    assert capital(words.counted("finding_string_before", 1)) not in warned
    text = "\n".join(texts_of(document.blocks))
    repair, again = words.text("action_string"), words.text("action_string_before")
    assert text.count(repair) == open_kinds.count("string")
    assert text.count(again) == past.count("string")
    # a joint that came back by itself may burn: such a record is not called safe
    assert (words.text("visit_unsafe_none") in text) == (
        not {"string", "step", "outage"} & {*past, *open_kinds})


def _spell(kind: str, number: int, *, days: int | None) -> Finding:
    since = date(2026, 1, 1) + timedelta(days=number)
    until = None if days is None else since + timedelta(days=days)
    return Finding(kind=kind, said="", size=0.1, lost_kwh=10.0 + number, since=since,  # type: ignore[arg-type]
                   until=until, count=1, of=2)  # fmt: skip


def _promise(kind: str, day: str, since: str = "") -> Action:
    return Action(finding=kind, date=day, since=since)  # type: ignore[arg-type]


def test_each_finding_of_a_kind_has_the_day_that_was_promised_for_it() -> None:
    """A string of year one, put back, and two of year three: what year one promised was kept."""
    told = [_spell("string", 900, days=None), _spell("string", 960, days=None),
            _spell("string", 30, days=40), _spell("dust", 100, days=60)]  # fmt: skip
    kept = _promise("string", "2026-03-15")
    soon, late = date(2028, 11, 3), date(2028, 12, 1)
    assert promised(told, [kept], ends=ENDS) == {}
    for actions in ([kept, _promise("string", f"{late}")], [_promise("string", f"{late}"), kept]):
        assert promised(told, actions, ends=ENDS) == {0: late, 1: late}
    own = _promise("string", f"{soon}", f"{told[1].since}")
    for actions in ([own, _promise("string", f"{late}")], [_promise("string", f"{late}"), own]):
        assert promised(told, actions, ends=ENDS) == {0: late, 1: soon}
    near = _promise("string", f"{late}", f"{told[0].since - timedelta(days=3)}")
    assert promised(told, [near, own], ends=ENDS) == {0: late, 1: soon}, "days move with a record"
    assert promised(told, [_promise("dust", "2029-06-15")], ends=ENDS) == {3: date(2029, 6, 15)}
    assert promised(told[:1], [_promise("string", f"{late}"), _promise("string", f"{soon}")],
                    ends=ENDS) == {0: soon}, "the next to come"  # fmt: skip


def test_a_visit_before_the_end_of_the_record_is_not_the_next(document_cases: Any) -> None:
    design = document_cases.demo("plateau-school")
    for day, said in (("2026-11-15", "Next visit: in a year."),
                      ("2026-12-01", "Next visit: 1 December 2026.")):
        (document,) = documents(Making(design=design.changed(
            {"firm": {"language": "en"}, "status": {"next_date": day}})))
        assert said in " ".join(texts_of(document.blocks))


@pytest.mark.parametrize("outcome", ["passed", "review"])
def test_what_a_short_outage_took_is_explained(document_cases: Any, outcome: Any) -> None:
    """Of all that is missing, each kWh is either a finding's or unexplained."""
    found = found_of(document_cases.demo("plateau-school"))
    assert found is not None
    assert found.separated is not None
    spare, due = visit_letter._due_kwh(found)
    missing = float(due.sum()) - float(found.separated.days["measured_kwh"].sum())
    found = replace(found, findings=(
        Finding(kind="outage", said="", lost_kwh=0.1 * missing, outcome=outcome, count=1),
        Finding(kind="full battery", said="", lost_kwh=float(spare.sum()), outcome="passed")))
    assert visit_letter._unexplained_kwh(found) == pytest.approx(0.9 * missing)


@pytest.mark.parametrize("wide", [360, 400, 720])
@pytest.mark.parametrize("months", [1, 5, 13, 14, 25, 37, 61])
@pytest.mark.parametrize("label", ["Oct", "sept."])
def test_bars_of_years_name_each_year_once_and_no_name_lies_on_another(
    wide: int, months: int, label: str
) -> None:
    """Letters of a label 12 high are at most 7 wide, as the drawing itself has them."""
    years = [str(2025 + (9 + number) // 12) for number in range(months)]
    svg = paired_bars([(label, 3.0, 2.0)] * months, "bars", wide=wide, groups=years)
    texts = re.findall(r'<text x="([-0-9.]+)" y="([0-9.]+)"([^>]*)>([^<]*)</text>', svg)
    spans: dict[str, list[tuple[float, float]]] = {}
    for x, y, style, text in texts:
        if 'text-anchor="end"' not in style:
            left = float(x) - 3.5 * len(text) * ("middle" in style)
            spans.setdefault(y, []).append((left, left + 7.0 * len(text)))
    for row in spans.values():
        assert all(one[1] <= other[0] for one, other in pairwise(sorted(row)))
        assert months <= 14 or all(right <= wide for _, right in row)
    named = [text for *_, text in texts if text in years]
    assert named == [year for year in dict.fromkeys(years) if year in named]
    assert {year for year in years if years.count(year) == 12} <= set(named)


def test_the_months_of_a_record_over_two_years_stand_under_their_years(
    document_cases: Any,
) -> None:
    (document,) = document_cases.made("plateau-school", "VL")
    (drawing,) = [one["blocks"][0] for one in document.blocks if one["kind"] == "figure"]
    for svg in (drawing["content"].decode(), drawing["narrow"]):
        assert re.findall(r">(20\d\d)<", svg) in (["2025", "2026"], ["2026"])


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize("count", [0, 2, 5, 8])
def test_each_of_the_last_years_has_its_line(
    document_cases: Any, language: str, count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """None where the record is short: its sums are in the sentence above."""
    design, words = _in_language("ridge-clinic", language), messages(language)
    years = pd.DataFrame([{
        "first": date(2026 + one, 3, 4), "last": date(2027 + one, 3, 3), "days": 365,
        "spare_kwh": 0.0, "due_kwh": 3000.0 + one, "measured_kwh": 2900.0 - 10 * one,
    } for one in range(8)])[:count]  # fmt: skip
    monkeypatch.setattr(visit_letter, "years_kwh", lambda separated, measured: years)
    (document,) = documents(Making(design=design))
    document_cases.hold_to_rules(document, pages=2)
    tables = [one for one in document.blocks if one["kind"] == "table"
              and text_of(one["caption"]) == words.text("visit_years")]  # fmt: skip
    assert len(tables) == (count > 0)
    for one in tables:
        assert len(one["rows"]) == min(count, visit_letter.MOST_YEARS)
        assert words.number(2900.0 - 10 * (count - 1)) in text_of(one["rows"][-1][2]["words"])
