"""How right is it?: each published figure with what we obtain, each measured system with its bias.

The figures come from the tests, which write them to ``docs/made/published.json``; where that is
not there, the tests of published figures are run.
"""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
import tomllib
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from generate.markdown import code, contents, table, text

from solarcalc.basis.files import csv_lines, data_folder

ROOT = Path(__file__).resolve().parents[2]
CASES = ROOT / "tests" / "published"
RECORD = "SOLARCALC_PUBLISHED"
"""Environment variable: a file of ``pytest --published-to``, in place of a run of the tests."""
ORIGIN = {"printed": "printed in the source", "worked": "worked out from the source",
          "remembered": "from memory"}
Row = Mapping[str, Any]


def pages(folder: Path) -> Iterator[tuple[str, str]]:
    """The summary, and a page for each topic."""
    record = _record(folder)
    topics: dict[str, list[Row]] = defaultdict(list)
    for row in record["figures"]:
        topics[row["file"].partition("/")[0]].append(row)
    yield "how-right.md", _summary(record, topics)
    for topic, rows in topics.items():
        yield f"figures/{topic}.md", _topic(topic, rows)


def _record(folder: Path) -> dict[str, Any]:
    path = Path(os.environ.get(RECORD) or folder / "published.json")
    if not path.is_file():
        command = [sys.executable, "-m", "pytest", "-q", "-n0", "-m", "published and not slow",
                   "--published-to", str(path), "tests"]  # fmt: skip
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
        if not path.is_file():
            raise RuntimeError(f"tests of published figures did not run:\n{done.stdout[-2000:]}")
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return found


def _share(row: Row) -> float:
    """Difference as a share of what is expected, or of 1 where that is nothing."""
    return abs(row["obtained"] - row["expected"]) / (abs(row["expected"]) or 1.0)


def _summary(record: Mapping[str, Any], topics: Mapping[str, Sequence[Row]]) -> str:
    rows = []
    for topic, figures in sorted(topics.items()):
        origins = Counter(row["origin"] for row in figures)
        shares = sorted(map(_share, figures))
        rows.append((
            f"[{text(topic.replace('_', ' '))}](figures/{topic}.md)",
            str(len({(row["file"], row["id"]) for row in figures})), str(len(figures)),
            *(str(origins[one]) for one in ORIGIN), _percent(shares[len(shares) // 2]),
            _percent(shares[-1]), str(sum(row["outcome"] != "passed" for row in figures)),
        ))  # fmt: skip
    count, failed = len(record["figures"]), [one for one, outcome in record["tests"].items()
                                             if outcome == "failed"]  # fmt: skip
    told = f"{len(failed)} of the tests that compare them failed." if failed else (
        "Every test that compares them passed.")
    libraries = ", ".join(f"{name} {version}" for name, version in record["libraries"].items())
    return "\n\n".join([
        "# How right is it?",
        f"Made from the tests of {record['made']} (Python {record['python']}, {libraries}):"
        f" {count} figures from outside the project, each beside what solarcalc obtains. {told}"
        " A figure that somebody printed says how well we copy the work, not how well the work"
        " describes a roof: for that see [the measured systems](#measured-systems). Nothing here"
        " has been checked or approved by anybody else.",
        "## Published figures",
        table(("topic", "cases", "figures", *ORIGIN.values(), "median difference",
               "largest difference", "of failed tests"), rows),
        "A figure of one or two digits differs by its rounding; the column 'allowed' has what the"
        " test lets pass. Figures from memory were not seen in the work that they are ascribed to.",
        contents((f"figures/{topic}" for topic in sorted(topics)), hidden=True),
        "## Measured systems", _measured(),
        "## What could not be compared", _not_compared(record["figures"]),
    ]) + "\n"  # fmt: skip


def _topic(topic: str, rows: Sequence[Row]) -> str:
    parts = [f"# {topic.replace('_', ' ')}: published figures"]
    by_case: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in rows:
        by_case[row["file"], row["id"]].append(row)
    for (file, name), figures in by_case.items():
        first = figures[0]
        why = f" Differs because {text(first['differs_because'])}." if (
            first["differs_because"]) else ""
        parts.append(f"## {text(name)}")
        parts.append(
            f"{text(first['source'])}: {text(first['at'])} ({ORIGIN[first['origin']]};"
            f" {code('tests/published/' + file)}; {code(first['test'])}).{why}")
        parts.append(table(
            ("figure", "expected", "obtained", "difference", "allowed", "test"),
            [(text(row["quantity"] or name), f"{row['expected']:.7g}", f"{row['obtained']:.7g}",
              _difference(row), f"{row['tolerance']:.2g}" if row["tolerance"] else "none",
              row["outcome"]) for row in figures]))  # fmt: skip
    return "\n\n".join(parts) + "\n"


def _difference(row: Row) -> str:
    off = row["obtained"] - row["expected"]
    if abs(off) <= 1e-9 * max(abs(row["expected"]), 1e-3):
        return "none"
    return f"{off:+.2g} ({_percent(_share(row))})" if row["expected"] else f"{off:+.2g}"


def _percent(share: float) -> str:
    return "none" if share < 1e-9 else f"{100.0 * share:.2g} %"


def _measured() -> str:
    rows = [row for row in csv.DictReader(csv_lines(data_folder() / "measured_bias.csv"))
            if row["bias_frac"]]  # fmt: skip
    heads = ("quantity", "record", "place and time", "hours", "bias", "scatter", "compared with",
             "to be known")  # fmt: skip
    return "\n\n".join([
        "Bias: how much more (+) or less (−) solarcalc says than was measured. Scatter: root mean"
        " square of the differences of single hours (of single charges, for the battery) over the"
        " mean measured. `tests/refresh_measured.py` makes the rows from the records.",
        table(heads, [
            (text(row["quantity"]), text(row["record"]), text(f"{row['place']}, {row['period']}"),
             row["hours"], f"{100 * float(row['bias_frac']):+.1f} %",
             f"{100 * float(row['scatter_frac']):.1f} %", text(row["compared_with"]),
             text(row["note"])) for row in rows]),
    ])  # fmt: skip


def _not_compared(figures: Sequence[Row]) -> str:
    measured = [row for row in csv.DictReader(csv_lines(data_folder() / "measured_bias.csv"))
                if not row["bias_frac"]]  # fmt: skip
    noted = {(row["file"], row["id"]) for row in figures}
    held = []
    for path in sorted(CASES.rglob("*.toml")):
        file = path.relative_to(CASES).as_posix()
        content = tomllib.loads(path.read_text(encoding="utf-8"))
        held += [(code(file), text(case["id"]), text(case.get("source", content.get("source"))),
                  text(case["at"])) for case in content["case"] if (file, case["id"]) not in noted]
    return "\n\n".join([
        "Measured records at hand that say nothing of us, with the reason:",
        table(("quantity", "record", "place and time", "reason"), [
            (text(row["quantity"]), text(row["record"]), text(f"{row['place']}, {row['period']}"),
             text(row["note"].removeprefix("not compared: "))) for row in measured]),
        "Published cases that a test holds in another way than figure beside figure: between"
        " bounds, by their order or their outcome, or through the table that has them:",
        table(("file of `tests/published`", "case", "source", "where in it"), held),
        "Not compared with anything outside: whole systems over a year beside metered ones, the"
        " hours without supply of a site, prices, hours of work beyond the rows of"
        " `data/task_hours.csv` that name a source, and the life of a battery beyond the records"
        " above. No record of them was at hand.",
    ])  # fmt: skip
