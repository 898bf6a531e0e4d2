"""Constants, published tables and works, each with its source and how that was seen."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

from generate.markdown import code, contents, table, text

from solarcalc.basis.files import csv_lines, data_folder
from solarcalc.basis.published import published
from solarcalc.basis.sourced import HOW_SEEN, printed_source, works

SEEN = (
    ("read", "the work itself was read"),
    ("quoted", "another text that cites the work was read"),
    ("worked", "worked out from others, as the source says"),
    ("from memory", "nobody opened it"),
    ("common practice, no source", "usual in the trade; no work is known that says it"),
)


def pages(_: Path) -> Iterator[tuple[str, str]]:
    """Constants stage by stage, tables, works."""
    stages = sorted(path.stem for path in (data_folder() / "constants").glob("*.csv")
                    if path.stem != "site_defaults")  # fmt: skip
    how = table(("seen", "meaning"), [(text(word), text(said)) for word, said in SEEN])
    yield "constants.md", "\n\n".join([
        "# Constants and their sources",
        "A constant cannot be used without a source; each stands in `data/constants/`. How the"
        " source was seen:", how, contents(f"constants/{stage}" for stage in stages),
    ]) + "\n"  # fmt: skip
    for stage in stages:
        rows = csv.DictReader(csv_lines(data_folder() / "constants" / f"{stage}.csv"))
        yield f"constants/{stage}.md", "\n\n".join([
            f"# {stage}: constants",
            table(("constant", "value", "unit", "name in the code", "source", "seen"), [
                (text(row["label"]), text(row["value"]), text(row["unit"]), code(row["name"]),
                 text(printed_source(row["source"], row["seen"])), text(row["seen"]))
                for row in rows]),
        ]) + "\n"  # fmt: skip
    yield "tables.md", _tables()
    yield "works.md", "\n\n".join([
        "# Works",
        "What the short names of sources stand for.",
        table(("short name", "work", "used for", "seen"),
              [(text(one.name), text(one.work), text(one.used_for),
                text(HOW_SEEN.get(one.seen, one.seen))) for one in works()]),
    ]) + "\n"  # fmt: skip


def _tables() -> str:
    rows = []
    for path in sorted((data_folder() / "tables").glob("*.csv")):
        head = published(path.stem).headings
        note = f"{head['seen']}; {head['note']}" if head["note"] != "-" else head["seen"]
        where = ", ".join(head[key] for key in ("source", "edition", "clause") if head[key] != "-")
        rows.append((code(path.stem), text(head["title"]), text(where), text(head["range"]),
                     text(head["between"]), text(note)))  # fmt: skip
    return "\n\n".join([
        "# Published tables",
        "Each is one file in `data/tables/`; its figures are held to something outside the project"
        " wherever that was found (`tests/table_columns.py`). A figure that is wrong is put right"
        " in that file.",
        table(("table", "what it gives", "source", "range", "between rows", "seen"), rows),
    ]) + "\n"  # fmt: skip
