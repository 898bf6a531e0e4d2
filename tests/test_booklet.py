"""The booklet of whole sites: four pages, doors by their labels, only what customers need."""

from __future__ import annotations

import re
import runpy
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any, Literal

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.messages import languages, messages
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.basis.phrases import plain, untranslated
from solarcalc.design import Design, open_design
from solarcalc.documents.booklet import (
    MOST_NAMED,
    board_power_words,
    board_row,
    booklet_of,
    documents,
    kw_words,
)
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import LETTERS_PT
from solarcalc.documents.tree import texts_of
from solarcalc.report.handover_facts import ApplianceFacts, SwitchFacts, WarrantyRow
from solarcalc.sitefile.chemistry import chemistries
from solarcalc.sitefile.survey_lines import load_tables
from solarcalc.views.handover import booklet_facts, customer_facts

FOLDER = Path(__file__).parent
JOBS = runpy.run_path(str(Path(__file__).with_name("job_cases.py")))
SITE_FILES = runpy.run_path(str(FOLDER / "site_files.py"))
CASES = runpy.run_path(str(FOLDER / "test_handover.py"))
SITES = ("coral-pharmacy", "cove-cannery", "orchard-shop", "plateau-school", "ridge-clinic")
NEVER = re.compile(
    r"common practice|no source|from memory|usage courant|assum|suppos|\bprice\b(?! are)|British"
    r"|britannique|\b(?:IEC|EN|BS|NF|ISO) ?\d|\b(?:a|the|of|design) checks?\b|[a-z]+_[a-z]+_[a-z]+")
"""Section 6 of the list of documents: no check, source, assumption, price or standard number."""


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", SITES)
def test_four_pages_for_customers(document_cases: Any, name: str, language: str) -> None:
    design = document_cases.demo(name).changed({"firm": {"language": language}})
    (document,) = documents(Making(design=design))
    html, pages = document_cases.hold_to_rules(document, pages=4)
    assert len(pages) == 4
    assert html.count('<html lang="' + language + '"') == 1
    text = "\n".join(texts_of(document.blocks))
    assert not NEVER.search(text), NEVER.search(text)
    assert LETTERS_PT[document.look] >= 11.0


@given(lines=some.lists(some.tuples(some.sampled_from(["lamp-led", "fridge", "Porch lamp 9 W"]),
                                    some.integers(1, 20)), min_size=1, max_size=MOST_NAMED),
       language=some.sampled_from(languages()))
def test_lines_of_one_appliance_are_told_once_with_all_of_them(
    lines: list[tuple[str, int]], language: str
) -> None:
    """Two lines of lamps read "LED lamp (14), LED lamp (2) (2)"."""
    rows = load_tables([f"{word}, {count}, 8-20, essential" for word, count in lines])["essential"]
    facts = tuple(ApplianceFacts(name=row["name"], count=row["count"], runs_h=1.0) for row in rows)
    board = replace(CASES["facts"]().boards[0], appliances=facts)
    _, said, _ = board_row(board, messages(language))
    told = [re.fullmatch(r"([^(]*[^ (])(?: \((\d+)\))?", one) for one in str(said).split(", ")]
    names = [one[1] for one in told if one]
    assert len(names) == len(told) == len(set(names))
    catalogue = [(word, count) for word, count in lines if "W" not in word]
    kept = sum(int(one[2] or 1) for one in told if one and not one[1].startswith("Porch"))
    assert kept == sum(count for _, count in catalogue)


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("own", ["", "some", "all"])
@pytest.mark.parametrize("battery", ["flooded", "agm", "lifepo4"])
def test_four_pages_also_with_all_that_can_be_said(
    document_cases: Any, language: str, battery: str, own: Literal["", "some", "all"]
) -> None:
    """Grid and generator by hand, every danger and care of a place, 25 appliances a board."""
    made = CASES["facts"]()
    switches = (SwitchFacts(tag="Q4", place="outside the room"),
                SwitchFacts(tag="Q12", place="outside the room"))
    labels = ("part_panels", "part_battery", "part_inverter_essential",
              "part_inverter_nonessential", "part_controller", "part_generator")
    made = replace(
        made, battery=chemistries()[battery], generator_w=4000.0, grid=True, supplied_kwh=1.0,
        boards=tuple(replace(one, appliances=tuple(
            replace(one.appliances[0], name=f"{one.appliances[0].name[:-2]}{number}")
            for number in range(10, 35))) for one in made.boards),
        unsupplied_h=(50.0,) * 12, cleaning_months=(1, 4, 5, 9), changeover="manual",
        switching_off=tuple((step, switches) for step in (
            "loads", "generator", "grid", "inverters", "array", "controllers", "battery")),
        dangers=("danger_generator", "danger_fuel"), stamps=("stamp_example", "stamp_draft"),
        care=("care_salt", "care_hail", "care_theft", "care_animals", "care_filters"),
        warranty=(*(WarrantyRow(part=part, label="Invented module, 72 full cells, 352 W", count=24,
                                serials=("a",) * 23, own=own if number % 2 else "some")
                    for number, part in enumerate(labels)),
                  WarrantyRow(part="part_mounting"), WarrantyRow(part="part_work")),
    )  # fmt: skip
    document = CASES["customer_document"](made, CASES["FIRM"], language)
    _, pages = document_cases.hold_to_rules(document, pages=4)
    assert len(pages) == 4


