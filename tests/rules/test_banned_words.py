"""Texts that a user reads keep to the words of the trade, in each language."""

from __future__ import annotations

import ast
import csv
import re
import runpy
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import solarcalc
from solarcalc.basis.files import data_folder

_BANNED = runpy.run_path(str(Path(__file__).parents[1] / "banned.py"))
BOTH, banned_in, banned_words = (_BANNED[name] for name in ("BOTH", "banned_in", "banned_words"))
PACKAGE = Path(solarcalc.__file__).parent
IDENTITY = {"about", "class", "category", "kind", "key", "rule", "seen", "electrolyte", "met",
            "family", "battery"}
"""Fields of the data that code reads, not people."""
COLUMNS = {
    "tasks": ("name", "caution"), "task_hours": ("source",), "tools": ("item",),
    "joints": ("joint", "tool"), "loose_material": ("material", "note"), "setting": ("source",),
    "switching": ("words", "off", "check_off", "on", "check_on", "lock"),
    "guesses": ("label", "unit", "source"), "cable_methods": ("words",),
    "survey": ("group", "label", "unit", "otherwise", "help"),
}  # fmt: skip
"""Columns of tables in words."""
TOML = ("dangers", "exposure", "chemistries", "engines")
CODE = ("sitefile", "survey", "batch", "lessons", "cli.py")
"""Where the strings of code are read too: error messages and the command line."""


def strings(value: Any, key: str = "") -> Iterator[str]:
    """Every text of a table of TOML that people read."""
    if isinstance(value, str):
        yield from () if key in IDENTITY else (value,)
    elif isinstance(value, list):
        yield from (text for one in value for text in strings(one, key))
    elif isinstance(value, dict):
        yield from (text for name, one in value.items() for text in strings(one, name))


def texts_of_code() -> Iterator[tuple[str, str]]:
    """Strings of calls, f-strings among them, and not of docstrings: words with a space."""
    for name in CODE:
        path = PACKAGE / name
        for file in sorted(path.rglob("*.py")) if path.is_dir() else [path]:
            tree = ast.parse(file.read_text(encoding="utf-8"))
            inside = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)
                      for part in node.values}
            for node in ast.walk(tree):
                if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
                    inside.add(id(node.value))
                if isinstance(node, ast.JoinedStr):
                    said = "".join(str(part.value) if isinstance(part, ast.Constant) else "{}"
                                   for part in node.values)
                elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                    said = "" if id(node) in inside else node.value
                else:
                    continue
                if " " in said.strip():
                    yield f"{file.name}:{node.lineno}", said


def rows(path: Path) -> Iterator[dict[str, str]]:
    """Rows of a CSV of the data."""
    lines = path.read_text(encoding="utf-8").splitlines()
    yield from csv.DictReader(line for line in lines if not line.startswith("#"))


def all_texts() -> Iterator[tuple[str, str, str]]:
    """Place, language and words of each text."""
    data = data_folder()
    for path in sorted((data / "words").glob("*.toml")):
        for key, entry in tomllib.loads(path.read_text(encoding="utf-8")).items():
            yield from ((f"words/{path.stem}: {key}", "en", text) for text in strings(entry))
    for path in sorted((data / "lesson_texts").glob("*.toml")):
        for text in strings(tomllib.loads(path.read_text(encoding="utf-8"))):
            yield f"lesson_texts/{path.name}", "en", text
    for path in sorted((data / "messages").rglob("*.toml")):
        language = path.relative_to(data / "messages").parts[0].removesuffix(".toml")
        for key, text in tomllib.loads(path.read_text(encoding="utf-8")).items():
            yield f"messages/{path.name}: {key}", language, str(text)
    for path in sorted((data / "phrases").glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            for english, said in list(csv.reader(file))[1:]:
                yield f"phrases/{path.name}: {english}", path.stem, said
    for stem in TOML:
        for key, entry in tomllib.loads((data / f"{stem}.toml").read_text("utf-8")).items():
            yield from ((f"{stem}: {key}", "en", text) for text in strings(entry))
    for stem, columns in COLUMNS.items():
        for row in rows(data / f"{stem}.csv"):
            yield from ((f"{stem}: {row}", "en", row[column] or "") for column in columns)
    for path in sorted((data / "constants").glob("*.csv")):
        for row in rows(path):
            for column in {"label", "unit", "source"} & row.keys():
                yield f"constants/{path.stem}: {row['name']}", "en", row[column] or ""
    template = (data / "templates" / "site.toml").read_text(encoding="utf-8")
    for number, line in enumerate(template.splitlines(), 1):
        words = line.partition("#")[2].strip()
        if key := re.match(r"[a-z_0-9]+ +=.*?#", words):
            words = words[key.end():]
        yield f"templates/site.toml:{number}", "en", words
    phone = (data / "templates" / "survey_phone.html").read_text(encoding="utf-8")
    yield from ((f"templates/survey_phone.html: {number}", "en", line)
                for number, line in enumerate(phone.splitlines(), 1))
    yield from ((place, "en", said) for place, said in texts_of_code())


TEXTS = tuple(all_texts())


def test_there_is_a_row_for_each_word_and_each_pattern_is_one() -> None:
    table = banned_words()
    assert len(table) > 300
    assert len({row.pattern.pattern for row in table}) == len(table)
    for row in table:
        assert row.language in ("en", "fr"), row.note
        assert row.where in ("texts", "documents", BOTH), row.note
        assert row.replace_by, row.note


@pytest.mark.parametrize("language", ["en", "fr"])
def test_no_text_says_a_banned_word(language: str) -> None:
    read = [text for text in TEXTS if text[1] == language]
    assert len(read) > 50
    found = [
        (place, told) for place, _, text in read
        for told in banned_in(text, language, where="texts")
    ]
    assert found == []


def test_a_banned_word_is_found_and_its_place_named() -> None:
    (told,) = banned_in("The fullest controller decides.", "en")
    assert "fullest controller" in told
    assert "controller with the most strings" in told
    assert banned_in("the controller with the most strings decides", "en") == []
    (told,) = banned_in("Il faut laver les panneaux.", "fr")
    assert "nettoyer les panneaux" in told
    assert banned_in("Nettoyer les panneaux", "fr") == []


def test_a_replacement_is_not_banned_itself() -> None:
    wrong = {
        row.note: banned_in(row.replace_by, row.language, where="texts")
        for row in banned_words() if row.where != "documents"
    }
    assert {note: found for note, found in wrong.items() if found} == {}
