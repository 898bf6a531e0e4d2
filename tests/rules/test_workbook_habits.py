"""Habits every workbook keeps: cells in order, parameters that are plain, one committed output."""

from __future__ import annotations

import ast
import importlib
import json
import re
from pathlib import Path

import pytest

from solarcalc.basis.files import workbooks_folder
from solarcalc.page import RESULTS_MIME

WORKBOOKS = sorted(workbooks_folder().glob("*.ipynb"))
TAGS = {"parameters", "setup", "explore", "results", "nbval-check-output", "exercise"}
PARAMETERS = {"site_file", "changes", "cleaning_cost_kwh", "most_modules_high", "plane",
              "allowed_without_supply_h"}
"""The closed list of parameter names; a name becomes code, so none comes from outside."""


def cells_of(path: Path) -> list[dict]:
    return json.loads(path.read_text(encoding="utf-8"))["cells"]


def tags_of(cell: dict) -> set[str]:
    return set(cell["metadata"].get("tags", []))


def source_of(cell: dict) -> str:
    return "".join(cell["source"])


def test_the_three_core_workbooks_are_there() -> None:
    assert {"orientation", "yield", "battery"} <= {path.stem for path in WORKBOOKS}


def test_the_readme_lists_each_workbook() -> None:
    text = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^\| `(\w+)\.ipynb` \|", text, re.MULTILINE)) == {
        path.stem for path in WORKBOOKS
    }


@pytest.mark.parametrize("path", WORKBOOKS, ids=lambda path: path.stem)
def test_tags_come_from_the_closed_list(path: Path) -> None:
    for cell in cells_of(path):
        assert tags_of(cell) <= TAGS


@pytest.mark.parametrize("path", WORKBOOKS, ids=lambda path: path.stem)
def test_it_asks_first_then_answers_and_ends_with_an_exercise(path: Path) -> None:
    cells = cells_of(path)
    assert cells[0]["cell_type"] == "markdown"
    assert source_of(cells[0]).startswith("# ")
    tagged = {tag: [i for i, cell in enumerate(cells) if tag in tags_of(cell)] for tag in TAGS}
    assert len(tagged["parameters"]) == 1
    assert len(tagged["results"]) == 1
    assert tagged["results"] == tagged["nbval-check-output"]
    assert tagged["parameters"] < tagged["results"] < tagged["exercise"]
    assert tagged["exercise"][-1] == len(cells) - 1
    between = cells[tagged["parameters"][0] + 1:tagged["results"][0]]
    assert [cell["cell_type"] for cell in between] == ["markdown"], "the answer comes first"
    if tagged["explore"]:
        assert tagged["explore"][0] == tagged["results"][0] + 1, "its panel comes next"
    assert "exercises.judge(" in source_of(cells[-1])
    assert any(re.search(r"> \*\*(DANGER|WARNING)\.\*\*", source_of(cell)) for cell in cells)
    assert not any("Caution" in source_of(cell) for cell in cells)


@pytest.mark.parametrize("path", WORKBOOKS, ids=lambda path: path.stem)
def test_parameters_are_plain_values_of_known_names(path: Path) -> None:
    (cell,) = [cell for cell in cells_of(path) if "parameters" in tags_of(cell)]
    for node in ast.parse(source_of(cell)).body:
        assert isinstance(node, ast.Assign), "assignments only"
        assert isinstance(node.value, ast.Constant), "plain values only"
        (target,) = node.targets
        assert isinstance(target, ast.Name)
        assert target.id in PARAMETERS


@pytest.mark.parametrize("path", WORKBOOKS, ids=lambda path: path.stem)
def test_code_cells_stay_thin(path: Path) -> None:
    for cell in cells_of(path):
        if cell["cell_type"] != "code":
            continue
        source = source_of(cell)
        assert len(source.splitlines()) <= 12
        for node in ast.walk(ast.parse(source)):
            assert not isinstance(node, (ast.FunctionDef, ast.ClassDef, ast.BinOp)), (
                f"{cell['id']}: computation lives in the package"
            )


@pytest.mark.parametrize("path", WORKBOOKS, ids=lambda path: path.stem)
def test_only_the_results_cell_has_an_output_and_it_holds_figures(path: Path) -> None:
    for cell in cells_of(path):
        if cell["cell_type"] != "code":
            continue
        assert cell["execution_count"] == (1 if "results" in tags_of(cell) else None)
        if "results" not in tags_of(cell):
            assert cell["outputs"] == [], f"{cell['id']}: outputs are not committed"
            continue
        (output,) = cell["outputs"]
        values = output["data"][RESULTS_MIME]["values"]
        assert len(values) >= 8
        assert sum(isinstance(value, (int, float)) for value in values.values()) >= 7
        text = "".join(output["data"]["text/plain"])
        for name, value in values.items():
            assert f"{name} " in text, name
            assert f"= {value}" in text, name


@pytest.mark.parametrize("path", WORKBOOKS, ids=lambda path: path.stem)
def test_every_name_it_takes_from_the_package_is_there(path: Path) -> None:
    """Also in branches that the demo site does not take, which no run would find."""
    code = "\n".join(source_of(cell) for cell in cells_of(path) if cell["cell_type"] == "code")
    tree, modules = ast.parse(code), {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("solarcalc"):
            home = importlib.import_module(str(node.module))
            for alias in node.names:
                if not hasattr(home, alias.name):
                    importlib.import_module(f"{node.module}.{alias.name}")
                modules[alias.asname or alias.name] = getattr(home, alias.name)
    gone = [
        f"{node.value.id}.{node.attr}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and node.value.id in modules
        and not hasattr(modules[node.value.id], node.attr)
    ]
    assert not gone, gone
