"""Where a job stands: what blocks which stage, the status of its documents, who does what next."""

from __future__ import annotations

import runpy
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as some

from solarcalc.basis.check import KINDS, OUTCOMES, Check
from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.checking.lines import _report_lines
from solarcalc.cli import main
from solarcalc.commissioning.sheet import sheet_of
from solarcalc.design import Design, open_design
from solarcalc.diagrams.sheet import title_block
from solarcalc.documents.making import Making
from solarcalc.sitefile.status import STAGES, document_set, signatures
from solarcalc.stages import progress
from solarcalc.stages.grounds import test_facts as facts_of_tests
from solarcalc.stages.progress import (
    TESTS_OF_HOLD,
    _signed_against,
    approved,
    checks_of_stage,
    document_status,
    issue_status,
    progress_of,
    reached,
)
from solarcalc.stages.progress import test_report as report_of_tests
from solarcalc.stages.said import held_early
from solarcalc.views.followup import visit_checks

JOBS = runpy.run_path(str(Path(__file__).with_name("job_cases.py")))
school_at_handover = JOBS["school_at_handover"]
CHECKS = some.builds(
    Check, item=some.sampled_from(["Floor", "Air"]), found=some.just("1"), limit=some.just("2"),
    outcome=some.sampled_from(OUTCOMES), clause=some.just("c"), remedy=some.just("mend; or not"),
    rule=some.sampled_from(["a/b", "weather/x", "quote/x", "programme/x", "followup/x"]),
    kind=some.sampled_from(KINDS),
)  # fmt: skip
DAY = "2026-11-01"
EMPTY = SimpleNamespace(lines=())


@cache
def shop(stage: str = "design", revision: str = "A") -> Design:
    """Nothing of it is signed or issued."""
    return open_design("orchard-shop", {"status": {
        "stage": stage, "revision": revision, "next_date": "", "accepted": [], "issued": [],
        "signed": []}})


def with_status(stage: str, **keys: object) -> Design:
    return shop().changed({"status": {"stage": stage, **keys}})


def real(design: Design) -> Design:
    """The same of equipment that a firm sells."""
    return Design(sitefile=replace(design.sitefile, examples=()))


def sign(*keys: str) -> list[dict[str, str]]:
    return [{"what": key, "name": "A. Lead", "date": DAY} for key in keys]


def issue(*codes: str, revision: str = "A") -> list[dict[str, str]]:
    return [{"document": code, "revision": revision, "date": DAY, "to": "A. Lead"}
            for code in codes]


def what(design: Design) -> list[str]:
    return [step.what for step in progress_of(design).blocks]


class Stub:
    """A design whose checks are given."""

    def __init__(self, design: Design, checks: tuple[Check, ...]) -> None:
        self._design, self.all_checks = design, checks
        self.blocking = tuple(one for one in checks if one.outcome == "failed"
                              and one.kind in ("safety", "supply"))

    def __getattr__(self, name: str) -> object:
        return getattr(self._design, name)


def test_the_tables_hold_the_stages_and_eight_hold_points() -> None:
    """Codes and stages of section 2 of the agreed set; H1 to H8 stop the work on site."""
    assert [one.stage for one in document_set().values()] == sorted(
        (one.stage for one in document_set().values()), key=STAGES.index)
    assert {code: one.stage for code, one in document_set().items()} == {
        "SV": "survey", "DS": "design", "DR": "design", "CA": "design", "QU": "offer",
        "SP": "build", "TR": "test", "BK": "handover", "HF": "handover", "VL": "visit",
        "CL": "visit"}
    assert [one.key for one in signatures().values() if one.hold] == [
        f"H{number}" for number in range(1, 9)]
    assert all(one.stage in STAGES for one in signatures().values())


@settings(deadline=None, max_examples=60)
@given(some.lists(CHECKS, max_size=6))
def test_only_a_failed_check_of_safety_or_supply_blocks_an_offer(checks: list[Check]) -> None:
    stub = Stub(shop(), tuple(checks))
    progress = progress_of(stub)  # type: ignore[arg-type]
    failed = [one for one in checks if one.outcome == "failed"
              and one.kind in ("safety", "supply")]
    assert len(progress.blocks) == len(failed)
    open_reviews = sum(one.open and one.outcome == "review" for one in checks)
    assert sum(step.what.startswith("to review") for step in progress.conditions) == open_reviews
    assert progress.next_step.words == (
        "designer: mend" if failed else "lead: move the job on to offer")


