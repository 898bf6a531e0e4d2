"""DS: one page to act on, what is unsafe first, every number of the design and no other."""

from __future__ import annotations

import re
import runpy
from pathlib import Path
from typing import Any, get_args

import pypdfium2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.check import Check
from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.quantity import in_unit, words_and_unit
from solarcalc.basis.text import brief
from solarcalc.design import Design, open_design
from solarcalc.documents import decision_sheet
from solarcalc.documents.charts import paired_bars
from solarcalc.documents.decision_sheet import MOST_FINDINGS, MOST_REVIEW, documents
from solarcalc.documents.facts import findings_of, to_review, trade_words
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import document_pdf
from solarcalc.documents.tree import texts_of
from solarcalc.report.findings import Letterhead
from solarcalc.sitefile.base import is_record
from solarcalc.sitefile.site import Site
from solarcalc.supply.energy import energy_kwh
from solarcalc.views.levers import MOST_LEVERS, levers_of

HERE = Path(__file__).parent
BROKEN = runpy.run_path(str(HERE / "test_no_answer.py"))["BROKEN"]
SITES = runpy.run_path(str(HERE / "site_files.py"))
FEW = settings(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck))
LONG = "Long name of a thing that somebody wrote out in full length without ever coming to an end, "
UNSAFE = {
    "generator": {"power_w": 2700.0}, "earthing": {"target_ohm": 1.0},
    "room": {"length_m": 2.4, "vent_low_cm2": 0.0, "fan_m3_per_h": 0.0},
    "site": {"name": LONG[:80].strip()}, "firm": {"name": LONG[:100], "contact": LONG[:110]},
}  # fmt: skip
"""The clinic with a generator that no switch keeps apart, and names as long as they come."""


def sheet(design: Design) -> Any:
    (document,) = documents(Making(design=design, firm=Letterhead(name="A firm", contact="1 23")))
    return document


def said(document: Any) -> str:
    return " ".join(texts_of(document.blocks))


def third_of(content: bytes) -> str:
    """Text of the upper third of page one."""
    pdf = pypdfium2.PdfDocument(content)
    try:
        page = pdf[0]
        wide, tall = page.get_size()
        text = page.get_textpage().get_text_bounded(0.0, tall * 2.0 / 3.0, wide, tall)
    finally:
        pdf.close()
    return re.sub(r"\s", "", text)


@pytest.fixture(scope="module", params=["coral-pharmacy", "cove-cannery", "orchard-shop",
                                        "plateau-school", "ridge-clinic"])
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.mark.slow
def test_one_page_with_all_that_a_lead_decides_by(document_cases: Any, name: str) -> None:
    (document,), design = document_cases.made(name, "DS"), document_cases.demo(name)
    html, _ = document_cases.hold_to_rules(document, pages=1)
    text, energy, site = said(document), design.year_energy, design.site
    assert len(document_pdf(document)) < 1_000_000
    assert len(html) < 1_000_000
    count = site.array.module_count
    assert f"Orientation, {count} modules" in text
    assert design.orientation.reason in text
    assert f"{count} modules fit" in design.orientation.reason
    for words in (
        f"{len(design.failed)} FAILED, {len(to_review(design.all_checks))} TO REVIEW,"
        f" {sum(one.outcome == 'not assessed' for one in design.all_checks)} NOT ASSESSED.",
        f"{count} modules of", energy.words, "Not covered:", "oof strength, wind and ballast",
        in_unit(float(round(design.offer.total))), "EXAMPLE PRICES", "go", "stop", "Date",
    ):  # fmt: skip
        assert words in text, words
    signed = [f"{one.name}, {one.date}" for one in site.status.signed if one.what == "H2"]
    covered = f"confirmed by {signed[0]}" if signed else "until a named qualified person"
    assert covered in text
    assert "EXAMPLE" in document.stamp
    assert "no source" not in text
    assert "from memory" not in text
    assert not re.search(r"\b[a-z]+_[a-z_]+\b|\b[a-z_]+\.[a-z]+_", text), "a site-file key"


def test_its_numbers_are_those_of_the_design(document_cases: Any, name: str) -> None:
    """Against the sums of the hours themselves, one by one."""
    design, text = document_cases.demo(name), said(document_cases.made(name, "DS")[0])
    for energy in ("supplied", "curtailed"):
        assert f"{in_unit(energy_kwh(design.supply, energy), 'kWh')} kWh" in text
    assert f"{int(design.supply.without_supply('essential').sum())} h" in text
    kwp = design.site.array.module_count * design.site.module.pmax_w / 1000.0
    assert f"{kwp:.2f} kWp" in text


