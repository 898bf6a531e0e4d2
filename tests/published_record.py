"""What the tests of published figures compare: each figure with what we obtain for it.

``pytest -m published --published-to FILE`` writes one JSON file: a line of the page "How right is
it?" for every comparison with a figure of ``tests/published``, by `pytest.approx`, by
`numpy.testing.assert_allclose` or by ``==``. A figure that a test compares in another way is noted
by the fixture `compared`. Without the option nothing is noted.
"""

from __future__ import annotations

import json
import math
import platform
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

ORIGINS = ("printed", "worked", "remembered")
SCALES = (1.0, 100.0, 0.01, 1000.0, 0.001)
"""A test may compare a percentage as a fraction, or kilowatts as watts."""
LIBRARIES = ("pvlib", "pandas", "numpy", "scipy")


def figures_of(case: Mapping[str, Any]) -> Iterator[tuple[str, str, float]]:
    """Origin, name and value of every figure that a case expects."""
    for origin in ORIGINS:
        if origin in case:
            for name, value in _leaves(case[origin], ""):
                yield origin, name, value


def _leaves(value: Any, name: str) -> Iterator[tuple[str, float]]:
    if isinstance(value, Mapping):
        for key, one in value.items():
            yield from _leaves(one, f"{name} {key}".strip())
    elif isinstance(value, list | tuple) or (isinstance(value, np.ndarray) and value.ndim):
        for number, one in enumerate(value, start=1):
            yield from _leaves(one, f"{name} {number}".strip())
    elif isinstance(value, int | float | np.number | np.ndarray) and not isinstance(value, bool):
        yield name, float(value)


at_work: list[Notes] = []
"""The notes of the test that runs, if it keeps any."""


class _Noted:
    """A figure of a case, or several, noted where a test finds them equal to ours."""

    __hash__ = None  # type: ignore[assignment]

    def __eq__(self, other: object) -> bool:
        notes = at_work.pop() if at_work else None
        try:
            same = bool(self.plain() == (list(other) if isinstance(other, tuple) else other))
        finally:
            if notes is not None:
                at_work.append(notes)
        if same and notes is not None and not isinstance(other, _Noted):
            notes.note(self, other, lambda _: 0.0)
        return same

    def __ne__(self, other: object) -> bool:
        return not self == other


class Real(_Noted, float):
    __hash__ = float.__hash__

    def plain(self) -> float:
        return float(self)


class Whole(_Noted, int):
    __hash__ = int.__hash__

    def plain(self) -> int:
        return int(self)


class Several(_Noted, list):
    def plain(self) -> list[Any]:
        return list(self)


def noting(case: Mapping[str, Any]) -> dict[str, Any]:
    """A case whose figures note what they are found equal to."""
    names = {"figure", *(case["figure"] if isinstance(case["figure"], Mapping) else ())}
    return {key: _noting(value) if key in names else value for key, value in case.items()}


def _noting(value: Any) -> Any:
    if isinstance(value, list):
        kept = [_noting(one) for one in value]
        return Several(kept) if all(isinstance(one, Real | Whole) for one in kept) else kept
    if isinstance(value, dict):
        return {key: _noting(one) for key, one in value.items()}
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    return Real(value) if isinstance(value, float) else Whole(value)


