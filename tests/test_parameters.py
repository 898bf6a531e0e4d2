"""What a parameters cell may hold beside the site: a wrong one is told by its name, in a box."""

from __future__ import annotations

import ast
from functools import cache
from typing import Any

import nbformat
import pytest

from solarcalc import page
from solarcalc.basis.errors import InputError
from solarcalc.basis.files import workbooks_folder
from solarcalc.design import Design, open_design
from solarcalc.views.rows import check_parameter


def own_parameters() -> dict[str, list[str]]:
    """Parameters of each workbook that are not those of all."""
    found = {}
    for path in sorted(workbooks_folder().glob("*.ipynb")):
        cells = nbformat.read(path, as_version=4).cells
        (cell,) = [one for one in cells if "parameters" in one.metadata.get("tags", [])]
        names = [one.targets[0].id for one in ast.parse(cell.source).body]
        found[path.stem] = [name for name in names if name not in ("site_file", "changes")]
    return found


WRONG = [(book, name, value) for book, names in own_parameters().items() for name in names
         for value in ("3", -1)]  # fmt: skip


@cache
def opened() -> Design:
    return open_design("coral-pharmacy")


@pytest.mark.parametrize(("book", "name", "value"), WRONG)
def test_a_wrong_value_is_told_by_the_name_of_its_parameter(
    book: str, name: str, value: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(page, "publish", lambda *_: None)
    given: dict[str, Any] = {}
    told = ""
    for cell in nbformat.read(workbooks_folder() / f"{book}.ipynb", as_version=4).cells:
        tags = set(cell.metadata.get("tags", []))
        if cell.cell_type != "code" or tags & {"explore", "exercise"}:
            continue
        try:
            exec(compile(cell.source, book, "exec"), given)
        except InputError as error:
            told = str(error)
            break
        given["open_design"] = lambda *_, **__: opened()
        given |= {name: value} if "parameters" in tags else {}
    assert name in told
    assert str(value) in told


@pytest.mark.parametrize("given", [True, float("nan"), float("inf"), None, [1], "", 1.5, 7, 0])
def test_a_count_within_limits_is_one_of_them_and_nothing_else(given: object) -> None:
    for right in range(1, 7):
        check_parameter("high", right, "modules", low=1, high=6)
    with pytest.raises(InputError, match="high"):
        check_parameter("high", given, "modules", low=1, high=6)
