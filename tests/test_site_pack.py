"""The site pack: its sheets, what they count, what they never say, and the crew's language.

Over the demo sites, and lists over random valid site files. Sites are invented.
"""

from __future__ import annotations

import csv
import io
import re
import runpy
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.messages import languages
from solarcalc.basis.phrases import listed, phrase, phrases, plain, untranslated
from solarcalc.basis.text import capital
from solarcalc.commissioning.facts import facts_of
from solarcalc.commissioning.sheet import sheet_of
from solarcalc.design import Design
from solarcalc.diagrams.sheet import BLANK
from solarcalc.documents import crew as crew_module
from solarcalc.documents import site_lists, site_pack
from solarcalc.documents.crew import Crew
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import page_count
from solarcalc.documents.test_sheet import blank_blocks, safety_blocks
from solarcalc.documents.tree import (
    Document,
    Head,
    closer,
    columns,
    heading,
    landscape,
    table,
    text_of,
    texts_of,
)
from solarcalc.installation import schedules
from solarcalc.programme.days import day_words
from solarcalc.report.letterhead import letterhead_of
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.status import signatures
from solarcalc.sitefile.task_list import task_list
from solarcalc.stages.serials import positions_of
from solarcalc.views import drawings
from solarcalc.views import sitepack as lists
from solarcalc.views.commissioning import sheet_of_site

HERE = Path(__file__).parent
SITES = runpy.run_path(str(HERE / "site_files.py"))
NAMES = tuple(sorted(demo_sites()))
SHEETS, TESTS, TESTS_A_SHEET = 16, 96, 32
A_PLANE = 3
"""Sheets more for each further roof plane: its modules, what holds them, its strings."""
FORBIDDEN = re.compile(
    r"\bUSD\b|\bEUR\b|\bprice|\bprix\b|kWh/year|payback|curtail|common practice|from memory"
    r"|\bclause\b|\bcl\. \d|\bassum|\bmodelled|uncertaint|\d+ Nm"
    r"|Invented (?:module|inverter|tracker|lithium|mppt|flooded|sealed|generator)",
    re.IGNORECASE,
)
"""Money, yields, sources, models, item names marked as invented, and anything like a torque."""


def tables(blocks: Any) -> list[Any]:
    found = []
    for block in blocks:
        if block["kind"] == "table":
            found.append(block)
        for inner in (block.get("blocks", []), *block.get("columns", [])):
            found += tables(inner)
    return found


def cells_of(table: Any) -> list[list[str]]:
    return [[text_of(one["words"]) for one in row] for row in table["rows"]]


@pytest.mark.parametrize("name", NAMES)
def test_sixteen_sheets_each_with_its_title(document_cases: Any, name: str) -> None:
    (document,) = document_cases.made(name, "SP")
    planes = len(document_cases.demo(name).site.sites)
    html, pages = document_cases.hold_to_rules(document, pages=SHEETS + A_PLANE * (planes - 1))
    assert len(html.encode()) < 3e6
    crew = Crew(design=document_cases.demo(name))
    heads = {block["title"] for block in document.blocks if block.get("title")}
    said = "\n".join(texts_of(document.blocks))
    for key in site_pack.TITLES:
        title = crew.t(f"sp_{key}")
        assert title in said, "on the list of the job card"
    for key in ("roof", "fixing", "strings", "single_line", "room", "terminals", "earthing"):
        assert any(crew.t(f"sp_{key}") in head for head in heads)
    for key in ("schedule", "pick", "tools", "torques", "days", "switching", "tests"):
        assert any(crew.t(f"sp_{key}") in page for page in pages)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_that_a_crew_has_no_use_for(document_cases: Any, name: str) -> None:
    (document,) = document_cases.made(name, "SP")
    for text in texts_of(document.blocks):
        assert not FORBIDDEN.search(text), text


