"""Schedules and files of the quote for who reads French: heads and texts, as the batch has them."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from functools import partial

import pytest
from nbformat.v4 import new_code_cell, new_notebook, new_output
from openpyxl import load_workbook

from solarcalc.basis.files import demo_sites
from solarcalc.basis.messages import messages
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.phrases import listed, phrase, plain, untranslated
from solarcalc.basis.worded import worded
from solarcalc.design import Design, open_design
from solarcalc.installation import schedules
from solarcalc.page import SCHEDULE_MIME
from solarcalc.programme import days
from solarcalc.quote import export
from solarcalc.report.findings import sheet_files
from solarcalc.sitepack import modules
from solarcalc.views import commissioning, earthing, electrical, quote, sitepack

Rows = Sequence[Mapping[str, object]]


def all_schedules(design: Design) -> Iterator[tuple[str, Rows]]:
    """Every schedule that a workbook shows, by the name of its file."""
    built = design.installation
    facts, lines = commissioning.sheet_of_site(design)
    asked = {
        "tests": lambda: commissioning.lines_of_tests(
            commissioning.report_of_site(design, facts, lines)),
        "earth-bar": lambda: earthing.bar_schedule(design),
        "trench-plan": lambda: sitepack.trench_rows(design),
        "protection": lambda: schedules.device_rows(built),
        "cables": lambda: schedules.cable_rows(built),
        "routes": lambda: schedules.route_rows(built),
        "labels": lambda: schedules.label_rows(built),
        "parts": lambda: schedules.part_rows(built),
        "switching-order": lambda: sitepack.switching_rows(design),
        "battery-terminals": lambda: sitepack.terminal_rows(design),
        "torques": lambda: sitepack.torque_rows(design),
        "guesses": lambda: electrical.guess_rows(design),
        **{name: partial(sitepack.plan_rows, design, rows) for name, rows in (
            ("module-plan", modules.module_rows), ("row-plan", modules.row_rows),
            ("rail-plan", modules.rail_rows), ("rail-cuts", modules.cut_list))},
        "bill-of-materials": lambda: quote.quantity_rows(design),
        "days": lambda: days.day_rows(design.programme),
        "pick-list": lambda: sitepack.pick_rows(design),
        "tools": lambda: sitepack.tool_rows(design),
    }  # fmt: skip
    for name, rows in asked.items():
        found = or_why(rows)()
        if not isinstance(found, NoAnswer) and found:
            yield name, found


def peoples_names(design: Design) -> set[str]:
    """Names that people gave, part by part: they stay as they are."""
    site = design.site
    names = [site.roof.name, *(plane.name for plane in site.planes),
             *(one.label for one in site.existing)]  # fmt: skip
    return {part.strip() for name in names for part in re.split("[,;:]", name)}


@pytest.mark.parametrize("name", list(demo_sites()))
def test_heads_and_texts_of_every_schedule_have_their_french(name: str) -> None:
    design = open_design(name)
    own = peoples_names(design)
    left = set()
    for file, rows in all_schedules(design):
        heads = [listed(head, "fr") for head in rows[0]]
        assert len(set(heads)) == len(heads), (file, heads)
        texts = {*rows[0], *(one for row in rows for one in row.values() if isinstance(one, str))}
        left |= {(file, part) for text in texts if re.search(r"[^\W\d_]{2}", text)
                 for part in untranslated(plain(text), "fr") if part not in own}  # fmt: skip
    assert left == set()


def written(content: bytes) -> set[str]:
    """Texts of the cells of a CSV file or of a workbook, titles of its sheets among them."""
    if content.startswith(b"PK"):
        book = load_workbook(io.BytesIO(content))
        return {*book.sheetnames, *(str(cell.value) for sheet in book for row in sheet.rows
                                    for cell in row if cell.value is not None)}  # fmt: skip
    return {cell for row in csv.reader(io.StringIO(content.decode("utf-8-sig"))) for cell in row}


@pytest.mark.parametrize("name", list(demo_sites()))
def test_files_of_the_quote_are_in_the_language_of_the_customer(name: str) -> None:
    design = open_design(name)
    english = quote.quote_files(design.changed({"firm": {"language": "en"}}), for_customer=True)
    french = quote.quote_files(design.changed({"firm": {"language": "fr"}}), for_customer=True)
    firms = quote.quote_files(design.changed({"firm": {"language": "fr"}}))
    assert set(english) == set(french)
    own, kept = peoples_names(design), set()
    for file, content in french.items():
        assert len(written(english[file])) == len(written(content))
        kept |= {text for text in written(content) & written(english[file])
                 if re.search(r"[^\W\d_]{4}", text)}  # fmt: skip
    same_in_both = {"Total", "source", "transport", "protection", "Protection", "module"}
    assert {text for text in kept if not {text.partition(" [")[0], text} & same_in_both} <= own
    stamp = messages("fr").text("stamp_example_prices")
    marked = export.EXAMPLE in written(english["bill.csv"])
    assert marked == (stamp in written(french["bill.csv"]))
    assert not any("OFFER" in text for content in french.values() for text in written(content))
    assert any("price [" in text for text in written(firms["bill.csv"]))  # the firm reads English


def test_a_head_of_money_keeps_its_currency() -> None:
    (row,) = export._said([{"price [XOF]": 3.0, "energy supplied [kWh]": "no"}], "fr")
    assert row == {"prix [XOF]": 3.0, "énergie fournie [kWh]": "non"}


def test_clauses_and_tables_keep_their_points_and_figures_take_a_comma() -> None:
    rule = "IEC 60364-5-54 table 54.2, from memory; IEC 60364-5-54 cl. 544.1, 0.25 m long"
    said = listed(rule, "fr")
    assert "IEC 60364-5-54 tableau 54.2" in said
    assert "art. 544.1" in said
    assert "0,25" in said


def test_the_file_of_a_schedule_is_in_the_language_that_is_asked_for() -> None:
    record = {"file": "parts", "heads": ["tag", "item", "length [m]"],
              "cells": [["U2", "Mid clamp", "4.20"], ["U3", "=End clamp", ""]]}  # fmt: skip
    book = new_notebook(cells=[new_code_cell("x", outputs=[
        new_output("display_data", data={SCHEDULE_MIME: record})])])  # fmt: skip

    def read(language: str) -> list[list[str]]:
        content = sheet_files({"one": book}, language)["schedules/parts.csv"]
        return list(csv.reader(io.StringIO(content.decode("utf-8-sig"))))

    assert read("en")[:2] == [record["heads"], record["cells"][0]]
    assert read("fr")[:2] == [["repère", "matériel", "longueur [m]"],
                              ["U2", "Bride intermédiaire", "4.20"]]  # fmt: skip
    assert read("fr")[2][1].startswith("'=")


@pytest.mark.parametrize("unit", ["m", "mm²", "kN/m²", "m³/h", "°C", "%", "kA", "MΩ"])
@pytest.mark.parametrize("number", ["7", "7.5", "12\u202f345"])
def test_a_number_is_one_place_whatever_its_unit_and_its_thousands(number: str, unit: str) -> None:
    said = f"at least {number} {unit}"
    assert untranslated(said, "fr") == ()
    assert phrase(said, "fr") == f"au moins {number.replace('.', ',')} {unit}"


@pytest.mark.parametrize("kwh", [["996"] * 7, ["10\u202f084"] * 7])
def test_the_energies_of_a_year_are_french_whatever_their_thousands(kwh: list[str]) -> None:
    """With five digits of demand the quote's file of energies was left in English."""
    supplied, demand, grid, generator, curtailed, available, full = kwh
    told = worded("supply", "energies", supplied=supplied, demand=demand, supplied_share="98.6",
                  curtailed=curtailed, available=available, curtailed_share="38.0", hours="0",
                  most="12", full=full, rate=full, temperature=full, fed_in=full)  # fmt: skip
    given = worded("supply", "sources", grid=grid, generator=generator, run_h="1185",
                   fuel_l="1259", starts="246 starts")  # fmt: skip
    ends = f"{told['hours']}{told['weak_light']}"
    for text in (*told.values(), ends, f"{given['of']} {given['grid']}, {given['generator']}",
                 f"{given['of']} {given['generator']}"):
        assert untranslated(text.removeprefix(", "), "fr") == (), text
