"""The walk: a module imports the floor or what stands before it, and heavy libraries have doors."""

from __future__ import annotations

import ast
from pathlib import Path

import networkx
import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "solarcalc"

WALK = (
    "basis", "sitefile", "survey", "loads", "sun", "weather", "sky", "roof", "shading", "circuit",
    "soiling", "snow", "energy", "sweep", "battery", "supply", "wiring", "protection", "earthing",
    "powerroom", "structure", "installation", "siteyear", "commissioning", "programme", "quote",
    "stages", "sitepack", "design", "variants", "search", "guesses", "followup", "diagrams",
    "figures", "page", "report", "views", "documents", "panels", "lessons", "checking", "batch",
    "cli", "__main__",
)
DOORS = {
    "pvlib": {
        "sun", "weather", "sky", "shading", "circuit", "soiling", "snow", "energy", "sweep",
        "commissioning", "followup",
    },
    "numba": {"sweep", "supply"},
    "matplotlib": {"figures", "page", "panels", "documents", "lessons", "batch"},
    "papermill": {"batch"},
    "ipywidgets": {"panels"},
    "pydantic": {"sitefile"},
    "rainflow": {"battery"},
    "openpyxl": {"quote", "survey"},
    "rdtools": {"followup"},
    "typst": {"report", "documents"},
    "PIL": {"figures", "report", "documents"},
    "tomllib": {"sitefile", "basis"},
}
"""Library: the stages that may import it. ``batch`` warms matplotlib up for its kernels;
``documents`` takes the letters that come with it."""


def stage_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports_of(path: Path, *, top_only: bool = False) -> list[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = tree.body if top_only else ast.walk(tree)
    found = []
    for node in nodes:
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            assert node.level == 0, f"{path}: relative import"
            if node.module == "solarcalc":
                found += [f"solarcalc.{alias.name}" for alias in node.names]
            else:
                found.append(node.module)
    return found


FILES = sorted(path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py")


def test_every_module_has_its_place_in_the_walk() -> None:
    assert {stage_of(path) for path in FILES} == set(WALK)


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_looks_back_never_ahead(path: Path) -> None:
    place = WALK.index(stage_of(path))
    for name in imports_of(path):
        parts = name.split(".")
        if parts[0] == "solarcalc" and len(parts) > 1 and not parts[1].startswith("__"):
            assert WALK.index(parts[1]) <= place, f"{path.name} imports {name}, which stands later"


def test_no_file_is_in_a_circle() -> None:
    """Imports inside functions and for types count as well."""
    modules = {".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts): path
               for path in FILES}  # fmt: skip
    graph: networkx.DiGraph[str] = networkx.DiGraph()
    for module, path in modules.items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                for alias in node.names:
                    for target in (f"{node.module}.{alias.name}", str(node.module)):
                        if target in modules and target != module:
                            graph.add_edge(module, target)
    assert [sorted(circle) for circle in networkx.strongly_connected_components(graph)
            if len(circle) > 1] == []  # fmt: skip


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_heavy_libraries_come_in_by_their_doors(path: Path) -> None:
    for name in imports_of(path):
        root = name.split(".")[0]
        assert stage_of(path) in DOORS.get(root, {stage_of(path)}), f"{path.name} imports {name}"


def test_the_command_line_imports_nothing_heavy_before_it_knows_the_command() -> None:
    for name in imports_of(PACKAGE / "cli.py", top_only=True):
        if name == "solarcalc.__version__":
            continue
        root, *rest = name.split(".")
        assert root not in DOORS, name
        assert root not in {"pandas", "numpy"}, name
        assert root != "solarcalc" or rest[0] == "basis", name


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_stays_readable(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    assert len(lines) <= 600
    assert lines
    assert lines[0].startswith('"""'), "a module says in its first line what it is for"
