"""What was accepted: it holds for just those values, never for a failed check, and says by whom."""

from __future__ import annotations

import re
import runpy
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as some

from solarcalc.basis.check import (
    KINDS,
    OUTCOMES,
    Check,
    Outcome,
    count_words,
    worst_first,
)
from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.worded import worded
from solarcalc.design import Design, open_design
from solarcalc.documents import decision_sheet, design_report
from solarcalc.documents.facts import trade_words
from solarcalc.documents.making import Making
from solarcalc.documents.tree import texts_of
from solarcalc.report.findings import Letterhead
from solarcalc.sitefile.quote import Checked
from solarcalc.sitefile.status import Accepted, Signed, signatures
from solarcalc.stages.progress import progress_of
from solarcalc.stages.said import held_early, odd_days
from solarcalc.stages.status import blocking, lapsed, once, settled, unmet

SITES = Path(__file__).resolve().parents[1] / "data" / "sites"
JOBS = runpy.run_path(str(Path(__file__).with_name("job_cases.py")))
CHECKS = some.builds(
    Check, item=some.sampled_from(["Floor", "Air", "Cover"]), found=some.sampled_from("123"),
    limit=some.just("2"), outcome=some.sampled_from(OUTCOMES), clause=some.just("c"),
    remedy=some.just("mend it"), rule=some.sampled_from(["a/b", "a/c"]),
    kind=some.sampled_from(KINDS),
)  # fmt: skip


def accepted(check: Check) -> Accepted:
    return Accepted(check=check.key, fingerprint=check.fingerprint, name="A. Lead",
                    reason="as built", date="2027-02-01")  # fmt: skip


@given(CHECKS)
def test_only_a_review_is_accepted_and_it_stays_a_review(check: Check) -> None:
    (found,) = settled([check], [accepted(check)])
    assert found.outcome == check.outcome
    assert bool(found.accepted) == (check.outcome == "review")
    assert found.open == (check.outcome == "failed")
    assert len(blocking([found])) == len(blocking([check]))


@given(CHECKS, some.sampled_from("45"))
def test_a_changed_value_voids_what_was_accepted(check: Check, other: str) -> None:
    later = replace(check, found=other)
    assert later.key == check.key
    (found,) = settled([later], [accepted(check)])
    assert not found.accepted
    assert found.open == later.open
    assert ("A. Lead" in found.remedy) == (check.outcome in ("failed", "review"))


@given(some.lists(CHECKS, max_size=6))
def test_order_and_counts_follow_outcome_then_safety(checks: list[Check]) -> None:
    ordered = worst_first(checks)
    ranks = [(OUTCOMES.index(each.outcome), each.outcome != "passed" and each.kind != "safety")
             for each in ordered]  # fmt: skip
    assert ranks == sorted(ranks)
    fails = any(each.outcome == "failed" for each in checks)
    passes = any(each.outcome == "passed" for each in checks)
    said = count_words(checks)
    assert said.startswith("No check fails") == (not fails and (passes or not checks))
    assert said.startswith("No check passes") == bool(checks and not fails and not passes)


def test_an_acceptance_that_nothing_asks_for_is_told() -> None:
    check = Check(item="Floor", found="1", limit="2", outcome="passed", clause="c", rule="a/b",
                  kind="safety")  # fmt: skip
    assert "it passes" in unmet([check], [accepted(check)])[0]
    assert "no such check" in unmet([], [accepted(check)])[0]
    assert unmet([replace(check, outcome="review")], [accepted(check)]) == ()


def with_status(check: Check, **changed: str) -> dict[str, dict[str, object]]:
    row = {**accepted(check).model_dump(), **changed}
    return {"status": {"accepted": [row]}}


@pytest.fixture(scope="module")
def coral() -> Design:
    return open_design("coral-pharmacy")


def test_an_accepted_review_of_a_site_is_marked_until_its_values_change(coral: Design) -> None:
    check = next(each for each in coral.all_checks if each.outcome == "review")
    taken = coral.changed(with_status(check))
    found = next(each for each in taken.all_checks if each.key == check.key)
    assert found.accepted == "A. Lead, 2027-02-01: as built"
    assert not taken.unmet
    void = coral.changed(with_status(check, fingerprint="00000000"))
    assert next(each for each in void.all_checks if each.key == check.key).open