@settings(deadline=None, max_examples=40)
@given(some.lists(CHECKS, max_size=6), some.sampled_from(STAGES), some.sampled_from(STAGES))
def test_a_document_holds_the_checks_of_its_own_stage_only(
    checks: list[Check], at: str, asked: str
) -> None:
    later = tuple(one for one in checks if one.rule.startswith("followup"))
    now = tuple(one for one in checks if not one.rule.startswith("followup"))
    stub = Stub(shop(at), now)
    found = checks_of_stage(stub, asked, of_visit=later)  # type: ignore[arg-type]
    of_survey = ("survey", "design") if asked == "design" else (asked,)
    assert {one.stage for one in found} <= set(of_survey)
    if not reached(shop(at), "visit"):
        assert not any(one in later for one in found)
    if asked not in ("test", "visit"):
        assert list(found) == [one for one in now if one.stage in of_survey]


def test_tests_are_judged_from_stage_test_on() -> None:
    clinic = open_design("ridge-clinic")
    failed = [one for one in checks_of_stage(clinic, "test") if one.outcome == "failed"]
    assert len([one for one in failed if one.rule == "commissioning/line"]) == 2
    before = clinic.changed({"status": {"stage": "build"}})
    assert not any(one.rule.startswith("commissioning") for one in checks_of_stage(before, "test"))
    assert visit_checks(clinic) == []


def test_what_blocks_each_stage_and_no_longer_does_once_it_is_done() -> None:
    assert what(with_status("survey")) == [
        "essential loads not agreed with the customer",
        "roof, obstacles, horizon or cable routes not measured",
        "no statement on roof strength asked for"]
    survey = sign("loads", "roof", "strength")
    assert what(with_status("survey", signed=survey)) == []
    offer = what(with_status("offer", signed=survey))
    assert offer == ["example prices", "no validity date, the quote was not issued",
                     "quote not accepted by the customer"]
    given = with_status("offer", signed=survey, issued=issue("QU"))
    assert "no validity date, the quote was not issued" not in what(given)
    assert progress_of(given).next_date == "2026-12-01"  # hand: 1 November and 30 days
    older = with_status("offer", revision="B", signed=survey, issued=issue("QU"))
    assert "quote of revision A, the design is revision B" in what(older)
    build = with_status("build", signed=[*survey, *sign("QU", "H1", "H3")])
    assert what(build)[:4] == [
        "drawings not approved, yet H3 signed", "example prices",
        "no validity date, the quote was not issued",
        "H2 roof strength, wind, ballast and feet not confirmed"]
    assert progress_of(build).open_holds == ("H2", "H4", "H5", "H6", "H7", "H8")
    assert progress_of(with_status("offer")).open_holds == ()


def test_handover_waits_for_the_report_and_the_serial_numbers() -> None:
    done = sign(*(key for key, one in signatures().items() if one.stage != "visit"))
    school = school_at_handover().changed({"status": {"signed": done}})
    assert what(school) == ["1 of 37 serial numbers missing", "1 of 37 warranty dates missing",
                            "drawings not approved, yet H3, H4, H5, H6, H7, H8 signed"]
    without = school.changed({"handover": {"serials": ""}})
    assert what(without)[0] == "37 of 37 serial numbers missing"
    unsigned = school.changed({"status": {"signed": [one for one in done if one["what"] != "TR"]}})
    assert "test report not signed" in what(unsigned)


def test_a_handed_over_job_lists_what_is_open() -> None:
    assert what(school_at_handover()) == [
        "1 of 37 serial numbers missing", "1 of 37 warranty dates missing",
        "drawings not approved, yet H3, H4, H5, H6, H7, H8 signed", "drawings not as built",
        "booklet not signed, or the customer has not switched off and on alone"]


