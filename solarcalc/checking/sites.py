"""Checks of one site file or many: each on its own, in forked processes where there are several."""

from __future__ import annotations

import gc
import multiprocessing
import os
import re
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import InputError
from solarcalc.basis.reading import UnreadableError, file_text
from solarcalc.checking.kept import Answer, keep_answer, noted_files
from solarcalc.checking.lines import answer_of
from solarcalc.sitefile.named import site_and_variant
from solarcalc.sitefile.toml import MAX_BYTES, read_toml

Unexpected = Callable[[str, BaseException], str]
"""Words for an error that is none of the file, given where it arose."""
Made = tuple[Answer | str, frozenset[str]]
"""An answer or a complaint, and the files opened for it."""
FEW = 3
"""Sites that are sooner done one after another than by processes that must be started."""


def answers(paths: Sequence[Path], *, unexpected: Unexpected) -> Iterator[Answer | str]:
    """The answer of each site file, or a complaint; answers are kept.

    What the process has read for the first site, such as tables and weather, stays in its memory
    and is there for the others, so it counts as opened for them as well; its site file does not.

    Parameters
    ----------
    paths : sequence of Path
        Site files.
    unexpected : callable

    Yields
    ------
    Answer or str
        In the order given.
    """
    shared: frozenset[str] = frozenset()
    make = partial(_made, unexpected=unexpected)
    first, rest = paths[:1], paths[1:]
    for path in first if len(paths) > FEW and hasattr(os, "fork") else paths:
        shared |= (found := make(path, shared))[1] - {str(path.absolute())}
        yield found[0]
    if len(paths) <= FEW or not hasattr(os, "fork"):
        return
    gc.freeze()  # so that no collector copies the pages that the processes share
    forks = multiprocessing.get_context("fork")
    with ProcessPoolExecutor(_processors(), forks, initializer=_collect_seldom) as pool:
        alone = partial(_alone, make=make, shared=shared)
        asked = {path: pool.submit(alone, path) for path in sorted(rest, key=_weather_named)}
        for path in rest:
            yield asked[path].result()


def _collect_seldom() -> None:
    """Collect what is left behind, though not after each few hundred things."""
    gc.set_threshold(_FEW_LEFT)
    gc.enable()


_FEW_LEFT = 200_000
_NAMED = re.compile(r"^ *(?:source|weather) *= *(.*?) *$", re.MULTILINE)


def _weather_named(path: Path) -> str:
    """What a site file says of its weather: sites alike follow one another in a process.

    Each process then works out few suns and tables. A file that cannot be read has its own fault.
    """
    try:
        return " ".join(_NAMED.findall(file_text(path, MAX_BYTES)))
    except UnreadableError:
        return ""


def _processors() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


_seen: set[str] = set()
"""What this process has opened for the sites before, their own files left out."""


def _alone(path: Path, *, make: Callable[[Path, frozenset[str]], Made],
           shared: frozenset[str]) -> Answer | str:
    """One site of a process that does several."""
    answer, opened = make(path, shared | _seen)
    _seen.update(opened - {str(path.absolute())})
    return answer


def _made(path: Path, shared: frozenset[str], *, unexpected: Unexpected) -> Made:
    since_s = time.time()
    with noted_files() as opened:
        try:
            answer = answer_of(path)
        except InputError as error:
            count = len(error.faults)
            said = f"{path}: not valid, {count} input error{'s' if count > 1 else ''}\n{error}"
            return said, frozenset(opened)
        except Exception as error:  # whatever a library raises, the other sites go on
            return unexpected(str(path), error), frozenset(opened)
    found = frozenset(opened)
    keep_answer(path, answer, found | shared | named_files(path), since_s=since_s)
    return answer, found


def named_files(path: Path) -> frozenset[str]:
    """Every file that a text of the site file could name: one that is not there may yet come."""
    path, _ = site_and_variant(str(path))
    texts = named_texts(path)
    found = {os.path.abspath(path.parent / text) for text in texts if text and "\0" not in text}
    return frozenset(name for name in found if len(name) < 1000)


def named_texts(path: Path) -> Iterator[str]:
    """Every text of a site file."""
    return _texts(read_toml(path))


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for one in value.values() if isinstance(value, dict) else value:
            yield from _texts(one)