@given(CHECKS, some.sampled_from("45"))
def test_what_lapsed_is_what_is_open_again(check: Check, other: str) -> None:
    """One thing said of each acceptance: it holds, it lapsed, or nothing asks for it."""
    for now in (check, replace(check, found=other)):
        rows = [accepted(check)]
        (found,) = settled([now], rows)
        gone, idle = lapsed([found], rows), unmet([found], rows)
        assert bool(found.accepted) + len(gone) + len(idle) == 1
        assert [one for one, _ in gone] == [found] * (not found.accepted and not idle)


@pytest.mark.slow
def test_papers_tell_what_was_accepted_and_no_longer_holds(coral: Design) -> None:
    check = next(each for each in coral.all_checks
                 if each.outcome == "review" and each.kind == "safety")  # fmt: skip
    firm = Letterhead(name="A firm", contact="1 23")
    for changed, there in (({}, False), ({"fingerprint": "00000000"}, True)):
        making = Making(design=coral.changed(with_status(check, **changed)), firm=firm)
        report = " ".join(texts_of(next(
            one.blocks for one in design_report.documents(making) if one.code == "DR")))
        sheet = " ".join(texts_of(decision_sheet.documents(making)[0].blocks))
        assert (f"{trade_words(check.item)}: A. Lead accepted other values" in report) == there
        assert ("Accepted before, no longer valid" in report) == there
        assert ("Safety, accepted before, no longer valid (1)" in sheet) == there
    row = {**accepted(check).model_dump(), "check": "no/such:check"}
    gone = coral.changed({"status": {"accepted": [row]}})
    blocks = next(one.blocks for one in design_report.documents(
        Making(design=gone, firm=firm)) if one.code == "DR")  # fmt: skip
    assert "no such check in this design" in " ".join(texts_of(blocks))


def test_what_was_read_of_one_machine_is_not_accepted_of_another(coral: Design) -> None:
    check = next(each for each in coral.all_checks if each.outcome == "review"
                 and not any(map(str.isdigit, each.found)) and each.kind == "safety")  # fmt: skip
    taken = coral.changed(with_status(check))
    assert not next(each for each in taken.all_checks if each.key == check.key).open
    inverter = {"essential": {"label": "Another maker's inverter"}}
    swapped = taken.changed({"inverter": inverter})
    assert next(each for each in swapped.all_checks if each.key == check.key).open


def test_what_may_not_stand_in_status_is_refused_by_name(coral: Design) -> None:
    check = coral.all_checks[0]
    for change, words in (
        (with_status(check, date="2027-02-30"), "status.accepted"),
        (with_status(check, name=" "), "status.accepted"),
        (with_status(check, fingerprint="short"), "8"),
        ({"status": {"stage": "sold"}}, "survey, design, offer"),
    ):
        with pytest.raises(InputError, match=words):
            coral.changed(change)
    twice = with_status(check)["status"]["accepted"] * 2  # type: ignore[operator]
    with pytest.raises(InputError, match="each check once"):
        coral.changed({"status": {"accepted": twice}})


def test_the_report_says_no_check_fails_only_where_none_does(tmp_path: Path) -> None:
    for name in ("cove-cannery", "coral-pharmacy"):
        design = open_design(name)
        said = count_words(design.all_checks)
        assert said.startswith("No check fails") == (not design.failed)


def test_what_another_check_says_is_neither_printed_nor_counted_twice() -> None:
    """Plateau school: its electrode is held to the limit of its lightning rods, a rule of its own
    that says the same; of tests, a category falls where a line of its own is off as badly."""
    rules = [check.rule for check in open_design("plateau-school").checks["earthing"]]
    assert rules.count("earthing/electrode-limit") == 1
    assert "earthing/earth-lightning-rods" not in rules

    def tests(item: str, outcome: Outcome, rule: str) -> Check:
        return Check(item=item, found="1", limit="2", outcome=outcome, clause="c",
                     rule=f"commissioning/{rule}", kind="safety")  # fmt: skip

    checks = [tests("Tests: continuity", "failed", "category"),
              tests("Tests: string voltage", "review", "category"),
              tests("Tests: battery", "passed", "category"),
              tests("C02 Bond of the frame, roof", "failed", "line"),
              tests("E01 Electrode", "review", "line")]  # fmt: skip
    assert [check.item for check in once(checks)] == [
        "Tests: string voltage", "Tests: battery", "C02 Bond of the frame, roof", "E01 Electrode"]
    milder = [replace(checks[0], outcome="failed"), replace(checks[3], outcome="review")]
    assert once(milder) == tuple(milder), "what is worse stays"