@pytest.mark.parametrize("name", NAMES)
def test_every_test_of_the_sheet_is_in_the_table_beside_it(document_cases: Any, name: str) -> None:
    (document,) = document_cases.made(name, "SP")
    _, lines = sheet_of_site(document_cases.demo(name))
    sheets = document.blocks[-1]["blocks"]
    on_paper = [row[0] for table in tables(sheets) for row in cells_of(table) if len(row) > 1]
    text = document.files["tests-to-fill-in.csv"].decode("utf-8-sig")
    rows = csv.reader(io.StringIO(text))
    in_file = [row[0] for row in rows if row and re.fullmatch(r"[A-Z]\d\d", row[0])]
    assert on_paper == [line.id for line in lines] == in_file
    positions = positions_of(document_cases.demo(name).installation)
    assert len(document.files["serial-numbers.csv"].splitlines()) > len(positions)


@pytest.mark.parametrize("name", NAMES)
def test_method_and_danger_stand_once_a_group(document_cases: Any, name: str) -> None:
    design = document_cases.demo(name)
    crew = Crew(design=design, language="en")
    _, lines = sheet_of_site(design)
    groups = [row[0] for table in tables(blank_blocks(lines, crew)) for row in cells_of(table)
              if len(row) == 1]  # fmt: skip
    for line in lines:
        assert any(line.how in group for group in groups)
        assert not line.caution or any(
            f"{line.signal.upper()} {line.caution}" in group for group in groups)
    assert len(groups) <= len(lines)


@pytest.mark.parametrize("name", NAMES)
def test_what_is_scheduled_is_what_is_built(document_cases: Any, name: str) -> None:
    design = document_cases.demo(name)
    crew = Crew(design=design, language="en")
    built = design.installation
    cables, devices, earths, *open_ = tables(site_lists.schedule(crew))
    what_is_open_is_said(design, open_)
    tags = {row[0].split(" × ")[0] for row in cells_of(cables)}
    assert tags == {one.tag for one in (*built.cables, *built.leads)}
    lengths = {row[0]: row[3] for row in cells_of(earths)}
    assert lengths == {schedules.counted_tag(one): f"{one.length_m:g}" + " *" * (
        not one.length_given) for one in built.earths}  # fmt: skip
    named = {row[8].split(" × ")[0] for row in cells_of(cables)} | {
        row[0].split(" × ")[0] for row in cells_of(devices)}  # fmt: skip
    assert {part.tag for part in built.devices} <= named
    (picked,) = tables(site_lists.pick_list(crew))
    ticked = [row for row in cells_of(picked) if row[0] == "☐"]
    loaded = [one for one in lists.picks(design) if not one.note.startswith("work")]
    assert len(ticked) == len(loaded) + site_lists.tilted(crew)  # frames by the maker's design
    frames_come_with_what_they_are_fixed_on(design, picked)
    devices_are_loaded_as_they_are_scheduled(design, picked)
    modules = [one.quantity for one in loaded if one.key.startswith("module")]
    assert sum(modules) == design.site.module_count
    plan = lists.module_plan(design)
    assert plan is not None
    assert len(plan.spots) == design.site.array.module_count


def what_is_open_is_said(design: Any, open_: Any) -> None:
    """Each review of safety that nobody accepted stands on the sheet with what to do about it."""
    rows = [row for table in open_ for row in cells_of(table)]
    for check in design.all_checks:
        waits = check.kind == "safety" and check.outcome in ("review", "failed")
        if not waits or check.accepted or check.rule == site_lists.LAID_ANYWAY:
            continue
        item = plain(check.item)
        (row,) = [row for row in rows if item == row[0] or item in in_full(row[0].split("; "))]
        assert check.found in row[1].partition(" (required: ")[0] or "; " in row[0]
        assert f" (required: {plain(check.limit_words)})" in row[1]
        assert row[2]


def in_full(items: list[str]) -> set[str]:
    """Items of which only the first says what all share: up to one of its commas or colons."""
    first, *others = items
    ends = [found.end() for found in re.finditer("[,:] ", first)]
    return {first, *(first[:end] + one for one in others for end in (0, *ends))}


