"""How soon ``check`` answers, in processes that begin cold with what a user's machine keeps warm.

    python tests/bench/check.py [ROUNDS]

A site file that nothing changed in, one in which a number changed, and fifty such files at once;
beside each, what a plain process takes that imports the same libraries and works everything out,
one site after another. One JSON object a line, in seconds: processor time of the user's code, with
that of forked processes, and time on the clock, which other people's load lengthens. The least of
several rounds counts: load adds to both and takes from neither. Byte code is kept as an installed
package keeps it.
"""

from __future__ import annotations

import json
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from solarcalc.basis.files import data_folder, demo_sites

FIFTY = 50
TARGETS_S = {"unchanged": 0.3, "changed": 2.0, "fifty changed": 10.0}
PLAIN = (
    "import sys\nfrom pathlib import Path\nfrom solarcalc.checking.lines import answer_of\n"
    "for name in sys.argv[1:]:\n    print(answer_of(Path(name)).text)\n"
)
"""The same answers without lazy imports, kept answers or processes."""
Seconds = tuple[float, float]
"""Processor time of the user's code, time on the clock."""


def timed(words: Sequence[str], cache: Path) -> Seconds:
    """One process from its start to its end."""
    env = {**os.environ, "XDG_CACHE_HOME": str(cache)}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime, time.perf_counter()
    subprocess.run([sys.executable, *words], check=False, env=env, stdout=subprocess.DEVNULL)
    wall = time.perf_counter() - start
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before, wall


def least(rounds: Sequence[Seconds]) -> Seconds:
    """The least of each."""
    return min(user for user, _ in rounds), min(wall for _, wall in rounds)


def changed_copies(folder: Path, count: int) -> list[Path]:
    """Files of demo sites in turn, the tilt of the modules a little other in each."""
    paths = []
    demos = sorted(demo_sites().items())
    for number in range(count):
        name, source = demos[number % len(demos)]
        text = source.read_text(encoding="utf-8")
        text = text.replace('"../', f'"{data_folder().as_posix()}/')
        text = re.sub(r"^tilt_deg = ([\d.]+)",
                      lambda own, n=number: f"tilt_deg = {float(own[1]) + 0.01 * n:.2f}", text,
                      count=1, flags=re.MULTILINE)  # fmt: skip
        path = folder / f"{name}-{number}.toml"
        path.write_text(f"# {time.time_ns()}\n{text}", encoding="utf-8")
        paths.append(path)
    return paths


def line(figure: str, found: Seconds, target: float | None) -> None:
    """Print one figure as one JSON object."""
    user, wall = found
    print(json.dumps({"figure": figure, "user CPU [s]": round(user, 2), "clock [s]": round(wall, 2),
                      "target [s]": target, "better": "lower"}), flush=True)


def main(rounds: int) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as place:
        folder, cache = Path(place) / "sites", Path(place) / "cache"
        folder.mkdir()
        for name in demo_sites():
            one = [str(path) for path in changed_copies(folder, len(demo_sites()))
                   if path.stem.startswith(name)]
            check = ["-m", "solarcalc", "check"]
            timed([*check, one[0]], cache)  # machine code, byte code and shade tables
            changed = [timed([*check, "--fresh", one[0]], cache) for _ in range(rounds)]
            same = [timed([*check, one[0]], cache) for _ in range(rounds)]
            plain = [timed(["-c", PLAIN, one[0]], cache) for _ in range(rounds)]
            line(f"unchanged: {name}", least(same), TARGETS_S["unchanged"])
            line(f"changed: {name}", least(changed), TARGETS_S["changed"])
            line(f"changed, plain process: {name}", least(plain), None)
        fifty = [str(path) for path in changed_copies(folder, FIFTY)]
        line("fifty changed", timed([*check, "--fresh", *fifty], cache), TARGETS_S["fifty changed"])
        line("fifty unchanged", timed([*check, *fifty], cache), None)
        line("fifty changed, plain process", timed(["-c", PLAIN, *fifty], cache), None)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
