"""What a workbook found, as its last output: one sentence, named values, checks."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict

from solarcalc.basis.errors import InputError
from solarcalc.basis.verdict import Verdict, worst_first
from solarcalc.page.publish import MARKS, RESULTS_MIME, fault, publish, with_unit

_NAME = re.compile(r"^[a-z][a-z0-9_]*$")
_MOST_DIGITS = 9
"""A float in the results with more significant digits than this has not been rounded."""


def show_results(
    *, answer: str, values: Mapping[str, float | int | str], verdicts: Sequence[Verdict] = ()
) -> None:
    """Show what the workbook found: one sentence, named values, checks. Its last output.

    Parameters
    ----------
    answer : str
        One sentence that answers the question of the workbook.
    values : mapping of str to float, int or str
        Names with the unit last (``yearly_energy_kwh``); floats already rounded for a reader.
    verdicts : sequence of Verdict
        Checks made in this workbook.

    Raises
    ------
    InputError
        For an empty answer, a name that is not plain, a value that is not a finite number or a
        text, or a float with more than nine significant digits (it has not been rounded).
    """
    plain = _checked_values(answer, values)
    width = max((len(name) for name in plain), default=0)
    lines = [answer, ""] + [f"{name:<{width}} = {value}" for name, value in plain.items()]
    ordered = worst_first(verdicts)
    if ordered:
        lines += [""] + [_verdict_line(verdict) for verdict in ordered]
    record = {"answer": answer, "values": plain, "order": list(plain),  # files sort their keys
              "verdicts": [asdict(verdict) for verdict in ordered]}
    publish({RESULTS_MIME: record, "text/plain": "\n".join(lines)})


def _checked_values(
    answer: str, values: Mapping[str, float | int | str]
) -> dict[str, float | int | str]:
    faults = []
    if not answer.strip():
        faults.append(fault("show_results: answer", repr(answer), "a sentence"))
    plain: dict[str, float | int | str] = {}
    for name, given in values.items():
        value = given.item() if hasattr(given, "item") else given  # numpy scalar to Python's own
        where = f"show_results: {name}"
        if not _NAME.match(name):
            faults.append(fault(where, name, "a to z first, then a to z, 0 to 9 and _"))
        if isinstance(value, bool) or not isinstance(value, (int, float, str)):
            faults.append(fault(where, repr(value), "a number or a text"))
        elif isinstance(value, float) and not math.isfinite(value):
            faults.append(fault(where, repr(value), "a finite number",
                                 "say in words that there is no such value"))
        elif isinstance(value, float) and _digits_of(value) > _MOST_DIGITS:
            faults.append(fault(where, repr(value),
                                 f"at most {_MOST_DIGITS} significant digits", "round() it"))
        else:
            plain[name] = value + 0.0 if isinstance(value, float) else value  # -0.0 becomes 0.0
    if faults:
        raise InputError(faults)
    return plain


def _digits_of(value: float) -> int:
    return len(repr(value).partition("e")[0].replace(".", "").strip("-0"))


def _verdict_line(verdict: Verdict) -> str:
    line = (f"{MARKS[verdict.outcome]}: {verdict.item}: "
            f"{with_unit(verdict.found, verdict.unit)}, "
            f"limit {with_unit(verdict.limit, verdict.unit)} ({verdict.clause})")
    return f"{line}; {verdict.remedy}" if verdict.remedy else line