def test_what_decides_is_what_the_changed_file_gives(document_cases: Any, name: str) -> None:
    design = document_cases.demo(name)
    own, *others = levers_of(design)
    assert 1 <= len(others) <= MOST_LEVERS
    assert own.total == design.offer.total
    for one in others:
        other = open_design(document_cases.SITES / f"{name}.toml", one.changes)
        dark_h = other.year_energy.essential_h
        assert (one.total, one.essential_without_supply_h) == (other.offer.total, dark_h)
        assert one.failed_safety + one.failed_other == len(other.failed)
        assert not one.failed_safety or "battery" in one.changes, "a source that cannot be built"


@pytest.mark.parametrize("units", [1, 2])
def test_no_lever_is_told_twice(units: int) -> None:
    """Beside the customer's own generator, which cannot be taken away: few can be built."""
    design = open_design("harmattan-clinic", {"battery": {
        "units_in_parallel": units, "unit_capacity_ah": 3000.0}})
    assert not design.year_energy.essential_h
    changes = [one.changes for one in levers_of(design)]
    assert all(one not in changes[:at] for at, one in enumerate(changes))


def test_unsafe_stands_in_the_first_third_and_all_on_one_page(document_cases: Any) -> None:
    design = open_design("ridge-clinic", UNSAFE)
    safety = [one for one in design.failed if one.kind == "safety"]
    assert len(safety) > 5
    document = sheet(design)
    _, pages = document_cases.hold_to_rules(document, pages=1)
    assert len(pages) == 1
    top = third_of(document_pdf(document))
    assert f"FAILED,SAFETY({len(safety)}):DESIGNSTOPPED" in top
    for one in findings_of(safety)[:5]:
        assert re.sub(r"\s", "", one.line(104 * 2 - 12)[0]) in top
    assert document.head.status == "draft"


@pytest.mark.slow
@FEW
@given(SITES["site_changes"](), some.integers(20, 118))
def test_any_site_fits_on_one_page_with_what_is_unsafe_first(
    document_cases: Any, changes: dict[str, dict[str, Any]], length: int
) -> None:
    named = {**changes, "site": {**changes["site"], "name": (LONG * 2)[:length].strip()}}
    try:
        design = open_design(SITES["_base"](), named)
        document = sheet(design)
    except InputError:
        return
    _, pages = document_cases.hold_to_rules(document, pages=1)
    assert len(pages) == 1
    top = third_of(document_pdf(document))
    safety = [one for one in design.failed if one.kind == "safety"]
    assert (f"FAILED,SAFETY({len(safety)})" in top) == bool(safety)
    assert ("DESIGNSTOPPED" in top) == (len(safety) > 5)
    assert design.year_energy.words in said(document)


@pytest.mark.slow
@pytest.mark.parametrize("broken", BROKEN)
def test_a_stage_without_an_answer_is_said_in_one_sentence(
    document_cases: Any, broken: str
) -> None:
    site, changes, _ = BROKEN[broken]
    _, pages = document_cases.hold_to_rules(sheet(open_design(site, changes)), pages=1)
    assert len(pages) == 1


CHECKS = some.builds(
    Check, item=some.text("abc ,:", min_size=1, max_size=300), found=some.just("1"),
    limit=some.just("2"), outcome=some.sampled_from(["failed", "review"]), clause=some.just("c"),
    remedy=some.text("abc ;,.", max_size=500), rule=some.sampled_from(["a/b", "a/c", "a/d"]),
    kind=some.just("safety"),
)  # fmt: skip


@given(some.lists(CHECKS, max_size=9), some.integers(60, 300))
def test_a_finding_keeps_every_check_and_its_length(checks: list[Check], most: int) -> None:
    found = findings_of(checks)
    assert sorted(map(id, checks)) == sorted(id(one) for each in found for one in each.checks)
    for one in found:
        assert len({check.rule for check in one.checks}) == 1
        assert sum(map(len, one.line(most))) <= most


