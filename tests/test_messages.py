"""Words for customers: every language whole, numbers and days as it writes them."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.messages import (
    PATTERN,
    all_texts,
    language_fault,
    languages,
    messages,
    read_texts,
    unlike,
)
from solarcalc.sitefile.quote import Firm

FOLDER = data_folder() / "messages"
PLACE = re.compile(r"\{(\w+)\}")
NARROW, WIDE = "\u202f", "\u00a0"


def test_english_and_french_are_there() -> None:
    assert {"en", "fr"} <= set(languages())


@pytest.mark.parametrize("language", languages())
def test_a_language_has_the_keys_and_places_of_english(language: str) -> None:
    own, english = (read_texts(FOLDER / f"{name}.toml") for name in (language, PATTERN))
    assert set(own) == set(english)
    for key, text in english.items():
        assert set(PLACE.findall(own[key])) == set(PLACE.findall(text)), key
    assert not unlike(language, own, english)


def test_french_is_translated() -> None:
    own, english = (read_texts(FOLDER / f"{name}.toml") for name in ("fr", "en"))
    same = {key for key in own if own[key] == english[key]}
    assert same == {
        "kw", "kwh", "hours", "hours_and_half", "date", "listed", "thousands_mark", "percent",
        "part_battery", "call_doctor",
    }  # fmt: skip


def test_french_sets_its_signs_off_with_spaces_that_do_not_break() -> None:
    """Imprimerie nationale's rules, from memory: narrow before ; ! ?, whole before a colon."""
    for key, text in all_texts("fr", FOLDER).items():
        assert not re.search(r" [;:!?»%]", text), key
        assert not re.search(rf"[^{NARROW}\s][;!?]", text), key
        assert not re.search(rf"[^{WIDE}]:", text), key
        assert "'" not in text, f"{key}: the apostrophe is a printed one"


@pytest.mark.parametrize("language", languages())
def test_texts_have_no_space_too_many_and_no_trade_words(language: str) -> None:
    trade = ("SOC", "DoD", "MPPT", "kWp", "RCD", "BMS", "SPD", "autonomy", "irradi")
    for key, text in read_texts(FOLDER / f"{language}.toml").items():
        assert text == text.strip() or key == "thousands_mark", key
        assert "  " not in text, key
        assert not [word for word in trade if word in text], key


@pytest.mark.parametrize(("language", "value", "decimals", "printed"), [
    ("en", 1234567.891, 2, f"1{NARROW}234{NARROW}567.89"),
    ("fr", 1234567.891, 2, f"1{NARROW}234{NARROW}567,89"),
    ("fr", 9999.5, 1, "9999,5"),
    ("en", -12.0, 0, "−12"),
    ("fr", -0.004, 2, "0,00"),
    ("en", 99999.9, 0, f"100{NARROW}000"),
])
def test_numbers(language: str, value: float, decimals: int, printed: str) -> None:
    assert messages(language).number(value, decimals) == printed


def test_percent_and_days() -> None:
    french, english = messages("fr"), messages("en")
    assert french.percent(0.25) == f"25{WIDE}%"
    assert english.percent(0.25) == f"25{WIDE}%"
    assert french.date(date(2027, 8, 1)) == "1er août 2027"
    assert french.date(date(2027, 8, 21)) == "21 août 2027"
    assert english.date(date(2027, 8, 1)) == "1 August 2027"
    assert [french.month_short(number) for number in (1, 7, 12)] == ["janv.", "juill.", "déc."]


def test_one_and_many_are_the_languages_own() -> None:
    assert messages("en").counted("hf_lacking", 0, total=9) == "0 of 9 documents are missing."
    assert messages("fr").counted("hf_lacking", 0, total=9) == "Il manque 0 pièce sur 9."
    assert messages("en").counted("hf_lacking", 1, total=9) == "1 of 9 documents is missing."
    assert messages("fr").counted("hf_lacking", 2, total=9) == "Il manque 2 pièces sur 9."


def test_what_is_filled_in_is_not_read_again() -> None:
    assert messages("en").text("listed", name="{count}", count="{name}") == "{count} ({name})"


def test_a_wrong_key_or_place_is_an_error_of_the_program() -> None:
    with pytest.raises(KeyError, match="nearest: care_title"):
        messages("en").text("care_titel")
    with pytest.raises(ValueError, match=r"listed takes \['count', 'name'\], not \['name'\]"):
        messages("en").text("listed", name="a")


@pytest.mark.parametrize(("given", "near"), [
    ("french", "fr"), ("EN", "en"), ("en-GB", "en"), ("fr_FR", "fr"), ("../en", None),
])  # fmt: skip
def test_an_unknown_language_names_the_known_and_the_nearest(given: str, near: str | None) -> None:
    with pytest.raises(InputError, match="one of " + ", ".join(languages())) as caught:
        messages(given, where="shop.toml: firm.language")
    (fault,) = caught.value.faults
    assert fault.where == "shop.toml: firm.language"
    assert given in fault.given
    if near:
        assert fault.remedy == f"did you mean {near}?"


def test_the_site_file_takes_a_language_that_has_a_file() -> None:
    assert Firm(language="fr").language == "fr"
    assert language_fault(Firm().language, "x") is None
    with pytest.raises(ValueError, match=r"; did you mean fr\?"):
        Firm(language="francais")


@pytest.mark.parametrize(("text", "complaint"), [
    ("a = 1", "xx.toml: a"),
    ('a = ""', "xx.toml: a"),
    ('a = "{"', "only around the name of a place"),
    ('a = "{x.__class__}"', "only around the name of a place"),
    ('a = "{0}"', "only around the name of a place"),
    ("a = [", "lines of key"),
    ('[t]\na = "b"', "xx.toml: t"),
])
def test_a_file_of_texts_that_is_not_sound_is_refused(
    tmp_path: Path, text: str, complaint: str
) -> None:
    path = tmp_path / "xx.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=re.escape(complaint)):
        read_texts(path)


def test_what_a_new_language_lacks_or_has_too_much_is_named() -> None:
    faults = unlike("xx.toml", {"care": "{a}", "extra": "x"}, {"care": "{b}", "more": "m"})
    assert [fault.where for fault in faults] == [
        "xx.toml: more", "xx.toml: care", "xx.toml: extra"]
    assert "{b}, as in English" in faults[1].allowed