def hold_doors(design: Design) -> None:
    """Each board goes by the tag and the very words of the label on its door."""
    labels = {one.label: one.words for one in design.installation.labels
              if one.where == "inside its door"}
    text = "\n".join(texts_of(documents(Making(design=design.changed(
        {"firm": {"language": "en"}})))[0].blocks))
    tags = {one.board: one.tag for one in booklet_facts(design).boards}
    for part in design.installation.of_kind("board"):
        if part.key.startswith("inverter-output"):
            continue  # the installer's: no circuit of the house leaves it
        door = labels[part.tag].partition(":")[0].replace("onessential", "on-essential")
        assert tags[part.board] == part.tag
        assert f"{part.tag} {door}" in text


@pytest.mark.parametrize("name", SITES)
def test_boards_go_by_the_words_on_their_doors(document_cases: Any, name: str) -> None:
    hold_doors(document_cases.demo(name))


def test_french_doors_say_what_french_trade_says() -> None:
    words = messages("fr")
    assert words.text("essential") == "Tableau prioritaire"
    assert words.text("nonessential") == "Tableau non prioritaire"


def test_warranties_are_those_of_the_list_of_serial_numbers(document_cases: Any) -> None:
    """By hand from the list with gaps: G2.17 has no number, T3 no last day."""
    design = JOBS["school_at_handover"]()
    rows = {row.part: row for row in booklet_facts(design).warranty}
    assert (rows["part_battery"].count, len(rows["part_battery"].serials)) == (24, 23)
    assert rows["part_battery"].until == date(2030, 10, 24)
    assert rows["part_panels"].until == date(2037, 10, 24)
    assert rows["part_inverter_nonessential"].serials == ("INVI4352",)
    assert rows["part_inverter_nonessential"].until is None
    (document,) = documents(Making(design=design))
    text = " ".join(texts_of(document.blocks))
    assert "23 sur 24" in text
    assert "INVC4338" in text


def test_every_model_that_was_fitted_is_in_the_booklet(tmp_path: Path) -> None:
    """One module of another model, fitted in place of a broken one, is no module of the first."""
    rows = [f"S1/{number},{model},N{number},2036-03-01"
            for number, model in ((1, "Model A"), (2, "Model B"), (3, "Model A"))]
    (tmp_path / "list.csv").write_text(
        "\n".join(["position,model,serial,warranty_until", *rows]) + "\n", encoding="utf-8")
    design = open_design("ridge-clinic", {"handover": {"serials": str(tmp_path / "list.csv")}})
    row = {row.part: row for row in booklet_facts(design).warranty}["part_panels"]
    assert (row.label, row.serials, row.until) == ("Model A, Model B", ("N1", "N2", "N3"), None)


@pytest.mark.parametrize(("name", "part"), [
    ("lagoon-house", "part_inverter_essential"), ("harmattan-clinic", "part_generator"),
    ("ridge-clinic", None)])  # fmt: skip
def test_what_the_customer_had_before_has_no_warranty_of_ours(
    document_cases: Any, name: str, part: str | None
) -> None:
    design = document_cases.demo(name).changed({"firm": {"language": "en"}})
    rows = {row.part: row.own for row in booklet_facts(design).warranty}
    assert {key: own for key, own in rows.items() if own} == ({part: "all"} if part else {})
    text = " ".join(texts_of(documents(Making(design=design))[0].blocks))
    words = messages("en")
    begins = words.text("warranty_own_all", parts="@").partition("@")[0]
    assert text.count(begins) == bool(part)
    assert not part or words.text("warranty_own_all", parts=words.text(part)) in text


@pytest.mark.parametrize("name", SITES)
def test_makes_under_warranty_are_told_in_the_language_of_the_booklet(
    document_cases: Any, name: str
) -> None:
    """What is of the bundled lists had its English label in a French booklet."""
    design = document_cases.demo(name).changed({"firm": {"language": "fr"}})
    text = " ".join(texts_of(documents(Making(design=design))[0].blocks))
    for row in booklet_facts(design).warranty:
        if row.label.startswith("Invented ") and row.own != "all":
            assert row.label not in text
            assert untranslated(plain(row.label), "fr") == ()


