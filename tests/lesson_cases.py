"""Lessons as tests draw them: learners, sites that are opened once, numbers drawn."""

from __future__ import annotations

import os
from collections.abc import Iterator
from functools import cache
from typing import Any

from hypothesis import strategies as st

from solarcalc.design import Design, open_design
from solarcalc.lessons.source import Asked, LessonText, lesson_keys, lesson_text
from solarcalc.lessons.tasks import Worked, drawn_for, worked

LESSONS = lesson_keys()
SITES = ("ridge-clinic", "plateau-school")
"""One that is used first, and one south of the equator with another winter."""
LEARNERS_DRAWN = int(os.environ.get("SOLARCALC_LEARNERS", "12"))
"""More of them are drawn by `.ci/run`."""
LEARNERS = tuple(f"Learner {number}" for number in range(LEARNERS_DRAWN))


@cache
def opened(site: str) -> Design:
    """A demo site, opened once a process."""
    return open_design(site)


@cache
def drawn(key: str, learner: str, site: str) -> tuple[LessonText, Any]:
    """A lesson and the numbers of a learner."""
    text = lesson_text(key)
    return text, drawn_for(text, learner, opened(site))


def tasks_of(key: str, site: str) -> Iterator[tuple[Asked, Worked, Any]]:
    """Each task of a lesson as each learner has it: its text, worked out, the learner's numbers."""
    for learner in LEARNERS:
        text, numbers = drawn(key, learner, site)
        for asked in text.tasks:
            yield asked, worked(text, asked.key, numbers), numbers


names = st.text(min_size=1, max_size=30)
