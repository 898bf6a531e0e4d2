"""Constants lie in data/constants with their sources; each is used, and each used one is there."""

from __future__ import annotations

import ast
import csv
from collections.abc import Iterator
from pathlib import Path

import pytest

import solarcalc
from solarcalc.basis import sourced
from solarcalc.basis.files import data_folder
from solarcalc.basis.sourced import (
    FROM_MEMORY,
    NO_SOURCE,
    Sourced,
    assumptions,
    constant,
    sources_of_defaults,
)
from solarcalc.sitefile.site import Site

CODE = Path(solarcalc.__file__).parent
FOLDER = data_folder() / "constants"
STAGES = sorted(path.stem for path in FOLDER.glob("*.csv") if path.stem != "site_defaults")


def _calls() -> Iterator[tuple[str, tuple[str, ...]]]:
    for path in CODE.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if "basis.sourced import" not in text:
            continue
        for node in ast.walk(ast.parse(text)):
            name = getattr(node.func, "id", "") if isinstance(node, ast.Call) else ""
            if name in ("constant", "assumptions"):
                yield name, tuple(ast.literal_eval(each) for each in node.args)


CALLS = tuple(_calls())
"""Each call of either function in the package with what it asks for, which is plain text."""


def rows(stage: str) -> list[dict[str, str]]:
    with (FOLDER / f"{stage}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("stage", STAGES)
def test_each_row_is_used_and_each_constant_used_is_there(stage: str) -> None:
    asked = [
        args[0].partition(".")[2] for name, args in CALLS
        if name == "constant" and args[0].startswith(f"{stage}.")
    ]  # fmt: skip
    lists = [args[1:] for name, args in CALLS if name == "assumptions" and args[0] == stage]
    printed = {
        row["name"] for row in rows(stage)
        if row["list"] and any(not wanted or row["list"] in wanted for wanted in lists)
    }  # fmt: skip
    held = {row["name"] for row in rows(stage)}
    assert set(asked) <= held
    assert len(asked) == len(set(asked)), "one name in the code for each constant"
    assert held <= printed | set(asked)
    assert {name for wanted in lists for name in wanted} <= {row["list"] for row in rows(stage)}


@pytest.mark.parametrize("stage", STAGES)
def test_a_row_says_what_how_and_in_which_unit(stage: str) -> None:
    for row in rows(stage):
        one = constant(f"{stage}.{row['name']}")
        assert one.label, row
        assert row["name"] == row["name"].lower(), row
        memory, practice = FROM_MEMORY in one.source, NO_SOURCE in one.source
        assert (row["seen"] in (FROM_MEMORY, NO_SOURCE)) == (memory or practice), row
        assert all(cell == cell.strip() for cell in row.values()), row


def test_a_fact_has_one_home() -> None:
    """A name with the same value in two files is one fact that will be changed in one of them."""
    homes: dict[tuple[str, str, str], list[str]] = {}
    for stage in STAGES:
        for row in rows(stage):
            homes.setdefault((row["name"], row["value"], row["unit"]), []).append(stage)
    assert not {what: where for what, where in homes.items() if len(where) > 1}


def test_labels_of_one_printed_list_differ() -> None:
    for stage in STAGES:
        labels = [one.label for one in assumptions(stage)]
        assert len(set(labels)) == len(labels), stage


def test_a_figure_with_its_source_stands_in_a_file_and_not_in_the_code() -> None:
    """What is worked out from other figures may stay: its value is a sum, not a number."""
    found = []
    for path in CODE.rglob("*.py"):
        for statement in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(statement, ast.Assign | ast.AnnAssign):
                found += [
                    f"{path.name}, line {node.lineno}" for node in ast.walk(statement)
                    if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Sourced"
                    and any(each.arg == "value" and isinstance(each.value, ast.Constant)
                            for each in node.keywords)
                ]  # fmt: skip
    assert found == []


NEUTRAL = {
    "array.modules_high", "controller.count", "earthing.rod_count", "grid.seed", "loads.phases",
    "loads.variation_seed", "losses.age_years", "module.bypass_diodes", "programme.priority",
    "quote.tax_frac", "roof.slope_deg",
}  # fmt: skip
"""Numbers a site file may leave out that claim nothing: one, none, a seed; diodes are counted."""


def test_each_number_that_a_site_file_may_leave_out_has_its_source() -> None:
    defaults = set()
    for table, field in Site.model_fields.items():
        for key, value in getattr(field.annotation, "model_fields", {}).items():
            if isinstance(value.default, int | float) and not isinstance(value.default, bool):
                defaults.add(f"{table}.{key}")
    said = set(sources_of_defaults())
    assert defaults - said == NEUTRAL
    assert all(_is_key(path) for path in said)


def _is_key(path: str) -> bool:
    table, key = path.split(".")
    return key in getattr(Site.model_fields[table].annotation, "model_fields", {})


def written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    (tmp_path / "constants").mkdir()
    head = "name,value,unit,label,source,seen,list"
    text = "\n".join((head, *lines)) + "\n"
    (tmp_path / "constants" / "made.csv").write_text(text, encoding="utf-8")
    monkeypatch.setattr(sourced, "data_folder", lambda: tmp_path)
    sourced._constants.cache_clear()


def test_a_constant_is_read_as_it_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written(
        tmp_path, monkeypatch,
        "a,2,,Poles,IEC 60947,from memory,", "b,-0.5,V,Drop,,\"common practice, no source\",own",
        "c,as sold,,Sizes,a list (from memory) of sizes,from memory,own",
    )  # fmt: skip
    assert constant("made.a") == Sourced(
        label="Poles", value=2, unit="", source="IEC 60947, from memory"
    )
    assert isinstance(constant("made.a").value, int)
    assert float(constant("made.b")) == -0.5
    assert [one.source for one in assumptions("made", "own")] == [
        NO_SOURCE, "a list (from memory) of sizes"
    ]  # fmt: skip
    with pytest.raises(ValueError, match=r"made\.csv: no constant 'd'"):
        constant("made.d")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("a,1.0,V,What,,read,", "line 2: a has no source"),
        ("a,1.0,V,What,IEC 60364,heard,", "line 2: seen is one of read; quoted"),
        ("a,1.0,V,What,IEC 60364,,", "line 2: seen is one of"),
        ("a,inf,V,What,IEC 60364,read,", "a has no finite value"),
        ("a,,V,What,IEC 60364,read,", "a has no finite value"),
        (",1.0,V,What,IEC 60364,read,", "line 2: the name '' is empty or taken"),
        ("a,1.0,V,What,IEC 60364,read", "line 2: 6 cells, not 7"),
    ],
)
def test_a_row_that_is_not_whole_is_refused(
    line: str, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written(tmp_path, monkeypatch, line)
    with pytest.raises(ValueError, match=rf"data/constants/made\.csv.*{said}"):
        constant("made.a")


def test_a_name_is_there_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    line = "a,1.0,V,What,IEC 60364,read,"
    written(tmp_path, monkeypatch, line, line)
    with pytest.raises(ValueError, match="line 3: the name 'a' is empty or taken"):
        constant("made.a")
