"""The blank test sheet of the site pack: every line with a place to write, methods said once."""

from __future__ import annotations

import runpy
from itertools import groupby
from pathlib import Path

import pytest

from solarcalc.basis.phrases import untranslated
from solarcalc.basis.text import capital
from solarcalc.commissioning.facts import facts_of
from solarcalc.commissioning.line import LETTERS, YES_NO
from solarcalc.commissioning.sheet import SAFETY, sheet_of
from solarcalc.design import open_design
from solarcalc.documents.crew import Crew
from solarcalc.documents.test_sheet import (
    LIGHT_METER,
    blank_blocks,
    instrument_table,
    safety_blocks,
)
from solarcalc.documents.tree import Document, Head, text_of, texts_of

CASES = runpy.run_path(str(Path(__file__).with_name("commissioning_cases.py")))


def crew_of(document_cases, stem="ridge-clinic"):
    return Crew(design=document_cases.demo(stem), language="en")


@pytest.mark.parametrize("stem", ["ridge-clinic", "plateau-school"])
def test_every_line_is_there_with_a_place_to_write(document_cases, stem):
    crew = crew_of(document_cases, stem)
    lines = sheet_of(CASES["facts_with"](stem))
    blocks = [*safety_blocks(crew), instrument_table(lines), *blank_blocks(lines, crew)]
    said = texts_of(blocks)
    rows = [[text_of(one["words"]) for one in row] for block in blank_blocks(lines, crew)
            if block["kind"] == "table" for row in block["rows"] if len(row) > 1]
    assert [row[0] for row in rows] == [line.id for line in lines]
    for row, line in zip(rows, lines, strict=True):
        assert row[1] == f"{capital(line.what)}, {line.where}"
        assert row[2] == line.expected
        assert ("☐ yes ☐ no" in row[3]) == (line.unit == YES_NO)
        assert row[-1] == "", "initials"
    for words in (*SAFETY, LIGHT_METER):
        assert any(words in text for text in said)
    head = Head(site="Ridge Road Clinic", number="RRC-SP-14", title="Test sheet")
    document_cases.hold_to_rules(Document(code="SP", head=head, look="sheet", blocks=(*blocks,)))


def test_light_is_asked_beside_strings_only(document_cases):
    crew = crew_of(document_cases)
    lines = sheet_of(CASES["facts_with"]())
    tables = [one for one in blank_blocks(lines, crew) if one["kind"] == "table"]
    asked = [category for category, block in zip(LETTERS, tables, strict=True)
             if any(text_of(one["words"]) == "W/m², cell °C" for one in block["head"][0])]
    assert asked == ["string voltage", "string current"]


def test_method_and_danger_are_said_once_for_lines_alike(document_cases):
    crew = crew_of(document_cases)
    lines = sheet_of(CASES["facts_with"]())
    said = "\n".join(texts_of(blank_blocks(lines, crew)))
    for _, group in groupby(lines, key=lambda line: (line.category, line.how, line.caution)):
        line = next(group)
        assert line.how in said
        assert line.caution in said
    how = next(line.how for line in lines if line.id == "V01")
    assert said.count(how) == 1


def test_the_tests_of_several_lines_are_said_in_french():
    site = open_design("valley-workshop").site
    lines = sheet_of(facts_of(site))
    told = [line for line in lines if line.key in ("board-voltage", "line-voltage",
                                                   "phase-sequence")]  # fmt: skip
    assert len(told) == 1 + 3 + 3 + 1
    for line in told:
        for text in (line.what, line.where, line.how, line.expected, line.instrument,
                     line.caution):  # fmt: skip
            assert untranslated(text, "fr") == ()