class Notes:
    """What one test compares with the figures of its cases."""

    def __init__(self, cases: Sequence[tuple[str, Mapping[str, Any]]], rows: list[dict[str, Any]]):
        self.rows = rows
        self._figures = [
            (file, case, origin, name, value)
            for file, case in cases for origin, name, value in figures_of(case)
        ]
        self._taken: set[int] = set()
        ends = [0]
        for _, one in cases:
            ends.append(ends[-1] + sum(1 for _ in figures_of(one)))
        self._cases = [range(*pair) for pair in pairwise(ends)]

    def note(self, expected: Any, obtained: Any, tolerance: Any) -> None:
        """Note each expected figure that the cases have; `tolerance` maps it to its own [same]."""
        wanted = [value for _, value in _leaves(expected, "")]
        if isinstance(expected, Mapping) and isinstance(obtained, Mapping):
            obtained = {key: obtained[key] for key in expected if key in obtained}
        if hasattr(obtained, "to_numpy"):
            obtained = obtained.to_numpy()
        found = [value for _, value in _leaves(obtained, "")]
        if len(wanted) == 1 and len(found) > 1:  # one figure for all: what is farthest from it
            found = [max(found, key=lambda one: abs(one - wanted[0]))]
        if len(wanted) != len(found) or not wanted:
            return
        for scale in SCALES:
            for within in self._cases:
                places = self._places(within, [value * scale for value in wanted])
                if places is not None:
                    for place, value, one in zip(places, wanted, found, strict=True):
                        self._add(place, one * scale, float(tolerance(value)) * scale)
                    return

    def compared(self, expected: Any, obtained: Any, *, abs: float = 0.0, rel: Any = 0.0) -> None:
        """Note figures that the test compares in its own way, within `abs` or shares `rel`."""
        if np.ndim(rel):
            for one, other, share in zip(expected, obtained, rel, strict=True):
                self.compared(one, other, rel=share)
            return
        self.note(expected, obtained, lambda value: max(abs, rel * np.abs(value)))

    def _places(self, within: range, wanted: Sequence[float]) -> list[int] | None:
        """Where the figures of one case are these, each once; what was not yet noted comes first.

        None where one of them is not among its figures.
        """
        places: list[int] = []
        for value in wanted:
            alike = [
                number for number in within if number not in places
                and math.isclose(self._figures[number][-1], value, rel_tol=1e-12, abs_tol=1e-15)
            ]  # fmt: skip
            if not alike:
                return None
            later = [one for one in alike if not places or one > places[-1]] or alike
            places.append(next((one for one in later if one not in self._taken), later[0]))
        return places

    def _add(self, number: int, obtained: float, tolerance: float) -> None:
        self._taken.add(number)
        file, case, origin, name, value = self._figures[number]
        self.rows.append({
            "file": file, "id": case["id"], "source": case["source"], "at": case["at"],
            "origin": origin, "quantity": f"{case.get('quantity', '')} {name}".strip(),
            "expected": value, "obtained": obtained, "tolerance": tolerance,
            "differs_because": case.get("differs_because", ""),
        })  # fmt: skip


class Noting:
    """Stands in for `pytest.approx`: notes what is compared with it, and then compares."""

    __array_ufunc__ = None
    __array_priority__ = 100
    __hash__ = None  # type: ignore[assignment]

    def __init__(self, real: Any, notes: Notes, expected: Any, kept: Mapping[str, Any]) -> None:
        self._real, self._notes, self._expected = real, notes, expected
        self._rel, self._abs = kept.get("rel"), kept.get("abs")

    def _tolerance(self, expected: float) -> float:
        if self._rel is None and self._abs is not None:
            return float(self._abs)
        rel = 1e-6 if self._rel is None else float(self._rel)
        return max(rel * abs(expected), 1e-12 if self._abs is None else float(self._abs))

    def __eq__(self, other: object) -> bool:
        self._notes.note(self._expected, other, self._tolerance)
        at_work.pop()
        try:
            return bool(self._real == other)
        finally:
            at_work.append(self._notes)

    def __ne__(self, other: object) -> bool:
        return not self == other

    def __repr__(self) -> str:
        return repr(self._real)


def watch(monkeypatch: pytest.MonkeyPatch, notes: Notes) -> Iterator[None]:
    """Note what this test compares, until it ends."""
    approx, allclose = pytest.approx, np.testing.assert_allclose

    def noting_approx(expected: Any, rel: Any = None, abs: Any = None, nan_ok: bool = False) -> Any:
        real = approx(expected, rel=rel, abs=abs, nan_ok=nan_ok)
        return Noting(real, notes, expected, {"rel": rel, "abs": abs})

    def noting_allclose(actual: Any, desired: Any, rtol: float = 1e-7, atol: float = 0.0,
                        **kept: Any) -> None:  # fmt: skip
        notes.note(desired, actual, lambda value: atol + rtol * abs(value))
        at_work.pop()
        try:
            allclose(actual, desired, rtol=rtol, atol=atol, **kept)
        finally:
            at_work.append(notes)

    monkeypatch.setattr(pytest, "approx", noting_approx)
    monkeypatch.setattr(np.testing, "assert_allclose", noting_allclose)
    at_work.append(notes)
    yield
    at_work.clear()


def write_record(path: Path, tests: Mapping[str, tuple[str, list[dict[str, Any]]]]) -> None:
    """Write the comparisons of a run; `tests` has outcome and rows by the name of a test."""
    rows = [row | {"test": test.partition("[")[0], "outcome": outcome}
            for test, (outcome, found) in sorted(tests.items()) for row in found]  # fmt: skip
    said = {
        "made": datetime.now(UTC).strftime("%Y-%m-%d"),
        "python": platform.python_version(),
        "libraries": {name: version(name) for name in LIBRARIES},
        "tests": {test: outcome for test, (outcome, _) in sorted(tests.items())},
        "figures": rows,
    }
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(said, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
