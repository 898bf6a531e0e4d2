"""What changed since the report before: numbers, checks, bill, cables; rows and a sentence."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

from solarcalc.basis.files import write_whole
from solarcalc.basis.quantity import in_unit, with_unit, words_and_unit
from solarcalc.batch.folders import keep_earlier, read_record

Record = Mapping[str, Any]
Kind = Literal["job", "number", "check", "bill", "cable"]
How = Literal["changed", "new", "gone", "now failed", "closed", "opened"]
JOB = ("stage", "revision", "price_status")
MAIN = (
    "price", "rated_battery_kwh", "usable_battery_kwh", "days", *JOB, "array_kwp", "demand_kwh",
    "supplied_kwh", "without_supply_h",
)  # fmt: skip
"""Of the job, in the order told, before the other values; those of `JOB` stand in the sentence."""
_LEAST_FRAC = 1e-9
"""Less than this share of a number is rounding, not a change."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """One thing that is other than before.

    Parameters
    ----------
    kind : {"job", "number", "check", "bill", "cable"}
    what : str
        In words, with its unit.
    old, new : str
        As printed; empty where it was not there, or is there no more.
    how : str
        Changed, new, gone; of a check also now failed, opened or closed.
    safety : bool
        Of a check of safety.
    small : bool
        A check that passes as before, with another value.
    """

    kind: Kind
    what: str
    old: str
    new: str
    how: How
    safety: bool = False
    small: bool = False


@dataclass(frozen=True, kw_only=True)
class Changes:
    """What changed between two reports of one site, the earlier one's day and revision."""

    made: str
    revision: str
    rows: tuple[Change, ...]

    @property
    def sentence(self) -> str:
        """In plain words, what a reader has to know first."""
        before = f"Since the report of {self.made[:10]}" + (
            f", revision {self.revision}" if self.revision else "")  # fmt: skip
        if not self.rows:
            return f"{before}, nothing changed."
        parts = [*self._checks(), *self._counted("number", "number"),
                 *self._counted("bill", "line of the bill"), *self._counted("cable", "cable")]
        moved = [f"{one.what} from {one.old} to {one.new}" for one in self.rows
                 if one.kind == "job"]  # fmt: skip
        return f"{before}: {'; '.join([*moved, *parts])}."

    def _checks(self) -> Iterator[str]:
        words: tuple[tuple[How, str], ...] = (
            ("now failed", "now failed"), ("opened", "to review anew"), ("closed", "closed"),
            ("changed", "with other values"), ("new", "new and passed"), ("gone", "gone"),
        )  # fmt: skip
        for how, said in words:
            found = [one for one in self.rows if one.kind == "check" and one.how == how]
            safety = sum(one.safety for one in found)
            if found:
                yield _count(len(found), "check") + f" {said}" + (
                    f" ({safety} of safety)" if safety else "")  # fmt: skip

    def _counted(self, kind: Kind, name: str) -> Iterator[str]:
        count = sum(one.kind == kind for one in self.rows)
        if count:
            plural = name.replace("line", "lines") if name.startswith("line") else f"{name}s"
            yield f"{count} {name if count == 1 else plural} changed"


def _count(count: int, name: str) -> str:
    return f"{count} {name if count == 1 else name + 's'}"


def changes_since(old: Record, new: Record) -> Changes:
    """What differs between two summaries of a site.

    Parameters
    ----------
    old, new : mapping
        Contents of ``summary.json``; what an older form lacks is not compared.

    Returns
    -------
    Changes
        Checks with another outcome first, failed before others and safety first; then price,
        battery, days and stage; then values, bill and cables; checks that pass as before last.
    """
    checks = sorted(_checks(old, new), key=lambda one: (_HOW.index(one.how), not one.safety))
    turned = [one for one in checks if one.how in ("now failed", "closed", "opened")]
    others = [one for one in checks if one not in turned and not one.small]
    job_old, job_new = old.get("job") or {}, new.get("job") or {}
    known = bool(job_old) and bool(job_new)
    rows = [
        *turned, *(_plain(job_old, job_new) if known else ()), *others, *_values(old, new),
        *(_lists(job_old, job_new) if known else ()), *(one for one in checks if one.small),
    ]  # fmt: skip
    return Changes(made=str(old.get("site", {}).get("made", "")),
                   revision=str(job_old.get("revision", "")), rows=tuple(rows))


_HOW: tuple[How, ...] = ("now failed", "closed", "opened", "changed", "new", "gone")


def _plain(old: Record, new: Record) -> Iterator[Change]:
    for key in MAIN:
        yield from _pair("job" if key in JOB else "number", key, old.get(key), new.get(key))


def _values(old: Record, new: Record) -> Iterator[Change]:
    """Named values of the workbooks that both have run."""
    books = old.get("workbooks", {}), new.get("workbooks", {})
    for name in books[0].keys() & books[1].keys():
        before, now = books[0][name]["values"], books[1][name]["values"]
        for key in dict.fromkeys((*before, *now)):
            yield from _pair("number", key, before.get(key), now.get(key), f"{name}: ")