@given(some.lists(CHECKS, max_size=6))
def test_no_finding_is_lost_to_a_milder_one(checks: list[Check]) -> None:
    named = [replace(check, rule=rule) for check, rule in zip(
        checks, ["earthing/electrode-limit", "earthing/earth-lightning-rods"] * 3, strict=False)]
    kept = once(named)
    for gone in set(named) - set(kept):
        assert any(OUTCOMES.index(one.outcome) <= OUTCOMES.index(gone.outcome)
                   and one.found == gone.found for one in kept)  # fmt: skip


@given(some.floats(100.0, 200.0), some.floats(100.0, 200.0))
@example(130.04, 130.0)
@example(2.4812, 2.4791)
def test_a_value_beyond_its_limit_never_reads_like_it(charge_a: float, limit_a: float) -> None:
    said = worded("wiring", "charge-current-full", charge_a=charge_a, limit_a=limit_a, bank_v=48.0,
                  power_w=7000.0, efficiency_frac=0.98, fits=20, controllers="the controller")
    found, limit = (float(re.search(r"[\d.]+", said[name])[0]) for name in ("found", "limit"))
    if abs(charge_a - limit_a) > 1e-3:
        assert found != limit
        assert (found > limit) == (charge_a > limit_a)


@pytest.mark.parametrize("name", demo_sites())
def test_no_open_check_of_a_demo_finds_what_it_asks_for(name: str) -> None:
    for check in open_design(name).all_checks:
        found, limit = (re.fullmatch(r"(?:at (?:most|least) )?([\d.]+)", text)
                        for text in (check.found, check.limit))
        if check.outcome in ("failed", "review") and found and limit:
            assert float(found[1]) != float(limit[1]), check


@pytest.mark.parametrize("path", sorted(SITES.glob("*.toml")), ids=lambda path: path.stem)
def test_what_a_demo_site_accepts_is_open_in_it_and_of_its_values(path: Path) -> None:
    design = open_design(path)
    assert design.unmet == ()
    accepted = {check.key for check in design.all_checks if check.accepted}
    assert accepted == {one.check for one in design.site.status.accepted}


HOLDS = [key for key, one in signatures().items() if one.hold]
DAYS = some.dates(date(2026, 1, 1), date(2026, 12, 31)).map(str)


@settings(deadline=None)  # the first reads the demo sites
@given(signed=some.dictionaries(some.sampled_from(HOLDS), DAYS), approved=some.none() | DAYS)
def test_work_is_not_signed_before_somebody_approved_its_drawings(
    signed: dict[str, str], approved: str | None
) -> None:
    """For any site: H3 to H8 are of work by the drawings; permit and roof strength come before."""
    site = open_design("orchard-shop").site
    by = {} if approved is None else {"name": "a", "licence": "b", "date": approved,
                                      "fingerprint": "12345678"}  # fmt: skip
    rows = [Signed(what=key, name="x", date=day) for key, day in signed.items()]
    site = site.model_copy(update={
        "checked": Checked(**by), "status": site.status.model_copy(update={"signed": rows}),
    })  # fmt: skip
    early = {key for key, day in signed.items() if key not in ("H1", "H2")
             and (approved is None or day < approved)}  # fmt: skip
    assert set(held_early(site)) == early


@pytest.mark.parametrize("stem", ["orchard-shop", "plateau-school", "ridge-clinic"])
def test_work_that_was_signed_on_unapproved_drawings_is_said(stem: str) -> None:
    """The demo signs none such: here nobody has approved the drawings of school and clinic."""
    design = open_design(stem, {"checked": JOBS["NOBODY"]})
    early = held_early(design.site)
    assert bool(early) == (stem in ("plateau-school", "ridge-clinic"))
    said = [line for line in odd_days(design, date(2030, 1, 1)) if "nobody has approved" in line]
    steps = [step.what for step in progress_of(design).blocks]
    assert len(said) == bool(early)
    for key in early:  # the drawings bear their mark, and the page of the site says why
        assert key in said[0]
        assert any(key in what for what in steps if what.startswith("drawings not approved"))


@pytest.mark.parametrize("entered_ohm", [None, 49.5, 50.0, 50.9, 48.0, 55.0, 5.0])
def test_the_electrode_has_one_reading(entered_ohm):
    """Its sheet reads 50 ohm as E01: another value in the site file is for review, none is not."""
    design = open_design("ridge-clinic", {"earthing": {"measured_ohm": entered_ohm}})
    found = [one for one in design.all_checks if one.rule == "stages/electrode-twice"]
    unlike = entered_ohm is not None and abs(entered_ohm - 50.0) > 1.0
    assert [one.outcome for one in found] == ["review"] * unlike
    assert all("E01 of the test sheet 50 Ω" in one.found for one in found)