def frames_come_with_what_they_are_fixed_on(design: Any, picked: Any) -> None:
    """Tilt frames stand under the first day of the roof fixings."""
    day, found = "", {}
    for row in cells_of(picked):
        day = row[0] if row[0] != "☐" else day
        found[row[1] if len(row) > 1 else ""] = day
    rails = design.programme.at("rails")
    frames = [day for item, day in found.items() if item.startswith("Tilt frames")]
    assert all(day_words(rails.start.date()) in day for day in frames)


def devices_are_loaded_as_they_are_scheduled(design: Any, picked: Any) -> None:
    """No two lines of devices read alike; each says what the protection plan asks of it."""
    lines = [row[1] for row in cells_of(picked) if row[0] == "☐"]
    for part in design.installation.devices:
        if part.bought is None:
            continue
        device = part.device
        same = [other.tag for other in design.installation.devices
                if other.bought and lists.bought_key(other.bought)
                == lists.bought_key(part.bought)]  # fmt: skip
        (line,) = [one for one in lines if one.startswith(f"{site_lists.joined_tags(same)} ")]
        assert ("Fuse-switch-disconnector" in line) == device.in_switch, line
        assert ("in a switch that isolates it" in device.extra) == device.in_switch
        for words in device.asked:
            assert words in line
            assert words in schedules.device_type(part)
        if device.kind == "surge":
            kind = "1+2" if "type 1 and 2" in device.extra else "2"
            (most,) = re.findall(r"U_p at most ([\d.]+) kV", device.extra)
            for said in (f"type {kind}", f"U_c {device.rated_v:g} V", f"U_p ≤ {most} kV"):
                assert said in line


@pytest.mark.parametrize("name", NAMES)
def test_what_is_dug_and_laid_is_loaded(document_cases: Any, name: str) -> None:
    """Sand as the trench plan fills with it, none for the electrode; ducts and conduits by kind."""
    design = document_cases.demo(name)
    built, picks = design.installation, lists.picks(design)
    loaded: dict[str, float] = {}
    for one in picks:
        loaded[one.name] = loaded.get(one.name, 0.0) + one.quantity
    rows = lists.trench_rows(design)
    sanded = [row for row in rows if row["dug as"] == "trench"]
    assert all("no sand" in str(row["backfill"]) for row in rows if row not in sanded)
    over_m3 = sum(
        float(str(row["length [m]"])) * float(str(row["wide [m]"]))
        * (float(str(row["dig [m]"])) - float(str(row["cover [m]"]))
           + float(str(row["sand over it [m]"]))) for row in sanded)  # fmt: skip
    assert 0.8 * over_m3 <= loaded.get("Sand", 0.0) <= 1.15 * over_m3 + 0.1
    metres: dict[str, float] = {}
    for route in built.routes:
        if route.duct is not None:
            words = capital(route.duct.words)
            metres[words] = metres.get(words, 0.0) + route.duct_m
    for words, duct_m in metres.items():
        assert duct_m <= loaded[words] <= 1.2 * duct_m + 1.0, words


@pytest.mark.parametrize("name", NAMES)
def test_drawings_have_the_day_of_the_pack_and_their_tables_are_beside_it(
    document_cases: Any, name: str
) -> None:
    design = document_cases.demo(name)
    (document,) = document_cases.made(name, "SP")
    pictures = [one["content"].decode() for block in document.blocks
                if block.get("look") == "drawing" for one in block["blocks"]]  # fmt: skip
    issued = Crew(design=design).p("Issued")
    for svg in pictures:
        assert f"{issued} {document.head.issued or BLANK}" in svg
        for file in re.findall(r"(?:module|rail)-plan", svg):
            assert f"{file}.csv" in document.files
    rows = document.files["module-plan.csv"].decode("utf-8-sig").splitlines()
    assert len(rows) == 1 + sum(len(plan.spots) for plan in lists.module_plans(design))


@pytest.mark.parametrize("name", NAMES)
def test_a_room_that_is_built_has_its_thicknesses_on_its_sheet(
    document_cases: Any, name: str
) -> None:
    design = document_cases.demo(name)
    drawn, _ = drawings.room_sheet(design)
    assert ("floor slab 0.10" in drawn) == (design.site.programme.power_room == "new")


