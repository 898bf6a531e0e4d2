"""Words of data/words: each entry is asked for, with its places, and fills fields that exist."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import get_args

import pytest

import solarcalc
from solarcalc.basis import worded as module
from solarcalc.basis.files import data_folder
from solarcalc.basis.worded import entries, worded
from solarcalc.commissioning.line import LETTERS, CauseKey, Kind

FOLDER = data_folder() / "words"
FILES = sorted(path.stem for path in FOLDER.glob("*.toml"))


def keys_of(node: ast.expr) -> list[str]:
    """The keys that a call may ask for."""
    if isinstance(node, ast.IfExp):
        return [*keys_of(node.body), *keys_of(node.orelse)]
    return [str(ast.literal_eval(node))]


@cache
def calls() -> tuple[tuple[str, str, frozenset[str], str], ...]:
    """File, key, names of the values, and the record that is filled, of each call of the package.

    Found when a test first asks, not when tests are collected.
    """
    return tuple(_calls())


def _calls() -> Iterator[tuple[str, str, frozenset[str], str]]:
    for path in Path(solarcalc.__file__).parent.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if "worded(" not in text:
            continue
        tree = ast.parse(text)
        inside = {id(keyword.value): getattr(call.func, "id", "") for call in ast.walk(tree)
                  if isinstance(call, ast.Call) for keyword in call.keywords}
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "worded":
                names = frozenset(str(each.arg) for each in node.keywords)
                for key in keys_of(node.args[1]):
                    yield ast.literal_eval(node.args[0]), key, names, inside.get(id(node), "")


def test_no_text_is_cut_off_at_the_end_of_its_line() -> None:
    """A text that goes on without brackets: the rest is a line of code that does nothing."""
    found = [
        f"{path.name}, line {node.lineno}"
        for path in sorted(Path(solarcalc.__file__).parent.rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Expr) and (
            isinstance(node.value, ast.JoinedStr)
            or (isinstance(node.value, ast.Constant) and str(node.value.value).startswith(" ")))
    ]  # fmt: skip
    assert found == []


@pytest.mark.parametrize("file", FILES)
def test_each_entry_is_asked_for_with_its_places(file: str) -> None:
    asked = {key for name, key, _, _ in calls() if name == file}
    assert asked == set(entries(file))
    wrong = {
        key: (sorted(names), sorted(entries(file)[key].places))
        for name, key, names, _ in calls() if name == file and names != entries(file)[key].places
    }  # fmt: skip
    assert wrong == {}


def test_each_file_that_is_asked_for_is_there() -> None:
    assert {name for name, _, _, _ in calls()} == set(FILES)


@pytest.mark.parametrize("file", FILES)
def test_each_sentence_that_is_shared_is_taken_over(file: str) -> None:
    text = (FOLDER / f"{file}.toml").read_text(encoding="utf-8")
    shared = tomllib.loads(text).get("shared", {})
    assert [name for name in shared if f"{{{name}}}" not in text] == []
    assert all(words.strip() for one in entries(file).values() for words in one.texts.values())


def test_words_of_tests_and_causes_are_those_that_the_judge_knows() -> None:
    for file, key, _, record in calls():
        texts = entries(file)[key].texts
        if record == "TestLine":
            assert texts["category"] in LETTERS, key
            assert texts.get("kind", "yes") in get_args(Kind), key
        if record == "Cause" and "key" in texts:
            assert texts["key"] in get_args(CauseKey), key


def written(folder: Path, monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    (folder / "words").mkdir()
    (folder / "words" / "made.toml").write_text(text, encoding="utf-8")
    monkeypatch.setattr(module, "data_folder", lambda: folder)
    entries.cache_clear()


def test_places_are_filled_in_and_shared_sentences_taken_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written(tmp_path, monkeypatch, (
        '[shared]\ndry = "in the dry season"\n'
        '[rod]\nitem = "Rod, {dry}"\nclause = "{no_source}"\nlimit = "{ohm:.1f} Ω, {{so}}"\n'
    ))  # fmt: skip
    assert worded("made", "rod", ohm=2.25) == {
        "item": "Rod, in the dry season", "clause": "common practice, no source",
        "limit": "2.2 Ω, {so}",
    }  # fmt: skip
    with pytest.raises(ValueError, match=r"made\.toml: rod takes \['ohm'\], not \[\]"):
        worded("made", "rod")
    with pytest.raises(ValueError, match="strip takes"):
        worded("made", "strip")
    entries.cache_clear()