@given(changes=SITE_FILES["site_changes"]())
@settings(max_examples=4, deadline=None, suppress_health_check=list(HealthCheck))
def test_a_booklet_of_random_sites_has_its_four_pages(
    document_cases: Any, changes: dict[str, dict[str, Any]]
) -> None:
    base = document_cases.demo("ridge-clinic")
    try:
        design = base.changed({**changes, "firm": {"language": "fr"}})
        (document,) = documents(Making(design=design))
    except (InputError, NoAnswer):
        assume(False)
    _, pages = document_cases.hold_to_rules(document, pages=4)
    assert len(pages) == 4
    hold_doors(design)


def test_what_falls_short_is_never_all_of_it() -> None:
    """By hand: 2999 of 3000 kWh is 99.97 %, 2996 is 99.87 %; 2999.8 is printed as all of it."""
    words = messages("en")
    assert words.share(2999.8, 3000.0) == words.percent(1.0)
    assert words.share(2999.0, 3000.0) == words.text("percent", number="99.9")
    assert words.share(2996.0, 3000.0) == words.text("percent", number="99.9")
    assert words.share(2997.9, 3000.0) == words.text("percent", number="99.9")


@given(grid=some.booleans(), generator_w=some.sampled_from([0.0, 4000.0]),
       short=some.integers(0, 12), language=some.sampled_from(languages()))
def test_a_month_of_less_sun_asks_for_another_source_only_where_there_is_none(
    grid: bool, generator_w: float, short: int, language: str
) -> None:
    """A house with a grid and a generator was told to find another source for six months."""
    words, made = messages(language), CASES["facts"]()
    given_kwh = tuple(50.0 if month < short else 500.0 for month in range(12))
    facts = replace(made, grid=grid, generator_w=generator_w, given_kwh=given_kwh,
                    needed_kwh=(100.0,) * 12)  # fmt: skip
    text = " ".join(texts_of(CASES["customer_document"](facts, CASES["FIRM"], language).blocks))
    ask = words.counted("months_short_of", max(short, 1), months="@").partition("@")[2]
    assert (ask in text) == (short > 0 and not grid and generator_w == 0.0)
    for key, there in (("rest_grid", grid), ("rest_generator", generator_w > 0.0)):
        rest = words.counted("months_rest", max(short, 1), months="@", sources="@")
        begins = rest.split("@")[1]
        told = text.partition(begins)[2].partition(rest.split("@")[2])[0]
        assert (words.text(key) in told) == (there and short > 0)


@pytest.mark.parametrize("language", languages())
def test_a_customer_reads_what_to_do_without_power_and_how_long_batteries_last(
    document_cases: Any, language: str
) -> None:
    """Whole years of the bank that lasts shortest; nothing of it where none can be told."""
    words = messages(language)
    design = document_cases.demo("plateau-school").changed({"firm": {"language": language}})
    facts = booklet_facts(design)
    assert facts.battery_years == min(one.life.years for one in design.life.values())
    head = documents(Making(design=design))[0].head
    said = " ".join(texts_of(booklet_of(facts, CASES["FIRM"], head).blocks))
    for key in ("emergency_dark", "over_power"):
        assert words.text(key) in said
    lasting = words.text("battery_years", years=words.number(int(facts.battery_years)))
    assert lasting in said
    untold = booklet_of(replace(facts, battery_years=None), CASES["FIRM"], head)
    assert lasting not in " ".join(texts_of(untold.blocks))


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize("count", [3, 6])
def test_a_board_of_an_inverter_a_phase_says_what_one_phase_carries(
    document_cases: Any, language: str, count: int
) -> None:
    """A machine on one phase has one phase's inverters, not all of the board's."""
    design = document_cases.demo("valley-workshop").changed(
        {"firm": {"language": language}, "inverter": {"nonessential": {"count": count}}})
    essential, nonessential = customer_facts(design).boards
    one = design.site.inverter_of("nonessential")
    assert essential.phase_w == 0.0
    assert nonessential.inverter_w == pytest.approx(count * one.continuous_power_w)
    assert nonessential.phase_w == pytest.approx(count // 3 * one.continuous_power_w)
    words = messages(language)
    power = board_power_words(nonessential, words)
    assert kw_words(nonessential.phase_w, words) in power
    (document,) = documents(Making(design=design))
    assert "\n".join(texts_of(document.blocks)).count(power) == 2
    assert board_power_words(essential, words) == kw_words(essential.inverter_w, words)