def test_a_sheet_that_is_not_there_blocks_and_breaks_nothing() -> None:
    design = open_design("plateau-school", {
        "commissioning": {"results": "none.csv"}, "handover": {"serials": "none.csv"}})
    assert [each.split(" ", 3)[-1][:20] for each in what(design)[:2]] == [
        "tests missing: L01, ", "serial numbers missi"]
    assert len([check for check in design.failed if "none.csv" in check.found]) == 2
    assert visit_checks(design.changed({"status": {"stage": "visit"},
                                        "logger": {"file": "none.csv"}})) == []


def test_a_sheet_and_a_list_with_faults_are_told_and_the_rest_is_judged(tmp_path: Path) -> None:
    """A row that cannot be read is not done, and the papers are refused: the design stands."""
    clean = open_design("ridge-clinic")
    sheet = clean.sitefile.folder / clean.site.commissioning.results
    text = sheet.read_text(encoding="utf-8-sig").replace("\nL02,", "\nZ99,")
    (tmp_path / "tests.csv").write_text(text, encoding="utf-8")
    (tmp_path / "serials.csv").write_text(
        "position,model,serial,warranty_until\nS1/1,m,7,\nS1/2,m,7,\nS9/9,m,8,\n")
    design = open_design("ridge-clinic", {
        "status": {"stage": "handover"}, "handover": {"serials": str(tmp_path / "serials.csv")},
        "commissioning": {"results": str(tmp_path / "tests.csv")}})
    assert design.failed == clean.failed
    before, (after, faults) = report_of_tests(clean), progress.tests_read(design)
    assert before is not None
    assert after is not None
    assert [fault.where for fault in faults] == ["tests.csv: line 4: id"]
    for one, other in zip(before.lines, after.lines, strict=True):
        assert other.standing == ("not done" if one.line.id == "L02" else one.standing)
    with pytest.raises(InputError, match="Z99"):
        report_of_tests(design)
    told = " ".join(what(design))
    assert "1 fault in the test sheet, first tests.csv: line 4: id: Z99" in told
    assert "2 faults in the list of serial numbers, first serials.csv: line 3: serial" in told
    assert "24 of 25 serial numbers missing" in told
    lines = "\n".join(_report_lines(design))
    for part in ("tests.csv: line 4: id", "serials.csv: line 3: serial", "line 4: position"):
        assert lines.count(part) == 1


def test_an_unsafe_finding_of_a_visit_blocks_until_it_is_made_safe() -> None:
    shed = with_status("visit", signed=sign(*signatures()))
    unsafe = Check(item="Bond", found="open", limit="closed", outcome="failed", clause="c",
                   remedy="tighten it", rule="followup/bond", kind="safety")
    said = progress_of(shed, of_visit=[unsafe]).blocks
    assert said[-1].do == "make it safe on the day: tighten it"
    assert not any("Bond" in one for one in what(shed))


def test_a_new_revision_sets_every_document_but_the_survey_back_to_draft() -> None:
    codes = tuple(document_set())
    signed = sign(*signatures())
    school = open_design("plateau-school", {"status": {
        "stage": "visit", "revision": "A", "issued": issue(*codes), "signed": signed}})
    design = school.changed({"checked": {
        "name": "An invented person", "licence": "0000, invented", "date": DAY,
        "fingerprint": school.fingerprint}})
    assert approved(design)
    assert document_status(design, "SP") == "for approval", "nothing is built of invented equipment"
    assert {code: document_status(real(design), code) for code in codes} == {
        "SV": "issued", "DS": "for approval", "DR": "for approval", "CA": "for approval",
        "QU": "for offer", "SP": "as built", "TR": "as built", "BK": "as built",
        "HF": "as built", "VL": "issued", "CL": "issued"}
    revised = design.changed({"status": {"revision": "B"}})
    assert [document_status(revised, code) for code in codes] == ["issued"] + ["draft"] * 10
    old = revised.site.status.issued
    assert [issue_status(revised, one) for one in old] == ["issued"] + ["superseded"] * 10


