"""The blank sheet as a page: stands alone, every line with a place to write, printable on A4."""

from __future__ import annotations

import re
import runpy
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from solarcalc.commissioning.line import LETTERS, YES_NO
from solarcalc.commissioning.sheet import SAFETY, sheet_of
from solarcalc.report.findings import SiteSummary
from solarcalc.report.write import LIGHT_METER, WHO_DECIDES, blank_sheet_html

CASES = runpy.run_path(str(Path(__file__).with_name("commissioning_cases.py")))
READER = runpy.run_path(str(Path(__file__).with_name("html_reader.py")))
SITE = SiteSummary(
    name="Ridge Road Clinic", customer="Invented customer B", note="", slug="ridge",
    latitude_deg=36.1, longitude_deg=-79.95, elevation_m=273.0, file_name="ridge.toml",
    file_sha256="ab" * 32, made=datetime(2027, 3, 1, 9, tzinfo=UTC), version="0", dangers=(),
)  # fmt: skip


@pytest.mark.parametrize("stem", ["ridge-clinic", "plateau-school"])
def test_the_page_stands_alone_and_has_every_line(stem):
    lines = sheet_of(CASES["facts_with"](stem))
    text = blank_sheet_html(SITE, lines)
    page = READER["assert_stands_alone"](text)
    ids = re.findall(r'<th scope="row">([A-Z]\d\d)</th>', text)
    assert ids == [line.id for line in lines]
    assert text.count('<span class="box"></span>yes') == sum(ln.unit == YES_NO for ln in lines)
    assert text.count('<td class="value">') == sum(line.unit != YES_NO for line in lines)
    for line in lines:
        assert line.what in page.words
        assert line.where in page.words
        assert line.expected in page.words
        assert line.how in page.words
        assert line.caution in page.words
    for category in LETTERS:
        assert category[1:] in page.words
    for words in (*SAFETY, WHO_DECIDES, LIGHT_METER, SITE.customer):
        assert words in page.words


def test_light_is_asked_beside_strings_only():
    lines = sheet_of(CASES["facts_with"]())
    text = blank_sheet_html(SITE, lines)
    lists = text.split('<section class="category"')[1:]
    asked = [category for category, part in zip(LETTERS, lists, strict=True) if "W/m²</th>" in part]
    assert asked == ["string voltage", "string current"]


def test_how_is_said_once_for_lines_alike():
    lines = sheet_of(CASES["facts_with"]())
    text = blank_sheet_html(SITE, lines)
    assert text.count("As V01.") == 5
    how = next(line.how for line in lines if line.id == "V01")
    assert text.count(how) == 1


def test_what_a_printer_is_told():
    text = blank_sheet_html(SITE, sheet_of(CASES["facts_with"]()))
    style = text.partition("</style>\n</head>")[0]
    assert "@page { size: A4" in style
    assert re.search(r"figure, tr,[^}]*break-inside: avoid", style)
    assert "table-header-group" in style
    assert not re.search(r"\.sheet[^{}]*{[^}]*(background: #|color: #(?!000))", style)


def test_words_of_a_site_neither_run_nor_are_read():
    evil = READER["EVIL"]
    site = replace(SITE, name=evil, customer=evil, file_name=evil)
    page = READER["assert_stands_alone"](blank_sheet_html(site, sheet_of(CASES["facts_with"]())))
    assert page.words.count(evil) == 4
