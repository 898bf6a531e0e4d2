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
from solarcalc.basis.text import alphabetic, short_name
from solarcalc.documents.html import document_html
from solarcalc.documents.tree import Block, Document, Head, heading, sentence, table
from solarcalc.lessons.progress import has_right, own_tries, progress_folder, read_progress
from solarcalc.lessons.source import PLACE, lesson_keys, lesson_text
from solarcalc.lessons.tasks import plain_name
from solarcalc.sitefile.base import shown
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.toml import read_toml

CLASS_FILE = "class.toml"
PAGE_FILE = "class.html"
MOST_MISTAKES = 20
MOST_TITLE = 120
"""Letters of a class's title."""
MANY_WRONG = 3
"""Wrong tries at a task from which a trainer is asked for."""


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
        code="LP", look="index", blocks=tuple(_blocks(room, _together(records), unread)),
        head=Head(site=room.title, number="", revision="", title="Class progress", status=""),
    )  # fmt: skip
    path = folder / PAGE_FILE
    try:
        write_whole(path, document_html(document))
    except OSError as error:
        raise InputError(Fault(where=str(path), given=error.strerror or str(error),
                               allowed="a file in a folder that may be written to")) from None
    return path


def _together(records: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """One record a learner: what two files of one hold, of two machines or a copy, once."""
    found: dict[str, dict[str, Any]] = {}
    for record in records:
        learner = found.setdefault(plain_name(record["learner"]),
                                   {"learner": record["learner"], "lessons": {}})
        for lesson, sites in record["lessons"].items():
            for site, one in sites.items():
                kept = learner["lessons"].setdefault(lesson, {}).setdefault(
                    site, {"predicted": None, "tasks": {}})
                kept["predicted"] = kept["predicted"] or one["predicted"]
                for task, tries in one["tasks"].items():
                    held = kept["tasks"].get(task, [])
                    both = list(held)
                    for each in tries:  # of a try that both hold, the larger count
                        if each in both:
                            both.remove(each)
                        else:
                            held = [*held, each]
                    kept["tasks"][task] = sorted(held, key=lambda each: each["day"])
    return list(found.values())


def _place(site: str, folder: Path) -> str:
    return site if site in demo_sites() else str(folder / site)


def _faults(tables: dict[str, Any], folder: Path) -> Iterator[Fault]:
    known = ("title", "sites", "lessons", "learners")
    for key in tables.keys() - set(known):
        yield Fault(where=f"{CLASS_FILE}: {key}", given=key, allowed=", ".join(known))
    title = tables.get("title", "")
    if not isinstance(title, str) or len(title) > MOST_TITLE or not title.isprintable():
        yield Fault(where=f"{CLASS_FILE}: title", given=shown(title),
                    allowed=f"a text of one line, at most {MOST_TITLE} characters")
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
            yield Fault(where=f"{CLASS_FILE}: {where}.name", given=name, allowed="each name once",
                        why="by the name a learner's numbers are drawn and progress is kept",
                        remedy="add to it what tells the two apart, and have them write it so")
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
    both = {key: one["learner"] for key, one in done.items()} | named
    names = {key: short_name(both[key]) for key in sorted(both, key=alphabetic)}
    begun = {key: {lesson: _best(done[key], lesson) for lesson in room.lessons
                   if done.get(key, {"lessons": {}})["lessons"].get(lesson)} for key in names}
    yield heading("Learners")
    if not names:
        yield sentence("Nobody has begun: no file of progress in this folder can be read."
                       if unread else
                       "Nobody has begun: there is no file of progress in this folder.")
    else:
        yield table(("Learner", "Site", "Tasks done", "Tries", "Needs help with", "Last day"),
                    [_learner(names[key], begun[key], room, key) for key in names],
                    right=(2, 3))
        yield sentence(f"Needs help: {MANY_WRONG} wrong tries or more at a task, none right since.",
                       look="small")
    if any(begun.values()):
        yield heading("Lessons begun")
        yield table(("Learner", "Lesson", "Tasks done", "Tries", "Predicted", "Last day"),
                    [_line(names[key], lesson, found) for key in names
                     for lesson, (_, found) in begun[key].items()], right=(2, 3))
    yield from _mistakes(room, records)
    if closed := [Path(site).name for site in dict.fromkeys(room.sites.values())
                  if site and _faulty(site)]:  # fmt: skip
        yield sentence(f"Site files with input errors, which no lesson opens: {', '.join(closed)}."
                       " solarcalc check tells what is wrong.", look="small")
    if unread:
        yield sentence(f"Damaged and left out: {', '.join(unread)}.", look="small")


def _faulty(site: str) -> bool:
    try:
        read_site(demo_sites().get(site) or site)
    except InputError:
        return True
    return False


def _mistakes(room: Classroom, records: list[dict[str, Any]]) -> Iterator[Block]:
    slips = Counter(
        (lesson, task, one["mistake"]) for record in records
        for lesson, task, one in _tries(record, room) if one["mistake"]
    )  # fmt: skip
    yield heading("Mistakes made most")
    if slips:
        yield table(("Lesson", "Task", "What the learner was told", "Times"), [
            (lesson_title(lesson), _numbered(lesson, task), _told(lesson, task, slip), str(count))
            for (lesson, task, slip), count in slips.most_common(MOST_MISTAKES)
        ], right=(3,))  # fmt: skip
    else:
        yield sentence("No named mistake so far.")


def lesson_title(key: str) -> str:
    """Number and title of a lesson; its key where there is no such lesson any more."""
    if key not in lesson_keys():
        return key
    text = lesson_text(key)
    return f"{text.number}. {text.title}"


def _best(record: dict[str, Any], lesson: str) -> tuple[str, dict[str, Any]]:
    """The site at which a learner has done most of a lesson, and what is kept of it."""
    found: tuple[str, dict[str, Any]] = max(record["lessons"][lesson].items(),
                                            key=lambda one: len(one[1]["tasks"]))
    return found


def _learner(name: str, begun: dict[str, tuple[str, dict[str, Any]]], room: Classroom, key: str
             ) -> tuple[str, ...]:  # fmt: skip
    """A learner in one line."""
    whole = sum(len(lesson_text(lesson).tasks) for lesson in room.lessons)
    help_with = [f"lesson {lesson_text(lesson).number}, task {_numbered(lesson, task)}"
                 for lesson, (_, found) in begun.items() for task, tries in found["tasks"].items()
                 if not has_right(tries) and len(own_tries(tries)) >= MANY_WRONG]  # fmt: skip
    sites = dict.fromkeys((Path(room.sites.get(key, "")).stem,
                           *(site for site, _ in begun.values())))  # fmt: skip
    return (name, ", ".join(filter(None, sites)) or "–",
            f"{sum(_done(found) for _, found in begun.values())} of {whole}",
            str(sum(len(_all_tries(found)) for _, found in begun.values())),
            "; ".join(help_with) or "–",
            max((_last_day(found) for _, found in begun.values()), default="–"))  # fmt: skip


def _line(name: str, lesson: str, found: dict[str, Any]) -> tuple[str, ...]:
    """A learner's lesson in one line."""
    said = found["predicted"]
    beside = "" if said is None else "as it was" if said["verdict"] == "right" else "otherwise"
    return (name, lesson_title(lesson), f"{_done(found)} of {len(lesson_text(lesson).tasks)}",
            str(len(_all_tries(found))),
            f"{said['said']} ({beside})" if said else "–", _last_day(found))


def _all_tries(found: dict[str, Any]) -> list[dict[str, str]]:
    return [one for tries in found["tasks"].values() for one in own_tries(tries)]


def _done(found: dict[str, Any]) -> int:
    return sum(has_right(tries) for tries in found["tasks"].values())


def _last_day(found: dict[str, Any]) -> str:
    said = found["predicted"]
    return max([one["day"] for one in _all_tries(found)] + ([said["day"]] if said else []),
               default="–")  # fmt: skip


def _tries(record: dict[str, Any], room: Classroom) -> Iterator[tuple[str, str, dict[str, str]]]:
    for lesson, sites in record["lessons"].items():
        if lesson not in room.lessons:
            continue
        for found in sites.values():
            for task, tries in found["tasks"].items():
                yield from ((lesson, task, one) for one in tries)


def _numbered(lesson: str, task: str) -> str:
    """Number and words of a task; its words where the lesson has it no more."""
    keys = [one.key for one in lesson_text(lesson).tasks]
    words = task.replace("_", " ")
    return f"{keys.index(task) + 1} ({words})" if task in keys else words


def _told(lesson: str, task: str, slip: str) -> str:
    """The sentence of a mistake without a learner's numbers; its name where there is none."""
    known = {one.key: one.mistakes for one in lesson_text(lesson).tasks}
    return PLACE.sub("…", known.get(task, {}).get(slip, slip.replace("_", " ")))