def test_a_site_pack_is_for_construction_only_once_the_design_is_approved() -> None:
    design = with_status("build", issued=issue("SP"))
    assert document_status(design, "SP") == "for approval"
    assert document_status(with_status("build"), "SP") == "draft"
    by = {"name": "An invented person", "licence": "0000, invented", "date": DAY}
    right = design.changed({"checked": {**by, "fingerprint": design.fingerprint}})
    assert document_status(right, "SP") == "for approval"
    assert document_status(real(right), "SP") == "for construction"
    assert "drawings not approved" not in what(right)
    other = design.changed({"checked": {**by, "fingerprint": "00000000"}})
    assert document_status(other, "SP") == "for approval"
    assert "drawings approved by An invented person are of another design" in what(other)


@pytest.mark.parametrize("stage", ["build", "test", "handover", "visit"])
@pytest.mark.parametrize("stem", ["plateau-school", "ridge-clinic", "orchard-shop"])
@pytest.mark.parametrize("equipment", ["real", "invented"])
def test_a_site_pack_has_the_status_of_its_drawings(
    stem: str, stage: str, equipment: str
) -> None:
    """Of the design as it is, and of one changed after it was approved."""
    for more in ({}, {"runs": {"dc_main": {"length_m": 13.5}}}):
        for packs in ("ABC", ""):
            issued = [one for revision in packs for one in issue("SP", revision=revision)]
            design = open_design(stem, {"status": {"stage": stage, "issued": issued}, **more})
            design = real(design) if equipment == "real" else design
            block = title_block(design.drawn.site, number="SP-05", sheet=5, title="Any")
            assert block.status == document_status(design, "SP")


def test_no_quote_is_for_offer_while_a_check_of_supply_fails() -> None:
    cove = open_design("cove-cannery", {"status": {"stage": "offer", "issued": issue("QU")}})
    assert cove.blocking
    assert document_status(cove, "QU") == "draft"
    fine = replace(cove.blocking[0], outcome="passed")
    assert document_status(Stub(cove, (fine,)), "QU") == "for offer"  # type: ignore[arg-type]


@pytest.mark.parametrize(("stem", "stage", "first", "count"), [
    ("ridge-clinic", "test", "test C02 failed", 5),
    ("coral-pharmacy", "offer", "example prices", 2),
    ("cove-cannery", "design", "Essential board without supply failed", 1),
    ("orchard-shop", "build", "drawings not approved", 10),
    ("plateau-school", "visit", "", 0),
])
def test_each_demo_site_stands_where_its_file_says(
    stem: str, stage: str, first: str, count: int, capsys: pytest.CaptureFixture[str]
) -> None:
    progress = progress_of(open_design(stem))
    assert progress.stage == stage
    assert [step.what.startswith(first) for step in progress.blocks[:1]] == [True] * bool(first)
    assert len(progress.blocks) == count
    assert all(one.do.count("(") == one.do.count(")") for one in progress.blocks)
    main(["check", stem])
    out = capsys.readouterr().out
    assert f"  stage     {progress.words}\n" in out
    assert out.count("\n  open      ") == count
    assert f"  next      {progress.next_step.words}" in out


@pytest.mark.parametrize("stem", demo_sites())
def test_who_approved_a_demo_is_invented_and_holds_are_signed_on_approved_drawings(
    stem: str
) -> None:
    design = open_design(stem)
    by = design.site.checked
    assert by.done == (stem in ("plateau-school", "ridge-clinic"))
    if by.done:
        assert approved(design)
        assert by.name.startswith("Invented")
        assert "invented" in by.licence
        assert design.sitefile.examples, "drawings of example equipment, and stamped so"
    assert not held_early(design.site)
    assert not design.unmet
    assert not [one for one in design.all_checks if "accepted other values" in one.remedy]


@pytest.mark.parametrize(("keys", "words"), [
    ({"signed": sign("H9")}, "did you mean H"),
    ({"signed": sign("H1", "H1")}, "each once"),
    ({"signed": [{"what": "H1", "name": "A", "date": "2026-02-30"}]}, "no such day"),
    ({"issued": issue("XX")}, "SV, DS, DR"),
    ({"issued": issue("DS", "DS")}, "each issue once"),
    ({"issued": [{**issue("DS")[0], "date": ""}]}, "no such day"),
    ({"next_date": "soon"}, "no such day"),
])
def test_what_may_not_stand_there_is_refused_by_name(
    keys: dict[str, object], words: str
) -> None:
    with pytest.raises(InputError, match=r"orchard-shop\.toml") as caught:
        with_status("build", **keys)
    assert words in str(caught.value)
    assert "status." in str(caught.value)