@pytest.mark.parametrize("name", NAMES)
def test_only_the_inverter_of_the_board_that_is_shed_is_set_to_shed_it(
    document_cases: Any, name: str
) -> None:
    design = document_cases.demo(name)
    shed = design.installation.by_key.get("inverter-nonessential")
    for row in lists.torque_rows(design):
        if "nonessential board is" in str(row["what"]) and shed:
            assert row["tags"] == shed.tag


@pytest.mark.parametrize("name", NAMES)
def test_labels_by_kind_add_up(document_cases: Any, name: str) -> None:
    crew = Crew(design=document_cases.demo(name), language="en")
    signs, tags = tables(site_lists._labels(crew))
    counted = sum(int(row[3]) for row in (*cells_of(signs), *cells_of(tags)))
    assert counted == schedules.label_count(crew.design.installation)
    assert len(tags["rows"]) <= len(site_lists.GROUPS)


@pytest.mark.parametrize("name", NAMES)
def test_no_torque_is_given_and_settings_say_what_the_design_asks(
    document_cases: Any, name: str
) -> None:
    joints, settings_ = tables(
        site_lists.torques(Crew(design=document_cases.demo(name), language="en")))
    assert all(row[4:] == ["", "", "", ""] for row in cells_of(joints))
    assert all(row[2] and row[3:] == ["", "", "", ""] for row in cells_of(settings_))


def test_tasks_name_sheets_and_hold_points_that_are_there() -> None:
    rows = site_pack.task_sheets()
    assert set(rows) == {task.key for task in task_list()}
    holds = {key for key, one in signatures().items() if one.hold}
    assert {hold for _, named in rows.values() for hold in named} == holds
    assert all(1 <= sheet <= len(site_pack.TITLES) for sheets, _ in rows.values()
               for sheet in sheets)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_the_day_list_has_every_task_and_its_danger(document_cases: Any, name: str) -> None:
    design = document_cases.demo(name)
    (table,) = tables(site_lists.days(Crew(design=design, language="en")))
    rows = cells_of(table)
    on_card = {row[0] for row in site_pack.hold_points(Crew(design=design, language="en"))}
    for planned in design.programme.planned:
        own = [row for row in rows if row[1] == planned.task.name]
        assert own
        for part in filter(None, planned.task.caution.split("; ")[:-1]):
            assert all(part in row[7] for row in own), f"{part}: on each day of a task"
        assert {hold for row in own for hold in row[5].split(", ") if hold} <= on_card


def test_an_accepted_item_of_safety_is_a_hold_point(document_cases: Any) -> None:
    design = document_cases.demo("ridge-clinic")
    open_ = [one for one in design.all_checks if one.kind == "safety" and one.outcome == "review"]
    one = open_[0]
    changed = design.changed({"status": {"accepted": [{
        "check": one.key, "fingerprint": one.fingerprint, "name": "A. Person",
        "reason": "seen", "date": "2026-11-02"}]}})  # fmt: skip
    rows = site_pack.hold_points(Crew(design=changed, language="en"))
    assert [row[0] for row in rows][:10] == [*(f"H{n}" for n in range(1, 3)), "H2a",
                                             *(f"H{n}" for n in range(3, 9)), "A1"]
    assert one.item in str(rows[9][1])
    (table,) = tables(site_lists.days(Crew(design=changed, language="en")))
    assert any("A1" in row[5].split(", ") for row in cells_of(table))
    assert len(site_pack.hold_points(Crew(design=design, language="en"))) < len(rows) or any(
        check.accepted for check in open_)


