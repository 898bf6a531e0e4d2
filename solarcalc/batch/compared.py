"""Sites and variants side by side: on the terminal, as JSON, as a table or a page in a file."""

from __future__ import annotations

import json
import shutil
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.design import Design, open_design
from solarcalc.documents.html import document_html
from solarcalc.documents.tree import Block, Document, Head, sentence, table
from solarcalc.quote.export import table_csv, write_bytes
from solarcalc.sitefile.base import shown
from solarcalc.sitefile.named import site_and_variant
from solarcalc.variants import compare, compared_rows, differing, money_of, variants_of

SAME = "no differences"
_LABEL, _LEAST, _GAP = 44, 14, 2
ENDINGS = (".csv", ".html")


def designs_of(words: Sequence[str]) -> dict[str, Design]:
    """Designs by the word that asks for each, ``SITE`` or ``SITE:variant``; of one site all.

    Raises
    ------
    InputError
        With every fault of every word; for one site that has no variants.
    """
    opened: dict[Path, Design] = {}
    found: dict[str, Design] = {}
    faults: list[Fault] = []
    for word in words:
        try:
            path, variant = site_and_variant(word)
            own = opened.get(path.absolute()) or open_design(path)
            opened[path.absolute()] = own
            design = own.variant(variant) if variant else own
            money_of(design)  # what cannot be built is told here
            found[_column(word, found)] = design
        except InputError as error:
            faults += [replace(fault, where=f"{word}: {fault.where}") for fault in error.faults]
    if faults:
        raise InputError(faults)
    if len(words) > 1:
        return found
    (own,) = found.values()
    if len(of_one := variants_of(own)) > 1:
        return of_one
    raise InputError(Fault(
        where="SITE", given=shown(words[0]), allowed="two or more sites or variants, SITE:VARIANT",
        why="a single site is compared with its [[variants]], and this one has none",
    ))  # fmt: skip


def _column(word: str, taken: Mapping[str, Design]) -> str:
    """A name for a column that no other has."""
    name, number = word, 1
    while name in taken:
        number += 1
        name = f"{word} ({number})"
    return name


def json_of(compared: pd.DataFrame) -> str:
    """Every row with its values by column, and whether they differ."""
    unlike = set(differing(compared).index)
    rows = [{"quantity": name, "differs": name in unlike, "values": row.to_dict()}
            for name, row in compared.iterrows()]  # fmt: skip
    return json.dumps({"columns": list(compared.columns), "rows": rows}, indent=1,
                      allow_nan=False)  # fmt: skip


def text_lines(compared: pd.DataFrame, *, wide: int) -> Iterator[str]:
    """The table in lines of at most so many letters, as far as its columns leave room."""
    rows = compared_rows(compared)
    heads = list(compared.columns)
    each = max(_LEAST, (wide - _LABEL) // max(len(heads), 1) - _GAP)
    yield from _lines("", heads, each)
    for row in rows:
        yield from _lines(str(row["quantity"]), [str(row[head]) for head in heads], each)
    if differing(compared).empty:
        yield SAME
    elif alike := _alike(compared):
        yield f"{SAME}: {'; '.join(alike)}"


def _alike(compared: pd.DataFrame) -> list[str]:
    """Columns that are the same as one before them in every row, each beside that one."""
    heads = list(map(str, compared.columns))
    return [f"{head} and {before}" for place, head in enumerate(heads)
            if (before := next((one for one in heads[:place]
                                if compared[one].equals(compared[head])), ""))]  # fmt: skip


def _lines(label: str, cells: Sequence[str], each: int) -> Iterator[str]:
    """A row of the table: long cells run on in the lines below."""
    parts = [textwrap.wrap(label, _LABEL) or [""],
             *(textwrap.wrap(cell, each) or [""] for cell in cells)]  # fmt: skip
    for number in range(max(map(len, parts))):
        said = [part[number] if number < len(part) else "" for part in parts]
        gap = " " * _GAP
        yield gap.join([said[0].ljust(_LABEL), *(one.ljust(each) for one in said[1:])]).rstrip()


def check_out_file(path: Path) -> None:
    """InputError for a file that is neither CSV nor HTML, or has no folder to stand in."""
    if path.suffix.lower() not in ENDINGS:
        raise InputError(Fault(where="--out", given=str(path),
                               allowed="a file that ends in " + " or ".join(ENDINGS)))
    if path.is_dir() or not path.absolute().parent.is_dir():
        raise InputError(Fault(where="--out", given=str(path), allowed="a file in a folder that"
                               " exists"))  # fmt: skip


def write_compared(compared: pd.DataFrame, designs: Mapping[str, Design], path: Path) -> None:
    """Write the table as CSV or as a page, by the ending of the file.

    Raises
    ------
    InputError
        As `check_out_file`, and where the file cannot be written.
    """
    check_out_file(path)
    content = (table_csv(compared_rows(compared)) if path.suffix.lower() == ".csv"
               else document_html(_page(compared, designs)).encode())  # fmt: skip
    write_bytes(path, content)


def _page(compared: pd.DataFrame, designs: Mapping[str, Design]) -> Document:
    heads = list(map(str, compared.columns))
    rows = [[str(row[name]) for name in ("quantity", *heads)] for row in compared_rows(compared)]
    blocks: list[Block] = [table(["", *heads], rows, right=range(1, len(heads) + 1))]
    if differing(compared).empty:
        blocks.append(sentence(f"There are {SAME}."))
    elif alike := _alike(compared):
        blocks.append(sentence(f"There are {SAME} between {'; '.join(alike)}."))
    return Document(
        code="IX", look="index", stamp=example_words(designs).upper(), blocks=tuple(blocks),
        head=Head(site="Sites and variants compared", number="", revision="", status="",
                  title="Comparison"),
    )  # fmt: skip


def example_words(designs: Mapping[str, Design]) -> str:
    """What of the designs is invented; empty where nothing is."""
    found = dict.fromkeys(what for one in designs.values() for what in one.example_of)
    return f"example: {' and '.join(found)} invented" if found else ""


def compared_sites(words: Sequence[str]) -> tuple[pd.DataFrame, dict[str, Design]]:
    """Table and designs of the words of a command.

    The table as `compare` gives it.
    """
    designs = designs_of(words)
    return compare(designs), designs


def printed(compared: pd.DataFrame, designs: Mapping[str, Design]) -> str:
    """The table as wide as the terminal is, and under it what is invented.

    `compared` as `solarcalc.variants.compare`.
    """
    wide = shutil.get_terminal_size((120, 24)).columns
    note = example_words(designs)
    return "\n".join([*text_lines(compared, wide=wide), *([note] if note else [])])
