"""Site files from what was filled in: a spreadsheet of many sites, or the file of a phone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.filled_csv import shown
from solarcalc.basis.text import safe_file_name
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import plain
from solarcalc.sitefile.read import surveyed_site
from solarcalc.sitefile.survey import TABLE, default_value, put_answer, read_answers
from solarcalc.sitefile.survey_fields import (
    Answers,
    Field,
    by_key,
    kind_told,
    read_value,
    refused,
    unknown_key,
)
from solarcalc.sitefile.survey_lines import read_load_part
from solarcalc.sitefile.survey_text import short_text, write_files
from solarcalc.sitefile.template import survey_lines
from solarcalc.sitefile.toml import read_content, read_toml
from solarcalc.survey.cells import hold_shape, is_filled, is_hidden, open_book, place_of, value_of
from solarcalc.survey.layout import (
    FIRST_SITE_ROW,
    HEADS,
    LISTS,
    MOST_COLUMNS,
    PARTS,
    VALUE_COLUMN,
    parts_of,
)
from solarcalc.survey.lines import Cell, line_of_cells

_HEAD_ROWS = 12
_FEWEST_KEYS = 3
"""Keys in row 1 by which a sheet of many sites is known."""
_FEWEST_COLUMNS = VALUE_COLUMN + max(len(parts.names) for parts in PARTS.values())


@dataclass(kw_only=True)
class Read:
    """What a file of a survey held.

    Parameters
    ----------
    sites : list of Answers
        In the order of the file.
    notes : list of str
        Cells that were not read, and those left empty beside filled ones.
    faults : list of Fault
    """

    sites: list[Answers] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    @contextmanager
    def gathering(self) -> Iterator[None]:
        """What is refused inside is one more fault, and the rest is still read."""
        try:
            yield
        except InputError as error:
            self.faults += error.faults


@dataclass(frozen=True, kw_only=True)
class Surveyed:
    """Site files written, each with lines on what it left out, and notes on the survey."""

    written: tuple[tuple[Path, tuple[str, ...]], ...]
    notes: tuple[str, ...]


def write_surveyed(source: Path, folder: Path) -> Surveyed:
    """Short site files of all sites of a survey, checked as they will stand: all or none.

    Parameters
    ----------
    source : Path
        ``.xlsx``, or the ``.toml`` of a phone.
    folder : Path
        An existing folder.

    Raises
    ------
    InputError
        With every fault, named by cell or line; nothing is written then.
    """
    texts, lines, notes = _texts_of(source, folder)
    written = tuple(zip(write_files(texts, folder), lines, strict=True))
    return Surveyed(written=written, notes=notes)


def surveyed_files(source: Path) -> tuple[list[Path], list[str]]:
    """Site files of all sites of a survey, beside it: those that are missing are written.

    One that stands there already is taken as it is, since a job goes on in its site file: where it
    says something else than the survey, that is told.

    Parameters
    ----------
    source : Path
        ``.xlsx``, or the ``.toml`` of a phone.

    Returns
    -------
    tuple of list of Path, list of str
        The files, and what is to be said of them.

    Raises
    ------
    InputError
        With every fault, named by cell or line; nothing is written then.
    """
    folder = source.absolute().parent
    texts, _, notes = _texts_of(source, folder)
    paths = [folder / f"{safe_file_name(name)}.toml" for name, _ in texts]
    said = [f"{path}: differs from {source.name} and is taken as it stands; delete it to take what"
            " the survey says"
            for path, (_, text) in zip(paths, texts, strict=True)
            if path.exists() and read_content(path) != text.encode()]  # fmt: skip
    new = [one for path, one in zip(paths, texts, strict=True) if not path.exists()]
    written = write_files(new, folder)
    if written:
        said.append(f"wrote {len(written)} site file{'s' * (len(written) > 1)} beside {source}")
    return paths, [*said, *notes]


def _texts_of(
    source: Path, folder: Path
) -> tuple[list[tuple[str, str]], list[tuple[str, ...]], tuple[str, ...]]:
    """Name and text of each site file, lines on what it left out, notes on the survey."""
    read = read_survey(source)
    if read.faults:
        raise InputError(read.faults)
    texts, lines = [], []
    for answers in read.sites:
        name = str(answers.values.get("name", default_value("name")))
        try:
            site = surveyed_site(answers, {}, (folder / f"{safe_file_name(name)}.toml").absolute())
        except InputError as error:
            read.faults += error.faults
            continue
        assert site.survey is not None, "a surveyed site has its survey"
        texts.append((name, short_text(answers.values)))
        lines.append(tuple(survey_lines(site.survey)))
    if read.faults:
        raise InputError(read.faults)
    return texts, lines, tuple(read.notes)


def read_survey(source: Path) -> Read:
    """Answers of all sites of a spreadsheet or of the file of a phone.

    Raises
    ------
    InputError
        When the file is no survey at all; other faults are gathered in what is given.
    """
    file = plain(source.name or str(source))
    read = Read()
    if source.suffix.lower() == ".xlsx":
        _read_book(open_book(source), file, read)
    else:
        tables = read_toml(source)
        others = sorted(tables.keys() - {TABLE})
        if others and TABLE in tables:
            raise InputError(Fault(where=file, **worded(
                "survey", "other-tables", file=file, tables=", ".join(map(plain, others)))))
        with read.gathering():
            read.sites.append(read_answers(tables.get(TABLE, tables), source, file))
    read.faults += _same_names(read.sites, file)
    if not read.faults and not any(answers.values for answers in read.sites):
        raise InputError(Fault(**worded("survey", "nothing-filled-in"), where=file))
    return read


def _same_names(sites: Sequence[Answers], file: str) -> Iterator[Fault]:
    first: dict[str, str] = {}
    for number, answers in enumerate(sites, start=1):
        name = str(answers.values.get("name", default_value("name")))
        where = answers.places.get("name", f"{file}: site {number}, its name")
        stem = safe_file_name(name)
        if stem in first:
            yield Fault(where=where, **worded("survey", "same-name", name=shown(name),
                                              first=first[stem]))  # fmt: skip
        first.setdefault(stem, where)


def _read_book(book: Any, file: str, read: Read) -> None:
    found = 0
    for sheet in book.worksheets:
        top = _head_row(sheet)
        keys = _keys_of(sheet) if top is None else []
        if top is None and len(keys) < _FEWEST_KEYS:
            if sheet.title != LISTS and any(is_filled(cell) for cell in _cells(sheet)):
                read.notes.append(f"not read: sheet {sheet.title}, which is no form of a survey")
            continue
        found += 1
        try:
            hold_shape(sheet, file)
        except InputError as error:
            read.faults += error.faults
            continue
        if top is not None:
            _read_one(sheet, top, file, read)
        else:
            _read_many(sheet, file, read)
    if not found:
        raise InputError(Fault(**worded("survey", "no-survey"), where=file))


def _cells(sheet: Any) -> Iterator[Any]:
    """The first cells of a sheet, enough to see whether there is something in it."""
    for row in sheet.iter_rows(max_row=min(sheet.max_row, 200), max_col=min(sheet.max_column, 50)):
        yield from row


def _head_row(sheet: Any) -> int | None:
    """The row of a sheet of one site that has the heads of its columns."""
    for row in range(1, _HEAD_ROWS + 1):
        said = [str(sheet.cell(row, column).value or "").strip().casefold() for column in (1, 3)]
        if said == [HEADS[0].casefold(), HEADS[2].casefold()]:
            return row
    return None


def _keys_of(sheet: Any) -> list[str]:
    heads = [sheet.cell(1, column).value for column in range(1, min(sheet.max_column,
                                                                   MOST_COLUMNS) + 1)]
    return [head for head in heads if isinstance(head, str) and head.strip() in by_key()]


Row = tuple[Any, ...]
"""Cells of a row, the first in column A."""


def _rows(sheet: Any, first: int) -> Iterator[Row]:
    """Rows of a sheet from a number on, all equally long."""
    yield from sheet.iter_rows(min_row=first, max_col=max(sheet.max_column, _FEWEST_COLUMNS))


def _read_one(sheet: Any, top: int, file: str, read: Read) -> None:
    answers, lists = Answers(), dict[str, list[tuple[str, str]]]()
    for row in _rows(sheet, top + 1):
        key = str(row[0].value or "").strip()
        one, cell = by_key().get(key), row[VALUE_COLUMN - 1]
        with read.gathering():
            if one is not None and one.is_list:
                _list_row(row, one, (file, read, lists))
            elif one is not None:
                _notes(row[len(HEADS):], file, read)
                _put(answers, one, cell, file)
                _tell_hidden((cell,), file, read)
            elif key and is_filled(cell):
                read.faults.append(unknown_key(key, place_of(row[0], file), cell.value))
            elif not _is_heading(row):
                _notes(row, file, read)
    for key, found in lists.items():
        answers.values[key] = tuple(line for line, _ in found)
        answers.places[key] = f"{file}: {sheet.title}"
        answers.places |= {(key, number): where for number, (_, where) in enumerate(found)}
    if answers.values:
        read.sites.append(answers)


def _is_heading(row: Row) -> bool:
    """Whether a row without a key is one of the form's own: a group, or the heads of a list."""
    heads = {one.label: parts_of(one).heads[0] for one in by_key().values() if one.is_list}
    third = row[VALUE_COLUMN - 1].value
    return not any(map(is_filled, row[VALUE_COLUMN - 1:])) or (
        third is not None and heads.get(row[1].value) == third)