@pytest.mark.parametrize("name", ["cove-cannery", "plateau-school", "ridge-clinic"])
def test_a_crew_that_reads_french(document_cases: Any, name: str) -> None:
    design = document_cases.demo(name).changed({"firm": {"crew_language": "fr"}})
    (document,) = site_pack.documents(Making(design=design, firm=letterhead_of(design.sitefile)))
    assert document.head.language == "fr"
    _, pages = document_cases.hold_to_rules(document, pages=SHEETS + 1)
    assert "Fiche de chantier" in pages[0]
    said = " ".join(texts_of(document.blocks))
    assert "aucun interrupteur ne met une chaîne hors tension" in said
    for english in ("DANGER A battery", "DANGER Live", "Then prove", "lock and tag", "Torque ["):
        assert english not in said


@pytest.mark.parametrize("name", NAMES)
def test_nothing_of_the_tables_stays_english(
    document_cases: Any, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    left: set[str] = set()

    def heard(text: str, language: str) -> str:
        left.update(untranslated(text, language))
        return phrase(text, language)

    monkeypatch.setattr(crew_module, "phrase", heard)
    design = document_cases.demo(name).changed({"firm": {"crew_language": "fr"}})
    site_pack.documents(Making(design=design, firm=letterhead_of(design.sitefile)))
    site = design.site
    written = [*(one.roof.name for one in site.sites), site.battery.label,
               *(one.label for one in site.existing)]  # fmt: skip
    own = {part for label in written
           for said in (label, label.partition(",")[0], label.removeprefix("Invented "))
           for part in (said, *untranslated(said, "fr"))}  # fmt: skip
    print(f"{name}: {sorted(left - own)}")
    assert left - own == set()


@pytest.mark.parametrize("name", NAMES)
def test_lists_beside_a_french_pack_are_french(document_cases: Any, name: str) -> None:
    """As many columns and rows as in English, numbers as a spreadsheet reads them."""
    design = document_cases.demo(name)
    planes = {one.site.roof.name for one in design.planes}
    both = [{file: list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"))))
             for file, content in site_pack._schedules(Crew(design=design, language=one)).items()}
            for one in ("en", "fr")]
    assert both[0].keys() == both[1].keys() != set()
    for english, french in zip(both[0].values(), both[1].values(), strict=True):
        assert [len(row) for row in english] == [len(row) for row in french]
        for row, said in zip(english, french, strict=True):
            for (head, one), (own, other) in zip(row.items(), said.items(), strict=True):
                assert {left for text in (head, one) for left in untranslated(text, "fr")
                        if re.search("[A-Za-z]{2}", left)} <= planes
                assert own == listed(head, "fr")
                assert (one == other) or re.search("[A-Za-z]{2}", one)


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", NAMES)
def test_tools_and_labels_are_one_sheet_in_each_language(
    document_cases: Any, name: str, language: str
) -> None:
    """In French the cannery, with liquid acid, has more to wear and to warn of than most."""
    crew = Crew(design=document_cases.demo(name), language=language)
    blocks = [heading(crew.t("sp_tools")), *site_lists.tools_and_labels(crew)]
    assert pages_of(site_pack.snug(blocks), language) == 1


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", NAMES)
def test_torques_and_settings_are_one_sheet_in_each_language(
    document_cases: Any, name: str, language: str
) -> None:
    crew = Crew(design=document_cases.demo(name), language=language)
    blocks = [heading(crew.t("sp_torques")), *site_lists.torques(crew)]
    assert pages_of(site_pack.snug(blocks), language) == 1


def pages_of(blocks: Any, language: str = "en") -> int:
    head = Head(site="S", number="S-SP-10", title="Tools", language=language)
    return page_count(Document(
        code="SP", head=head, look="sheet", headed=False, blocks=tuple(blocks)))


@settings(max_examples=12, deadline=None)
@given(rows=st.integers(20, 110), across=st.booleans())
def test_a_few_lines_get_no_page_of_their_own(rows: int, across: bool) -> None:
    """Lower lines only where they save a page, none lower than needed, and never another word."""
    lines = [table(["What", "Set to"], [[f"line {number}", None] for number in range(rows)],
                   look="tests", tall_mm=site_lists.TORQUE_MM)]  # fmt: skip
    sheet = [landscape([columns(lines)])] if across else lines
    snug = site_pack.snug(sheet)
    frac = {one.get("close", 1.0) for one in tables(snug)}
    assert tables(snug)[0]["rows"] == lines[0]["rows"]
    assert pages_of(snug) == pages_of(closer(sheet, site_pack.LINES_FRAC[-1]))
    higher = min((one for one in (1.0, *site_pack.LINES_FRAC) if one > max(frac)), default=None)
    assert higher is None or pages_of(closer(sheet, higher)) > pages_of(snug)


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", NAMES)
def test_a_test_does_not_say_its_name_twice(document_cases: Any, name: str, language: str) -> None:
    """Rails are tested from "rails, every run joined"; where a pipe comes in is no way to the bar.
    """
    crew = Crew(design=document_cases.demo(name), language=language)
    _, lines = sheet_of_site(crew.design)
    for one in tables(blank_blocks(lines, crew)):
        for row in cells_of(one):
            first, *others = (row[1] if len(row) > 1 else "").split(", ")
            assert not others or not others[0].casefold().startswith(first.casefold()), row[1]
    misread = re.compile(r"(, | where )\w[^,]* to main")
    assert not [line.where for line in lines if misread.search(line.where)]


@pytest.mark.parametrize("name", NAMES)
def test_no_two_settings_say_the_same(document_cases: Any, name: str) -> None:
    """Devices that are set alike share a line: their tags stand in it."""
    _, set_ = tables(site_lists.torques(Crew(design=document_cases.demo(name), language="en")))
    said = [(row[0], row[2]) for row in cells_of(set_)]
    assert len(said) == len(set(said))


def test_a_phrase_keeps_numbers_and_tags() -> None:
    assert phrase("Crimp lug, 2.5 mm²", "fr") == "Cosse à sertir, 2,5 mm²"
    assert "Q2 ouvert" in phrase("Battery fuse: withdraw only with Q2 open and locked", "fr")
    assert phrase("W11.1 to W11.8", "fr") == "W11.1 à W11.8"
    assert phrase("Crimp lug, 2.5 mm²", "en") == "Crimp lug, 2.5 mm²"
    assert untranslated("nobody has said this", "fr") == ("nobody has said this",)


@given(st.text(max_size=60))
@settings(max_examples=200, deadline=None)
def test_any_text_goes_through_and_no_number_is_lost(text: str) -> None:
    assert re.findall(r"[0-9]", phrase(text, "fr")) == re.findall(r"[0-9]", text)


def test_a_table_of_phrases_has_the_same_places_on_both_sides() -> None:
    table = phrases("fr")
    assert len(table) > 300
    assert phrases("xx") == {}


def test_the_language_of_the_crew_is_one_that_is_there() -> None:
    demo = read_site(demo_sites()["ridge-clinic"])
    assert demo.site.firm.crew == demo.site.firm.language
    assert with_changes(demo, {"firm": {"crew_language": "fr"}}).site.firm.crew == "fr"
    with pytest.raises(InputError, match=r"firm\.crew_language"):
        with_changes(demo, {"firm": {"crew_language": "xx"}})


def test_ranges_of_tags_lose_none() -> None:
    assert site_lists.joined_tags(["F1", "F2", "F3", "F7", "Q1", "S1+"]) == "F1 to F3, F7, Q1, S1+"
    assert site_lists.joined_tags(["F1", "F2"]) == "F1, F2"


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(site=SITES["sites"]())
def test_the_test_sheet_grows_by_its_rule(site: Any) -> None:
    """Three sheets hold 96 tests of the longest words; each 32 more take one more at most."""
    lines = sheet_of(facts_of(site))
    crew = Crew(design=cast(Design, SimpleNamespace(site=site)), language="en")
    blocks = landscape([columns([*safety_blocks(crew), *blank_blocks(lines, crew)])])
    pages = pages_of(site_pack.snug([blocks]))
    extra = max(0, -(-(len(lines) - TESTS) // TESTS_A_SHEET))
    assert pages <= 3 + extra, f"{pages} sheets for {len(lines)} tests"