def test_a_document_has_the_day_of_its_own_issue() -> None:
    """Fields of ISO 7200: date of issue and revision are those of the document, not the design."""
    late = [{**row, "date": day} for row, day in zip(
        issue("QU", "QU", "SV"), ("2026-11-16", "2026-11-20", "2026-10-19"), strict=True)]
    late[1]["to"] = "another"
    design = with_status("offer", revision="A", date="2026-11-09", issued=late)
    day = {code: (head.revision, head.issued) for code in document_set()
           for head in [Making(design=design).head(code, "Title")]}
    assert day["QU"] == ("A", "2026-11-20"), "the latest issue"
    assert day["SV"] == ("A", "2026-10-19")
    assert day["DS"] == day["DR"] == day["CA"] == day["SP"] == ("A", "2026-11-09")
    assert {day[code][1] for code in ("TR", "BK", "HF", "VL", "CL")} == {""}
    next_one = Making(design=with_status("offer", revision="B", date="2026-12-01", issued=late))
    assert (next_one.head("QU", "Quote").revision, next_one.head("QU", "Quote").issued) == (
        "B", "2026-12-01"), "an issue of another revision says nothing of this one"
    assert next_one.head("SV", "Survey sheet").revision == "A"


@pytest.mark.parametrize("name", demo_sites())
def test_a_demo_signs_nothing_before_it_can_have_happened(name: str) -> None:
    design = open_design(name)
    status = design.site.status
    signed = {one.what: one.date for one in status.signed}
    issued = {one.document: one.date for one in status.issued}
    tested = sorted({each.result.when[:10] for each in (progress.test_report(design) or EMPTY).lines
                     if each.result})
    rails = next((one.start.date().isoformat() for one in design.programme.planned
                  if one.task.key == "rails"), "")
    for key in ("H4", "H6", "H7", "H8"):
        assert signed.get(key, "9") >= (tested or [""])[0], key
    assert signed.get("H3", "9") >= rails
    for code in ("DS", "QU"):  # that print who confirmed the roof
        assert signed.get("H2", "") <= issued.get(code, "9"), code


@settings(deadline=None, max_examples=25)
@given(some.data())
def test_a_hold_point_signed_against_its_tests_is_told(data: Any) -> None:
    """Whatever failed or was left out, and whatever was signed: each contradiction once."""
    clinic = open_design("ridge-clinic")
    report = report_of_tests(clinic)
    assert report is not None
    standings = ("pass", "review", "fail", "not done")
    lines = tuple(replace(each, standing=data.draw(some.sampled_from(standings)))
                  if data.draw(some.booleans()) else replace(each, standing="pass")
                  for each in report.lines if each.line.key in set().union(
                      *TESTS_OF_HOLD.values()))  # fmt: skip
    assume(any(each.standing != "not done" for each in lines))
    holds = data.draw(some.sets(some.sampled_from(["H1", "H3", "H4", "H5", "H6", "H7", "H8"])))
    own = clinic.changed({"status": {"signed": [
        {"what": hold, "name": "Invented", "date": "2026-11-01"} for hold in sorted(holds)]}})
    told = [step.what for step in _signed_against(own, replace(report, lines=lines))]
    wanted = [
        (hold, said) for hold in ("H4", "H6", "H7", "H8") for standing, said in (
            ("fail", "failed"), ("not done", "not done"))
        if hold in holds and any(each.standing == standing and each.line.key in TESTS_OF_HOLD[hold]
                                 for each in lines)
    ]  # fmt: skip
    assert [(one[:2], one.split("tests ")[1].split(":")[0]) for one in told] == wanted


@pytest.mark.parametrize("stem", sorted(demo_sites()))
def test_every_test_behind_a_hold_point_is_one_of_the_sheet(stem: str) -> None:
    facts = facts_of_tests(open_design(stem).installation)
    keys = {line.key for line in sheet_of(facts)}
    for hold, of_hold in TESTS_OF_HOLD.items():
        assert of_hold & keys, hold
    assert {"electrode", "polarity", "voltage", "battery-polarity", "array-insulation"} <= keys