def _pair(kind: Kind, key: str, old: Any, new: Any, of: str = "") -> Iterator[Change]:
    if _same(old, new):
        return
    words, unit = words_and_unit(key)
    label = f"{of}{words} [{unit}]" if unit else f"{of}{words}"
    how: How = "new" if old is None else "gone" if new is None else "changed"
    scale = 100.0 if key.endswith("_frac") else 1.0
    yield Change(kind=kind, what=label, old=_shown(old, unit, scale),
                 new=_shown(new, unit, scale), how=how)


def _same(old: Any, new: Any) -> bool:
    if isinstance(old, float) and isinstance(new, int | float):
        return abs(old - new) <= _LEAST_FRAC * max(abs(old), abs(new))
    return bool(old == new)


def _shown(value: Any, unit: str, scale: float) -> str:
    small = unit == "kWh" and isinstance(value, float) and abs(value) < 100.0
    return in_unit(value * scale if isinstance(value, float) else value, "" if small else unit)


def _checks(old: Record, new: Record) -> Iterator[Change]:
    """By the identity that stands while figures change; a key twice is told by its item."""
    before, now = (_by_key(record.get("checks", [])) for record in (old, new))
    for key in dict.fromkeys((*before, *now)):
        was, is_ = before.get(key), now.get(key)
        how = _how(was, is_)
        if how is not None:
            check = is_ or was or {}
            yield Change(kind="check", what=str(check["item"]), old=_said(was), new=_said(is_),
                         how=how, safety=check["kind"] == "safety", small=_passes(was, is_))


def _by_key(checks: Sequence[Record]) -> dict[tuple[str, str], Record]:
    return {(check["key"], check["item"] if check["rule"].endswith("/line") else ""): check
            for check in checks}  # fmt: skip


def _open(check: Record | None) -> bool:
    if check is None:
        return False
    return bool(check["outcome"] == "failed"
                or (check["outcome"] == "review" and not check["accepted"]))  # fmt: skip


def _passes(was: Record | None, is_: Record | None) -> bool:
    return all(one is not None and one["outcome"] == "passed" for one in (was, is_))


def _how(was: Record | None, is_: Record | None) -> How | None:
    failed_before = was is not None and was["outcome"] == "failed"
    if is_ is not None and is_["outcome"] == "failed" and not failed_before:
        return "now failed"
    if _open(was) and not _open(is_):
        return "closed"
    if _open(is_) and not _open(was):
        return "opened"
    if was is None or is_ is None:
        return "new" if was is None else "gone"
    told = (one["outcome"] + one["found"] + one["limit"] for one in (was, is_))
    return "changed" if len(set(told)) > 1 else None


def _said(check: Record | None) -> str:
    if check is None:
        return ""
    accepted = ", accepted" if check["accepted"] else ""
    unit = check["unit"]
    return (f"{check['outcome']}{accepted}: {with_unit(check['found'], unit)}"
            f" (required {with_unit(check['limit'], unit)})")  # fmt: skip


def _lists(old: Record, new: Record) -> Iterator[Change]:
    for kind, name, shown in (("bill", "bill", _line), ("cable", "cables", _cable)):
        before, now = ({row["key"]: row for row in record.get(name, [])} for record in (old, new))
        for key in dict.fromkeys((*before, *now)):
            pair = before.get(key), now.get(key)
            said = [shown(row) if row else "" for row in pair]
            if said[0] != said[1]:
                how: How = "new" if not pair[0] else "gone" if not pair[1] else "changed"
                yield Change(kind="bill" if kind == "bill" else "cable", how=how, old=said[0],
                             new=said[1], what=str((pair[1] or pair[0] or {})["name"]))


def _line(row: Record) -> str:
    return f"{in_unit(row['quantity'])} {row['unit']}"


def _cable(row: Record) -> str:
    several = f"{row['in_parallel']} × " if row["in_parallel"] > 1 else ""
    return f"{several}{row['size']}, {row['length_m']:g} m"


def write_changes(target: Path, folder: Path, record: Record) -> Changes | None:
    """Keep the report before this one, and write ``changes.json``: what is other in the new one.

    Parameters
    ----------
    target : Path
        Where the report stands and will stand.
    folder : Path
        That takes its place when it is whole, of `solarcalc.basis.files.whole_folder`.
    record : mapping
        The new summary.

    Returns
    -------
    Changes or None
        None for the first report of a site, or one whose summary cannot be read.
    """
    old = read_record(target)
    keep_earlier(target, folder)
    if old is None:
        return None
    found = changes_since(old, record)
    text = json.dumps({"sentence": found.sentence, **asdict(found)}, ensure_ascii=False, indent=1)
    write_whole(folder / "changes.json", text + "\n")
    return found
