"""Run the workbooks and write the results cells' outputs back into them; nothing else is kept.

    python tests/refresh_results.py [WORKBOOK.ipynb ...]

Use it after a change that is meant to change numbers, and look at the difference before you
commit: what this script writes is what nbval will hold the workbooks to.
"""

from __future__ import annotations

import copy
import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient

WORKBOOKS = Path(__file__).resolve().parents[1] / "workbooks"


def refresh(path: Path) -> None:
    """Execute one workbook and keep the output of its results cell alone."""
    notebook = nbformat.read(path, as_version=4)
    run = copy.copy(notebook)  # without sliders, as the batch does; the cells are the same ones
    run.cells = [cell for cell in notebook.cells
                 if "explore" not in cell.metadata.get("tags", [])]
    resources = {"metadata": {"path": str(path.parent)}}
    NotebookClient(run, timeout=600, resources=resources).execute()
    notebook.metadata = run.metadata
    for cell in notebook.cells:
        if cell.cell_type == "code":
            kept = "results" in cell.metadata.get("tags", [])
            cell.execution_count = 1 if kept else None  # nbval compares no cell without a number
            cell.outputs = cell.outputs if kept else []
            for output in cell.outputs:
                if "execution_count" in output:
                    output["execution_count"] = 1
        cell.metadata.pop("execution", None)
    notebook.metadata.pop("widgets", None)
    notebook.metadata["language_info"] = {"name": "python"}
    nbformat.write(notebook, path)


if __name__ == "__main__":
    for name in sys.argv[1:] or sorted(WORKBOOKS.glob("*.ipynb")):
        refresh(Path(name))
        print(f"refreshed {name}")