@given(some.text(max_size=200), some.integers(0, 200))
def test_a_brief_text_is_the_text_or_says_that_it_was_cut(text: str, most: int) -> None:
    short = brief(text, most)
    assert short == text if len(text) <= most else len(short) <= max(most, 1)
    assert short == text or short.endswith("…")


def test_keys_become_words() -> None:
    assert trade_words("write controller.battery_terminal_mm2, or raise battery.room_c in [runs]"
                       ) == "write battery terminal [mm²], or raise room [°C] in runs"
    assert trade_words("IEC 60364-5-53 cl. 534.4.8, 0.5 m, e.g. no key") == (
        "IEC 60364-5-53 cl. 534.4.8, 0.5 m, e.g. no key")


_UNIT_LEFT = re.compile(r"\b(w|m|m2|m3|wh|kwh|ug|l|s)\b|\bper$")


def _keys_of(record: Any, seen: set[Any]) -> set[str]:
    """Last parts of all keys of a record and of those in it, lists of tables too."""
    if not is_record(record):
        return set().union(*(_keys_of(one, seen) for one in get_args(record)))
    if record in seen:
        return set()
    seen.add(record)
    fields = record.model_fields
    return set(fields).union(*(_keys_of(one.annotation, seen) for one in fields.values()))


def test_no_unit_of_a_key_is_left_among_its_words() -> None:
    """A paper said "give wind speed m [s]" and "efficiency 200 w m2"."""
    keys = {key for key in _keys_of(Site, set()) if not key.startswith("per_")}  # costs of one
    assert {"wind_speed_m_s", "efficiency_200_w_m2_frac", "pm10_ug_m3"} <= keys
    left = {key: words_and_unit(key) for key in keys
            if _UNIT_LEFT.search(words_and_unit(key)[0])}  # fmt: skip
    assert not left
    assert words_and_unit("wind_speed_m_s") == ("wind speed", "m/s")


def test_bars_are_as_tall_as_their_values() -> None:
    """By hand: 138 less 14 and 24 leaves 100 for a scale to 100."""
    svg = paired_bars([("J", 50.0, 100.0), ("F", 0.0, 25.0)], "bars", high=138.0, wide=300)
    heights = [float(one) for one in re.findall(r'height="([\d.]+)" fill="#[f2]', svg)]
    assert heights == [50.0, 100.0, 0.0, 25.0]
    assert all(float(one) <= 300.0 for one in re.findall(r'x2="([\d.]+)"', svg))
    assert MOST_FINDINGS > MOST_REVIEW


@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_a_review_is_told_on_the_sheet_or_counted_among_the_others(
    document_cases: Any, name: str
) -> None:
    design = document_cases.demo(name)
    found = to_review(design.all_checks)
    texts = list(texts_of(sheet(design).blocks))
    title = next((one for one in texts if one.startswith("To review or accept")), "")
    if not found:
        assert title == ""
        return
    lines = decision_sheet._shown(design)[2]
    told = sum(len(one.checks) for one in lines)
    left = len(found) - told
    count = f"{told} of {len(found)}" if left else f"{told}"
    alike = ", like ones together" if told > len(lines) else ""
    assert f"first ({count}{alike})" in title
    rest = f"Of the other {left}, " if left > 1 else "The other one is "
    assert any(one.startswith(rest) for one in texts) == bool(left)


@pytest.mark.parametrize("stem", demo_sites())
@pytest.mark.parametrize("most", [196, 300, 404])
def test_a_finding_keeps_its_requirement_however_short_its_line(stem: str, most: int) -> None:
    for one in findings_of(open_design(stem).all_checks):
        item, words, _ = one.line(most)
        assert len(item) + len(words) <= 7 * most // 10 + 4
        assert re.search(r"\(required: [^ …]", words), words


@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_months_with_energy_enough_do_not_hide_what_is_not_supplied(
    name: str, document_cases: Any
) -> None:
    (document,) = document_cases.made(name, "DS")
    found = document_cases.demo(name).year_energy
    text = " ".join(texts_of(document.blocks))
    if "exceeds demand in each month" in text:
        said = text.partition("exceeds demand in each month")[2].partition(".")[0]
        assert (f"{found.essential_h} h a year without supply" in said) == (found.essential_h > 0)
        assert ("still" in said) == (
            found.essential_h > 0 or round(found.demand_kwh - found.supplied_kwh) > 0)
    else:
        assert "Demand exceeds available PV energy in" in text
