"""A survey to fill in, with what site files say already: a spreadsheet, a page for a phone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import write_whole
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import plain
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.survey_fields import Value
from solarcalc.survey.known import known_answers
from solarcalc.survey.phone import phone_html
from solarcalc.survey.workbook import survey_xlsx


def write_spreadsheet(path: Path, sites: Sequence[Path], *, rows: bool) -> list[str]:
    """Write a spreadsheet of a survey; gives notes on what of site files it cannot hold.

    Raises
    ------
    InputError
        For a site file that is not valid, a name of another ending, or when there is a file
        already.
    """
    _check_ending(path, "--xlsx", ".xlsx")
    known, notes = _known(sites)
    _put(path, survey_xlsx(known, rows=rows))
    return notes


def write_phone(path: Path, sites: Sequence[Path]) -> list[str]:
    """Write the page for a phone, of at most one site; gives notes as `write_spreadsheet`.

    Raises
    ------
    InputError
        As `write_spreadsheet`, and for more sites than one.
    """
    if len(sites) > 1:
        raise InputError(Fault(where="SITE", given=f"{len(sites)} sites with --phone",
                               allowed="at most one"))  # fmt: skip
    _check_ending(path, "--phone", ".html")
    known, notes = _known(sites)
    _put(path, phone_html(known[0] if known else {}).encode())
    return notes


def _check_ending(path: Path, where: str, ending: str) -> None:
    """No other: by its ending a file is opened, and read back."""
    if path.suffix.lower() != ending:
        raise InputError(Fault(where=where, given=str(path),
                               allowed=f"a file that ends in {ending}"))  # fmt: skip


def _put(path: Path, content: bytes) -> None:
    if path.exists():
        raise InputError(Fault(where=str(path), **worded("survey", "survey-there")))
    try:
        write_whole(path, content)
    except OSError as error:
        raise InputError(Fault(where=str(path), given=error.strerror or str(error),
                               allowed="a folder that exists and may be written")) from None


def _known(sites: Sequence[Path]) -> tuple[list[Mapping[str, Value]], list[str]]:
    faults: list[Fault] = []
    found: list[Mapping[str, Value]] = []
    notes: list[str] = []
    for path in sites:
        try:
            sitefile = read_site(path)
        except InputError as error:
            faults += error.faults
            continue
        values, left = known_answers(sitefile)
        found.append(values)
        if left:
            notes.append(f"{path}: not in the survey, stays in the site file:"
                         f" {', '.join(map(plain, left))}")  # fmt: skip
    if faults:
        raise InputError(faults)
    return found, notes
