"""A class: who learns what at which site, and the trainer's page of all their progress.

A trainer's file ``class.toml`` in the folder of the progress files is optional::

    title = "Spring course"
    sites = ["ridge-clinic", "plateau-school"]    # given out in turn
    lessons = ["01_module_sheet"]                  # left out: all of them

    [[learners]]
    name = "Ama Mensah"
    site = "my-site.toml"                          # in place of the one whose turn it is
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import demo_sites, write_whole
from solarcalc.documents.html import document_html
from solarcalc.documents.tree import Block, Document, Head, heading, sentence, table
from solarcalc.lessons.progress import progress_folder, read_progress
from solarcalc.lessons.source import lesson_keys, lesson_text
from solarcalc.lessons.tasks import plain_name
from solarcalc.sitefile.toml import read_toml

CLASS_FILE = "class.toml"
PAGE_FILE = "class.html"
MOST_MISTAKES = 20


@dataclass(frozen=True, kw_only=True)
class Classroom:
    """A class as its trainer has set it.

    Parameters
    ----------
    title : str
    lessons : tuple of str
        Keys of those to be done.
    sites : mapping of str to str
        Learner, as `plain_name` writes the name, to a site file or the name of a demo site.
    names : tuple of str
        Learners, as the trainer wrote them.
    """

    title: str
    lessons: tuple[str, ...]
    sites: dict[str, str]
    names: tuple[str, ...]


def read_class(folder: Path) -> Classroom:
    """The class of a folder; all lessons and nobody where no trainer has set one.

    Raises
    ------
    InputError
        With every fault of ``class.toml``.
    """
    path = folder / CLASS_FILE
    if not path.exists():
        return Classroom(title="Lessons", lessons=lesson_keys(), sites={}, names=())
    tables = read_toml(path)
    if faults := list(_faults(tables, folder)):
        raise InputError(faults)
    turns, sites, learners = tables.get("sites", []), {}, tables.get("learners", [])
    for number, one in enumerate(learners):
        site = one.get("site") or (turns[number % len(turns)] if turns else "")
        sites[plain_name(one["name"])] = _place(site, folder) if site else ""
    return Classroom(
        title=tables.get("title", "Lessons"), lessons=tuple(tables.get("lessons", lesson_keys())),
        sites=sites, names=tuple(" ".join(one["name"].split()) for one in learners),
    )  # fmt: skip


def site_for(learner: str) -> str:
    """The site that the trainer has set for a learner; empty where none is set."""
    return read_class(progress_folder()).sites.get(plain_name(learner), "")


def write_class_page(folder: Path) -> Path:
    """Write the trainer's page of a folder, ``class.html``.

    Returns
    -------
    Path
        Of the page.

    Raises
    ------
    InputError
        When the folder is none, or ``class.toml`` is not sound.
    """
    if not folder.is_dir():
        raise InputError(Fault(where="FOLDER", given=str(folder),
                               allowed="the folder of the learners' progress files"))
    room = read_class(folder)
    records, unread = [], []
    for path in sorted(folder.glob("*.json")):
        found = read_progress(path)
        if found is None:
            unread.append(path.name)
        else:
            records.append(found)
    document = Document(
        code="LP", look="index", blocks=tuple(_blocks(room, records, unread)),
        head=Head(site=room.title, number="", revision="", title="Learners", status=""),
    )  # fmt: skip
    path = folder / PAGE_FILE
    write_whole(path, document_html(document))
    return path


def _place(site: str, folder: Path) -> str:
    return site if site in demo_sites() else str(folder / site)


def _faults(tables: dict[str, Any], folder: Path) -> Iterator[Fault]:
    known = ("title", "sites", "lessons", "learners")
    for key in tables.keys() - set(known):
        yield Fault(where=f"{CLASS_FILE}: {key}", given=key, allowed=", ".join(known))
    if not isinstance(tables.get("title", ""), str):
        yield Fault(where=f"{CLASS_FILE}: title", given=repr(tables["title"]), allowed="a text")
    lists = {name: tables.get(name, []) for name in known[1:]}
    for key, given in lists.items():
        if not isinstance(given, list):
            yield Fault(where=f"{CLASS_FILE}: {key}", given=repr(given), allowed="a list")
            lists[key] = []
    for lesson in lists["lessons"]:
        if lesson not in lesson_keys():
            yield Fault(where=f"{CLASS_FILE}: lessons", given=repr(lesson),
                        allowed=", ".join(lesson_keys()))
    asked: list[tuple[str, Any]] = [("sites", site) for site in lists["sites"]]
    seen: set[str] = set()
    for number, one in enumerate(lists["learners"], start=1):
        where = f"learners {number}"
        name = one.get("name") if isinstance(one, dict) else None
        if not isinstance(name, str) or not name.strip():
            yield Fault(where=f"{CLASS_FILE}: {where}.name", given=repr(name), allowed="a name")
            continue
        if plain_name(name) in seen:
            yield Fault(where=f"{CLASS_FILE}: {where}.name", given=name, allowed="each name once")
        seen.add(plain_name(name))
        asked += [(f"{where}.site", one["site"])] if "site" in one else []
    for where, site in asked:
        if not isinstance(site, str) or not (site in demo_sites() or (folder / site).is_file()):
            yield Fault(where=f"{CLASS_FILE}: {where}", given=repr(site),
                        allowed="a site file in this folder, or a demo site: "
                        + ", ".join(demo_sites()))


def _blocks(room: Classroom, records: list[dict[str, Any]], unread: list[str]) -> Iterator[Block]:
    done = {plain_name(one["learner"]): one for one in records}
    named = {plain_name(name): name for name in room.names}
    names = named | {key: one["learner"] for key, one in done.items()}
    lines = [_line(names[key], key, lesson, done.get(key), room)
             for key in sorted(names) for lesson in room.lessons]  # fmt: skip
    yield heading("Who has done what")
    if not lines:
        yield sentence("Nobody has begun: there is no file of progress in this folder.")
    else:
        yield table(("Learner", "Lesson", "Site", "Tasks done", "Tries", "Predicted", "So it was",
                     "Last day"), lines, right=(3, 4))  # fmt: skip
    slips = Counter(
        (lesson, task, one["mistake"]) for record in records
        for lesson, task, one in _tries(record, room) if one["mistake"]
    )  # fmt: skip
    yield heading("Mistakes made most")
    if slips:
        yield table(("Lesson", "Task", "Mistake", "Times"), [
            (lesson_title(lesson), _words(task), _words(slip), str(count))
            for (lesson, task, slip), count in slips.most_common(MOST_MISTAKES)
        ], right=(3,))  # fmt: skip
    else:
        yield sentence("No named mistake so far.")
    if unread:
        yield sentence(f"Damaged and left out: {', '.join(unread)}.", look="small")


def lesson_title(key: str) -> str:
    """Number and title of a lesson; its key where there is no such lesson any more."""
    if key not in lesson_keys():
        return key
    text = lesson_text(key)
    return f"{text.number}. {text.title}"


def _line(
    name: str, key: str, lesson: str, record: dict[str, Any] | None, room: Classroom
) -> tuple[str, ...]:
    sites = (record or {"lessons": {}})["lessons"].get(lesson, {})
    count = len(lesson_text(lesson).tasks)
    if not sites:
        return (name, lesson_title(lesson), Path(room.sites.get(key, "")).stem, f"0 of {count}",
                "0", "–", "–", "–")  # fmt: skip
    site, found = max(sites.items(), key=lambda one: len(one[1]["tasks"]))
    tries = [one for task in found["tasks"].values() for one in task]
    said = found["predicted"]
    tasks = sum(any(one["verdict"] == "right" for one in task)
                for task in found["tasks"].values())  # fmt: skip
    days = [one["day"] for one in tries] + ([said["day"]] if said else [])
    return (name, lesson_title(lesson), site, f"{tasks} of {count}", str(len(tries)),
            said["said"] if said else "–",
            ("yes" if said["verdict"] == "right" else "no") if said else "–",
            max(days, default="–"))  # fmt: skip


def _tries(record: dict[str, Any], room: Classroom) -> Iterator[tuple[str, str, dict[str, str]]]:
    for lesson, sites in record["lessons"].items():
        if lesson not in room.lessons:
            continue
        for found in sites.values():
            for task, tries in found["tasks"].items():
                yield from ((lesson, task, one) for one in tries)


def _words(key: str) -> str:
    return key.replace("_", " ")
