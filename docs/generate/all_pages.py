"""Every page that is made from the code and the data; a page that has not changed is left alone."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from generate import (
    commands,
    explanation,
    figures_from_outside,
    lessons,
    models,
    modules,
    site_file,
    tutorial,
    workbooks,
)

PAGES = (site_file, workbooks, lessons, commands, modules, models, explanation,
         figures_from_outside, tutorial)  # fmt: skip


def write_all(folder: Path) -> None:
    """Write the pages into `folder`, and take away those that are made no more."""
    made = dict(all_pages(folder))
    for name, words in made.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.is_file() or path.read_text(encoding="utf-8") != words:
            path.write_text(words, encoding="utf-8")
    for path in folder.rglob("*.md"):
        if path.relative_to(folder).as_posix() not in made:
            path.unlink()


def all_pages(folder: Path) -> Iterator[tuple[str, str]]:
    """Path below ``docs/made`` and words of each page."""
    for module in PAGES:
        yield from module.pages(folder)
