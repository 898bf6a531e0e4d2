"""Words from a user: file names, nearest keys, spreadsheet cells."""

from __future__ import annotations

import re
import unicodedata

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.text import guard_cell, nearest, safe_file_name


@given(st.text(max_size=200))
def test_any_name_becomes_a_plain_file_name(name: str) -> None:
    plain = safe_file_name(name)
    assert re.fullmatch(r"[a-z0-9]([a-z0-9-]{0,58}[a-z0-9])?", plain)


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("Hill Street Shop", "hill-street-shop"),
        ("../../etc/passwd", "etc-passwd"),
        ("École n° 4", "ecole-n-4"),
        ("a" * 100, "a" * 60),
        ("CON.", "con-site"),
    ],
)
def test_names_keep_what_they_can(name: str, plain: str) -> None:
    assert safe_file_name(name) == plain


def test_names_in_other_scripts_stay_apart() -> None:
    first, second = safe_file_name("学校"), safe_file_name("مدرسة")
    assert first != second
    assert first.startswith("site-")
    assert safe_file_name("学校") == first


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1", "\r=1"])
def test_a_spreadsheet_reads_no_formula(text: str) -> None:
    assert guard_cell(text) == "'" + text


def test_plain_cells_stay_as_they_are() -> None:
    assert guard_cell("Shop = good") == "Shop = good"
    assert guard_cell("") == ""


def test_the_nearest_key_is_found_or_none() -> None:
    assert nearest("tilt_degs", ["tilt_deg", "azimuth_deg"]) == "tilt_deg"
    assert nearest("zzzz", ["tilt_deg", "azimuth_deg"]) is None


@given(st.lists(st.text(), min_size=5, max_size=5))
@example(["a.toml: x", "\x1b[2J\x07", "\u202egpj.exe", "\r", "\u2066"])
def test_a_message_has_no_sign_that_acts_on_the_screen(parts: list[str]) -> None:
    where, given_, allowed, why, remedy = parts
    fault = Fault(where=where, given=given_, allowed=allowed, why=why, remedy=remedy)
    for said in (str(fault), fault.line, str(InputError(fault)), InputError(fault).sentence):
        unseen = {sign for sign in said if unicodedata.category(sign) in ("Cc", "Zl", "Zp", "Cs")}
        assert unseen <= {"\n"}
        assert not set(said) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
