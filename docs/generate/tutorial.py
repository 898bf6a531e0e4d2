"""What `solarcalc check` prints in the tutorial, of the example as it stands."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from solarcalc.checking.lines import answer_of

EXAMPLES = Path(__file__).resolve().parents[1] / "examples"
STEPS = {"first": ("hill-street-shop.toml",),
         "mended": ("hill-street-shop.toml", "hill-street-shop-more.toml")}
SHOWN = ("array", "loads", "battery", "energy", "price", "failed", "stage", "open", "next")
"""First words of the lines that the tutorial shows, beside the very first line."""


def pages(_: Path) -> Iterator[tuple[str, str]]:
    """A text for each step."""
    for name, files in STEPS.items():
        yield f"tutorial/{name}.txt", check_of(files)


def check_of(files: Sequence[str]) -> str:
    """Lines of the check of a site file that is written of these, one after the other."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "hill-street-shop.toml"
        path.write_text("".join((EXAMPLES / name).read_text(encoding="utf-8") for name in files),
                        encoding="utf-8")
        first, *lines = answer_of(path).text.replace(str(path), path.name).splitlines()
    return "\n".join([first, *(line for line in lines if line.split()[:1][0] in SHOWN)]) + "\n"
