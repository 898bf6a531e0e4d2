"""The sheet as a CSV file: written blank, read back filled in. A file that is read is not changed.

Columns: id, value and unit; irradiance_w_m2 and cell_c beside a string's voltage or current;
note, who and when. The columns what, where and expected stand there for the reader's eye.
Lines that begin with # are words.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.filled_csv import blank_list, filled_rows, head_faults, shown, sound
from solarcalc.basis.messages import PATTERN, languages
from solarcalc.basis.phrases import listed, phrase
from solarcalc.basis.text import guard_cell, nearest
from solarcalc.basis.typed import pointed, readings_of
from solarcalc.commissioning.line import YES_NO, TestLine
from solarcalc.sitefile.programme import day_told

ASKED = ("id", "value", "unit")
EXTRA = ("irradiance_w_m2", "cell_c", "note", "who", "when")
FOR_THE_EYE = ("what", "where", "expected")
COLUMNS = ("id", "what", "where", "expected", *ASKED[1:], *EXTRA)
LIGHT_RANGE_W_M2, CELL_RANGE_C = (1.0, 1500.0), (-40.0, 110.0)
"""What an instrument can show outdoors; common practice, no source."""
_SAME_UNIT = {"ohm": "Ω", "Ohm": "Ω", "Mohm": "MΩ", "MOhm": "MΩ", "megohm": "MΩ", "degC": "°C",
              "ohms": "Ω", "Ohms": "Ω", "OHM": "Ω", "OHMS": "Ω", "Mohms": "MΩ", "megohms": "MΩ"}
"""Other spellings of a unit; small and large letters count, as mΩ is not MΩ."""
_LEAVE_EMPTY = "leave the value empty: not done; say why in the note"
_TOO_MANY = ""
"""Key of cells that have no column."""
_RANGE_EXCEEDED = frozenset({"ol", "o.l", "0l", "0.l", "o/l", "or", "overrange", "over", "∞",
                             "inf"})  # fmt: skip
"""What instruments show beyond their range, in small letters; from memory."""
_NOT_DONE = frozenset({"n/a", "na", "n.a.", "-", "--", "?", "none", "not done", "tbd", "sans objet",
                       "s.o.", "pas fait", "non fait", "nd", "n.d.", "not measured"})
"""What people write where they measured nothing; from memory."""
_NUMBER = re.compile(r"^[+-]?\d+(\.\d*)?$|^[+-]?\.\d+$")


@dataclass(frozen=True, kw_only=True)
class Result:
    """One filled-in line.

    Parameters
    ----------
    id : str
    value : float or bool
        In the unit of the sheet; True or False for yes or no.
    beyond : bool
        The instrument only says: more than `value`.
    light_w_m2, cell_c : float or None
        Of the same minute, where the line asks for them [W/m2], [degC].
    note, who, when : str
    row : int
        Line of the file, from 1.
    """

    id: str
    value: float | bool
    beyond: bool
    light_w_m2: float | None
    cell_c: float | None
    note: str
    who: str
    when: str
    row: int


def blank_csv(
    lines: Sequence[TestLine], *, head: Sequence[str] = (), language: str = PATTERN
) -> str:
    """The blank sheet as text of a CSV file.

    Parameters
    ----------
    lines : sequence of TestLine
    head : sequence of str
        Words above it, one line each.
    language : str
        Of the texts; the columns keep their names, by which they are read back.
    """
    rows = (
        [line.id, *(guard_cell(listed(text, language))
                    for text in (line.what, line.where, line.expected)), "",
         phrase(line.unit, language), *["" if line.wants_light else "-"] * 2, "", "", ""]
        for line in lines
    )  # fmt: skip
    return blank_list(COLUMNS, rows, head=head)


def read_results(path: Path, lines: Sequence[TestLine]) -> dict[str, Result]:
    """What a filled-in sheet says, by the id of the line; lines left empty are left out.

    Parameters
    ----------
    path : Path
        CSV file with commas, or with semicolons as some spreadsheets write them.
    lines : sequence of TestLine
        The sheet of the site.

    Raises
    ------
    InputError
        With every fault of the file: no such file, not text, a column missing or not known, an
        id not on the sheet or twice, text where a number belongs, another unit, no irradiance
        beside a string's voltage or current, no such date.
    """
    return sound(rows_read(path, lines))


def rows_read(
    path: Path, lines: Sequence[TestLine]
) -> tuple[dict[str, Result], tuple[Fault, ...]]:
    """The rows without a fault, by the id of the line, and every fault of the others.

    A test whose row has a fault, or that has two rows, is not among them: it is not done. A file
    that is no list has no rows.

    Parameters
    ----------
    path, lines
        As for `read_results`.
    """
    try:
        rows, heads, mark = _table(path)
    except InputError as error:
        return {}, error.faults
    known = {line.id: line for line in lines}
    faults: list[Fault] = []
    found: dict[str, Result] = {}
    seen: dict[str, int] = {}
    for number, row in rows:
        where = f"{path.name}: line {number}"
        wrong, line = _line_of(row, heads, known, seen, where)
        if line is None or wrong:
            faults += wrong
            found.pop(line.id if line else "", None)  # of two rows neither counts
        elif row["value"]:
            reader = _Reader(where=where, row=row, line=line, mark=mark, faults=[])
            result = reader.result(number)
            faults += reader.faults
            if result is not None and not reader.faults:
                found[line.id] = result
        if line is not None:
            seen[line.id] = number
    return found, tuple(faults)


def _table(path: Path) -> tuple[list[tuple[int, dict[str, str]]], list[str], str]:
    """Rows with their line numbers, the names of the columns, and what parts the cells."""
    rows, mark = filled_rows(path, where="commissioning.results", a_line="one line a test")
    if not rows:
        raise InputError(Fault(
            where=path.name, given="an empty file", allowed="the sheet of this site, filled in",
            remedy="write the blank sheet again and fill it in",
        ))  # fmt: skip
    heads = [head.lower() for head in rows[0][1]]
    faults = head_faults(f"{path.name}: line {rows[0][0]}", heads, asked=ASKED,
                         known=(*ASKED, *EXTRA, *FOR_THE_EYE))  # fmt: skip
    if faults:
        raise InputError(faults)
    blank = dict.fromkeys((*ASKED, *EXTRA), "")
    return [
        (number, blank | dict(zip(heads, cells, strict=False)) | {_TOO_MANY: " ".join(
            cells[len(heads):])})
        for number, cells in rows[1:]
    ], heads, mark  # fmt: skip


def _line_of(
    row: dict[str, str], heads: list[str], known: dict[str, TestLine], seen: dict[str, int],
    where: str,
) -> tuple[list[Fault], TestLine | None]:  # fmt: skip
    """The line of the sheet that a row is about, and what is wrong with the row as such."""
    if row[_TOO_MANY]:
        return [Fault(where=where, given=f"more cells: {shown(row[_TOO_MANY])}",
                      allowed=f"{len(heads)} cells, as many as columns",
                      why="a comma inside a number or a note parts a cell in two",
                      remedy="a point in numbers; quotes around a note with commas")], None
    name = row["id"].upper()
    if name not in known:
        close = nearest(name, known)
        return [Fault(where=f"{where}: id", given=shown(row["id"]) or "nothing",
                      allowed=f"an id of this site's sheet, {_span(name, known)}",
                      remedy=f"did you mean {close}?" if close else
                      "write the blank sheet of this site again")], None
    if name in seen:
        return [Fault(where=f"{where}: id", given=f"{name}, as line {seen[name]} already",
                      allowed="each test once",
                      remedy="keep the last measurement and say so in its note")], known[name]
    return [], known[name]


def _span(name: str, known: dict[str, TestLine]) -> str:
    """First and last id of the letter that was meant, or of the sheet."""
    ids = [each for each in known if each[:1] == name[:1]] or list(known)
    return f"{ids[0]} to {ids[-1]}" if ids else "which is empty"


@dataclass(frozen=True, kw_only=True)
class _Reader:
    """One row being read; what is wrong gathers in `faults`."""

    where: str
    row: dict[str, str]
    line: TestLine
    mark: str
    faults: list[Fault]

    def result(self, number: int) -> Result | None:
        """The row as a result."""
        self._check_unit()
        self._check_when()
        value, beyond = self._value()
        light = self._beside("irradiance_w_m2", LIGHT_RANGE_W_M2, "W/m2")
        cell = self._beside("cell_c", CELL_RANGE_C, "degC")
        if value is None:
            return None
        return Result(
            id=self.line.id, value=value, beyond=beyond, light_w_m2=light, cell_c=cell,
            note=self.row["note"], who=self.row["who"], when=self.row["when"], row=number,
        )  # fmt: skip

    def _fault(self, field: str, given: str, allowed: str, why: str = "", remedy: str = "") -> None:
        self.faults.append(Fault(where=f"{self.where}: {self.line.id} {field}",
                                 given=shown(given) or "nothing", allowed=allowed, why=why,
                                 remedy=remedy))

    def _check_unit(self) -> None:
        given = self.row["unit"]
        if _plain(given) not in {_plain(phrase(self.line.unit, one)) for one in languages()}:
            remedy = f"work the value out in {self.line.unit} and write that" if given else \
                f"write {self.line.unit} beside it if the value is in that"
            if given.isdigit():
                remedy = "a comma inside the number parted it in two: write a point"
            self._fault("unit", given, self.line.unit,
                        "a reading in another unit is wrong by its factor", remedy)

    def _check_when(self) -> None:
        if self.row["when"]:
            try:
                datetime.fromisoformat(self.row["when"])
            except ValueError:
                why, remedy = day_told(self.row["when"])
                self._fault("when", self.row["when"],
                            "a day, 2027-03-14, or with a time, 2027-03-14 11:20", why, remedy)

    def _value(self) -> tuple[float | bool | None, bool]:
        given = self.row["value"]
        if self.line.unit == YES_NO:
            for said in ("yes", "no"):
                if given.lower() in {phrase(said, one) for one in languages()}:
                    return said == "yes", False
            self._fault("value", given, "yes or no", remedy=_LEAVE_EMPTY if given.lower() in
                        _NOT_DONE else "write the word: a tick or cross can be read either way")
            return None, False
        beyond = given.startswith(">") and self.line.kind == "reading"
        number = self._number("value", given.removeprefix(">").strip() if beyond else given)
        if number is not None and number < 0.0 and self.line.kind == "reading":
            self._fault("value", given, "0 or more", "no resistance, time or alternating voltage is"
                        " negative", "zero the leads of the instrument and measure again")
            return None, False
        return number, beyond

    def _number(self, field: str, given: str) -> float | None:
        number, remedy = pointed(given, self.mark), ""
        if _NUMBER.match(number) and len(number) <= 20:
            return float(number)
        if "," in given and (either := readings_of(given)):
            remedy = f"write {either[0]} or {either[1]}: the comma may part thousands"
        elif re.match(r"^[+-]?\d+,\d+$", given):
            remedy = "a point in place of the comma"
        elif field == "value" and given.lower().strip("> .") in _RANGE_EXCEEDED:
            remedy = "beyond the instrument's range: write > and the range, such as >999"
        elif given.lower() in _NOT_DONE:
            remedy = _LEAVE_EMPTY
        elif given[:1] in ("<", "~", "≈"):
            remedy = "the figure that the instrument shows, without the sign"
        elif re.match(r"^[+-]?\d+[ '’\u00a0\u2009\u202f]\d{3}$", given):
            remedy = f"{re.sub(r'[^0-9+-]', '', given)}, no mark between thousands"
        elif re.match(r"^[+-]?(\d+(\.\d*)?|\.\d+) ?[^\W\d_(]", given) or "(" in given:
            remedy = "the number alone; its unit has a column of its own, and so have notes"
        else:
            remedy = "one number in figures; words belong in the note"
        self._fault(field, given, "a number, such as 12.5", remedy=remedy)
        return None

    def _beside(self, field: str, limits: tuple[float, float], unit: str) -> float | None:
        given = self.row[field]
        if not self.line.wants_light:
            return None
        allowed = f"a number from {limits[0]:g} to {limits[1]:g} {unit}"
        if given in ("", "-"):
            self._fault(field, "", allowed, "what to expect goes by light and heat",
                        "measure again with it; without it leave the value empty: not done")
            return None
        number = self._number(field, given)
        if number is not None and not limits[0] <= number <= limits[1]:
            self._fault(field, given, allowed)
            return None
        return number


def _plain(unit: str) -> str:
    """A unit in one spelling."""
    unit = unit.replace("\u2126", "Ω")  # the sign for ohm, which looks like the Greek letter
    return _SAME_UNIT.get(unit, unit)