def _notes(cells: Row, file: str, read: Read) -> None:
    """Tell of what stands where nothing is read."""
    read.notes += [f"not read: {place_of(cell, file)}, {shown(str(cell.value))}"
                   for cell in cells if is_filled(cell)]  # fmt: skip


def _tell_hidden(cells: Row, file: str, read: Read) -> None:
    """Tell of what was read where nobody sees it; a group that is closed hides its rows, too."""
    read.notes += [f"read, though hidden: {place_of(cell, file)}, {shown(str(cell.value))}"
                   for cell in cells if is_filled(cell) and is_hidden(cell)]  # fmt: skip


def _put(answers: Answers, one: Field, cell: Any, file: str) -> None:
    where = place_of(cell, file)
    value = value_of(cell, where, one.unit)
    if value is not None and one.key in answers.places:
        raise InputError(Fault(where=where, **worded(
            "survey", "key-twice", key=one.key, first=answers.places[one.key])))
    put_answer(answers, one, value, where)


def _list_row(
    row: Row, one: Field, to: tuple[str, Read, dict[str, list[tuple[str, str]]]]
) -> None:
    """A row of a list, if anything is filled in: its line and where it stands."""
    file, read, lists = to
    parts = parts_of(one)
    last = VALUE_COLUMN - 1 + len(parts.names)
    cells = row[VALUE_COLUMN - 1:last]
    places = [place_of(cell, file) for cell in cells]
    values: list[Cell] = []
    faults: list[Fault] = []
    for place, cell in enumerate(cells):
        try:
            unit = parts.heads[place].partition("[")[2].rstrip("]")
            values.append(_part(one, place, value_of(cell, places[place], unit), places[place]))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    _notes(row[last:], file, read)
    if all(value is None for value in values):
        return
    needed = range(len(values)) if one.kind == "obstacles" else range(1)
    missing = [place for place in needed if values[place] is None]
    if missing:
        others = [cells[place].coordinate for place in missing[1:]]
        raise InputError(Fault(
            where=", ".join([places[missing[0]], *others]),
            allowed=", ".join(parts.heads[place] for place in missing),
            **worded("survey", "part-missing", them="them" if others else "it")))  # fmt: skip
    read.notes += [f"empty, default used: {places[place]}, {parts.heads[place]}"
                   for place, value in enumerate(values) if value is None]  # fmt: skip
    _tell_hidden(cells, file, read)
    found = read_value(one, [line_of_cells(one, values)], places[0])
    assert isinstance(found, tuple), "one line"
    lists.setdefault(one.key, []).append((found[0], places[0]))


