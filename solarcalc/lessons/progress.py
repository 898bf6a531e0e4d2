"""What a learner has predicted and tried, kept in one JSON file of that learner.

The folder is that named by `FOLDER`, else ``progress`` beside the lesson. Nothing is written before
the first prediction or try, and nothing at all for a learner without a name.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from solarcalc.basis.files import set_aside, write_whole
from solarcalc.basis.reading import UnreadableError, file_text
from solarcalc.basis.text import safe_file_name
from solarcalc.lessons.marking import Mark
from solarcalc.lessons.tasks import plain_name

FOLDER = "SOLARCALC_PROGRESS"
"""Environment variable: the folder that a class shares."""
FORMAT = 1
MOST_BYTES = 4 * 1024 * 1024
MOST_TRIES = 50
"""Tries kept of a task: the last ones."""
LOCK_S = 10.0


def progress_folder() -> Path:
    """Where progress is kept."""
    return Path(os.environ.get(FOLDER) or "progress")


def progress_file(folder: Path, learner: str) -> Path:
    """The file of a learner; two names never share one."""
    name = plain_name(learner)
    own = hashlib.sha256(name.encode()).hexdigest()[:6]
    return folder / f"{safe_file_name(name)[:40]}-{own}.json"


@dataclass
class Progress:
    """One learner's progress in one lesson at one site.

    Parameters
    ----------
    learner : str
        Empty: it is kept in memory alone.
    lesson, site : str
        Key of the lesson; stem of the site file.
    folder : Path
    told : list of str
        What went wrong with the file, for the learner.
    """

    learner: str
    lesson: str
    site: str
    folder: Path = field(default_factory=progress_folder)
    told: list[str] = field(default_factory=list)
    _held: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.learner:
            self._held = self._read()

    @property
    def path(self) -> Path:
        """Of the file."""
        return progress_file(self.folder, self.learner)

    @property
    def record(self) -> dict[str, Any]:
        """What is kept of this lesson at this site: ``predicted`` and ``tasks``."""
        lesson = self._held.setdefault("lessons", {}).setdefault(self.lesson, {})
        found: dict[str, Any] = lesson.setdefault(self.site, {"predicted": None, "tasks": {}})
        return found

    def tries(self, task: str) -> list[dict[str, str]]:
        """Tries of a task in order, each with ``said``, ``verdict``, ``mistake`` and ``day``."""
        found: list[dict[str, str]] = self.record["tasks"].get(task, [])
        return found

    def wrong_tries(self, task: str) -> int:
        """How many of them were wrong."""
        return sum(one["verdict"] == "wrong" for one in self.tries(task))

    def was_shown(self, task: str) -> bool:
        """Whether its worked solution was asked for and shown."""
        return any(one["verdict"] == "shown" for one in self.tries(task))

    def is_done(self, task: str) -> bool:
        """Whether a right answer was given once."""
        return has_right(self.tries(task))

    def keep_prediction(self, mark: Mark) -> bool:
        """Keep a prediction; the first one stands, and gives False to a second."""
        def keep() -> None:
            if self.record["predicted"] is None:
                self.record["predicted"] = said

        said = {"said": mark.said, "verdict": mark.verdict, "day": _today()}
        self._change(keep)
        return bool(self.record["predicted"] is said)

    def keep_try(self, task: str, mark: Mark) -> None:
        """Keep a try; the same answer twice in a row is one, as a cell is run more than once."""
        def keep() -> None:
            tries = self.record["tasks"].setdefault(task, [])
            if not tries or tries[-1]["said"] != mark.said:
                tries.append({"said": mark.said, "verdict": mark.verdict, "mistake": mark.mistake,
                              "day": _today()})
                del tries[:-MOST_TRIES]

        self._change(keep)

    def _change(self, keep: Callable[[], None]) -> None:
        """A change of what the file holds now, as two windows may be open; else in memory."""
        if not self.learner:
            keep()
            return
        from filelock import FileLock, Timeout

        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with FileLock(self.folder / ".lock", timeout=LOCK_S):
                self._held = self._read()
                keep()
                write_whole(self.path, json.dumps(self._held, ensure_ascii=False, indent=1) + "\n")
        except (OSError, Timeout) as error:
            keep()
            self.told.append(f"Not kept, {self.path} cannot be written: {error}. Set {FOLDER} to a"
                             " folder of your own.")

    def _read(self) -> dict[str, Any]:
        """What is kept; a damaged file is set aside under another name, and that is told."""
        empty = {"format": FORMAT, "learner": " ".join(self.learner.split()), "lessons": {}}
        path = self.path
        if not path.exists():
            return empty
        found = read_progress(path)
        if found is not None:
            return found
        try:
            aside = set_aside(path)
        except OSError as error:
            self.told.append(f"{path} is damaged and cannot be set aside: {error}.")
        else:
            self.told.append(f"The file of your progress was damaged: it is set aside as"
                             f" {aside.name}, and a new one is begun.")
        return empty


def has_right(tries: Sequence[Mapping[str, str]]) -> bool:
    """Whether a right answer is among tries as they are kept."""
    return any(one["verdict"] == "right" for one in tries)


def own_tries(tries: Sequence[dict[str, str]]) -> list[dict[str, str]]:
    """Answers among tries as they are kept, without what stands for a solution asked for."""
    return [one for one in tries if one["verdict"] != "shown"]


def read_progress(path: Path) -> dict[str, Any] | None:
    """What a file of progress holds; None where it is damaged or is none."""
    try:
        found = json.loads(file_text(path, MOST_BYTES))
    except (UnreadableError, ValueError, RecursionError):
        return None
    return found if _sound(found) else None


def _sound(found: Any) -> bool:
    """Whether all that is read of a file has its shape."""
    try:
        sound = found["format"] == FORMAT and isinstance(found["learner"], str)
        for lesson in found["lessons"].values():
            for at_site in lesson.values():
                said = at_site["predicted"]
                sound &= said is None or _texts(said, "said", "verdict", "day")
                for tries in at_site["tasks"].values():
                    sound &= isinstance(tries, list)
                    sound &= all(_texts(one, "said", "verdict", "mistake", "day") for one in tries)
    except (KeyError, TypeError, AttributeError):
        return False
    return bool(sound)


def _texts(record: Any, *names: str) -> bool:
    return isinstance(record, dict) and all(isinstance(record.get(name), str) for name in names)


def _today() -> str:
    return dt.date.today().isoformat()