def _part(one: Field, place: int, value: object, where: str) -> Cell:
    """One cell of a list: a number within its bounds, or a text as its line may have it."""
    if value is None:
        return None
    parts = parts_of(one)
    if place in parts.numbers:
        low, high = parts.numbers[place]
        number = read_value(Field(
            group="", key=parts.names[place], label=parts.heads[place], unit="", kind="number",
            choices=(), low=low, high=high, default="", otherwise="", path=(), first=False,
            help="",
        ), value, where)  # fmt: skip
        assert isinstance(number, float), "a number was read"
        _load_part(one, place, f"{number:g}", where)
        return number
    if not isinstance(value, str):
        raise refused(one, value, where, *kind_told(value))
    _load_part(one, place, value.strip(), where)
    return value.strip()


def _load_part(one: Field, place: int, text: str, where: str) -> None:
    """Refuse a cell of a line of loads by itself, so that the fault names it."""
    if one.kind == "loads":
        try:
            read_load_part(place, text)
        except ValueError as error:
            raise refused(one, text, where, str(error)) from None


def _read_many(sheet: Any, file: str, read: Read) -> None:
    columns: dict[int, Field] = {}
    heads = next(_rows(sheet, 1))
    for place, head in enumerate(heads):
        one = by_key().get(str(head.value or "").strip())
        if one is not None and one in columns.values():
            first = next(number for number, other in columns.items() if other is one)
            read.faults.append(Fault(where=place_of(head, file), **worded(
                "survey", "key-twice", key=one.key, first=place_of(heads[first], file))))
        elif one is not None:
            columns[place] = one
    for row in _rows(sheet, FIRST_SITE_ROW):
        answers = Answers()
        for place, cell in enumerate(row):
            key = str(heads[place].value or "").strip()
            with read.gathering():
                if place in columns:
                    _put(answers, columns[place], cell, file)
                    _tell_hidden((cell,), file, read)
                elif is_filled(cell) and key:
                    read.faults.append(unknown_key(key, place_of(cell, file), cell.value))
                else:
                    _notes((cell,), file, read)
        if answers.values:
            read.sites.append(answers)
