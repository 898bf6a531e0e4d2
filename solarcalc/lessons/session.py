"""What a lesson's notebook calls: asks, keeps the prediction, draws, marks, hints, explains."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from solarcalc import page
from solarcalc.basis.quantity import words_and_unit
from solarcalc.basis.text import capital
from solarcalc.design import Design, open_design
from solarcalc.lessons.answer_cells import take_answers_without_quotes
from solarcalc.lessons.classroom import site_for
from solarcalc.lessons.marking import marked, right_words
from solarcalc.lessons.progress import Progress, own_tries
from solarcalc.lessons.source import Asked, LessonText, filled, lesson_text
from solarcalc.lessons.tasks import Worked, about, drawn_for, worked
from solarcalc.panels.panel import explore

FIRST_SITE = "ridge-clinic"
"""Where nobody has said which site."""


@dataclass(frozen=True)
class Lesson:
    """One lesson for one learner at one site.

    Parameters
    ----------
    text : LessonText
    design : Design
    given : record
        The numbers drawn for this learner.
    progress : Progress
    """

    text: LessonText
    design: Design
    given: Any
    progress: Progress
    _worked: dict[str, Worked] = field(default_factory=dict)

    def predict(self, said: object) -> None:
        """Ask for the prediction; keep it, once there is one, without a word on whether it is so.

        Parameters
        ----------
        said : object
            None while there is none.
        """
        asked, found = self._asked(self.text.predict.key)
        self._show_question(asked, found)
        mark = marked(asked, found, said)
        if mark.verdict == "shown":
            page.say("Predict first, a guess will do: there is no solution to show before it.")
        elif mark.verdict in ("none", "unread"):
            page.say(mark.words.replace("No answer", "No prediction").replace("no try",
                                                                              "no prediction"))
        elif self.progress.keep_prediction(mark):
            page.say(f"Kept: {mark.said}. You will see below whether it is so.")
        else:
            page.say(f"Kept: {self.progress.record['predicted']['said']}. The first one stands.")
        self._tell()

    def formula(self) -> None:
        """The formula, then the same with the figures of an example put in."""
        example = about(self.text).example()
        page.show_formula(self.text.latex, self.text.symbols)
        page.show_formula(filled(self.text.figures, example))

    def explore(self) -> None:
        """The picture with its controls; without a kernel it stands as it was."""
        moved = about(self.text).picture(self.given)
        explore(moved.draw, shows=filled(self.text.picture_alt, self.given), **moved.ranges)

    def compare(self) -> None:
        """The prediction beside the result; the result is not given away before there is one."""
        kept = self.progress.record["predicted"]
        if kept is None:
            page.say("You have not predicted yet: go back to the first question and do. A guess"
                     " that turns out wrong teaches more than none.")
            return
        asked, found = self._asked(self.text.predict.key)
        beside = "as you predicted" if kept["verdict"] == "right" else "other than you predicted"
        page.say(f"You predicted: {kept['said']}. The result, {beside}:"
                 f" {right_words(asked, found)}.")  # fmt: skip
        page.say(filled(asked.right, found.steps, self.given))

    def ask(self, key: str, said: object) -> None:
        """Ask a task; mark the answer, once there is one, with hints and the worked solution.

        Parameters
        ----------
        key : str
            Of the task.
        said : object
            The answer; None while there is none.

        Raises
        ------
        InputError
            When the lesson has no such task.
        """
        asked = self.text.task(key)
        if asked.after and not self._is_known(self.text.task(asked.after)):
            number = [one.key for one in self.text.tasks].index(asked.after) + 1
            page.say(f"Do task {number} first: this one would give it away.")
            return
        asked, found = self._asked(key)
        self._show_question(asked, found)
        mark = marked(asked, found, said)
        if mark.verdict in ("none", "unread"):
            page.say(mark.words)
            return
        if mark.verdict == "shown" and self._is_early(asked):
            return
        self.progress.keep_try(key, mark)
        said_of_it = asked.right if mark.verdict == "right" else asked.mistakes.get(
            mark.mistake, asked.other)
        values = ({"chosen": capital(mark.said)}, found.steps, self.given)
        if mark.verdict != "shown":
            page.say(" ".join(filter(None, (mark.words, filled(said_of_it, *values)))))
        if mark.verdict != "right":
            self._help(asked, found)
        self._tell()

    def finish(self) -> None:
        """What is done and what is left, and where it is kept."""
        rows = [
            {"task": f"{number}. {capital(asked.rung)}",
             "tries": len(own_tries(self.progress.tries(asked.key))),
             "done": "yes" if self.progress.is_done(asked.key) else "not yet"}
            for number, asked in enumerate(self.text.tasks, start=1)
        ]  # fmt: skip
        page.show_table(rows, caption=f"Your tasks at {self.design.site.site.name}")
        if self.progress.learner:
            page.say(f"Kept in {self.progress.path}.")
        else:
            page.say("Nothing is kept: write your name into the parameters cell.")

    def worked(self, key: str) -> Worked:
        """A task worked out for this learner; once."""
        if key not in self._worked:
            self._worked[key] = worked(self.text, key, self.given)
        return self._worked[key]

    def _asked(self, key: str) -> tuple[Asked, Worked]:
        """A task or the prediction, its question with the numbers, and what it comes to."""
        asked, found = self.text.task(key), self.worked(key)
        ask, caption, alt, *choices = (
            filled(words, found.steps, self.given)
            for words in (asked.ask, asked.caption, asked.alt, *asked.choices.values()))
        return replace(asked, ask=ask, caption=caption, alt=alt,
                       choices=dict(zip(asked.choices, choices, strict=True))), found

    def _is_known(self, asked: Asked) -> bool:
        """Whether the answer of a task is found, or was shown."""
        return self.progress.is_done(asked.key) or self._is_shown(asked)

    def _is_shown(self, asked: Asked) -> bool:
        """Whether the worked solution was asked for, or all hints were followed by a wrong try."""
        return (self.progress.was_shown(asked.key)
                or self.progress.wrong_tries(asked.key) > len(asked.hints))

    def _is_early(self, asked: Asked) -> bool:
        """Whether the solution is asked for before the hints are used up; that is told."""
        left = len(asked.hints) - self.progress.wrong_tries(asked.key)
        if left <= 0 or self._is_known(asked):
            return False
        tries = "one try" if left == 1 else f"{left} tries"
        page.say(f"The solution comes after {tries} more of your own: each wrong one gives a hint.")
        return True

    def _show_question(self, asked: Asked, found: Worked) -> None:
        page.say(asked.ask)
        if asked.choices:
            page.show_points(f"{letter}) {words}" for letter, words in asked.choices.items())
        if found.rows:
            heads = {head: f"{words} [{unit}]" if unit else words
                     for head in found.rows[0] for words, unit in [words_and_unit(head)]}
            page.show_table([{heads[head]: cell for head, cell in row.items()}
                             for row in found.rows], caption=asked.caption,
                            digits={heads[head]: _decimals(row[head] for row in found.rows)
                                    for head in heads})  # fmt: skip
        if found.drawing:
            svg = found.drawing if isinstance(found.drawing, str) else found.drawing()
            page.show_drawing(svg, file=asked.key.replace("_", "-"), alt=asked.alt)

    def _help(self, asked: Asked, found: Worked) -> None:
        """One hint a wrong try; when they are used up, the worked solution in their place."""
        wrong, values = self.progress.wrong_tries(asked.key), (found.steps, self.given)
        if self._is_shown(asked) or wrong == 0:
            page.say(f"Worked solution: {filled(asked.solution, *values)} The answer:"
                     f" {right_words(asked, found)}.")  # fmt: skip
            return
        page.say(f"Hint {wrong} of {len(asked.hints)}: {filled(asked.hints[wrong - 1], *values)}")
        if wrong == len(asked.hints):
            page.say('Try once more, or write "solution" in place of your answer to be shown it.')

    def _tell(self) -> None:
        while self.progress.told:
            page.say(self.progress.told.pop(0))


def _decimals(cells: Iterable[object]) -> int:
    """Decimals that a column needs for its floats as they are."""
    return max((len(repr(cell).partition(".")[2].rstrip("0")) for cell in cells
                if isinstance(cell, float)), default=0)  # fmt: skip


def open_lesson(
    key: str, learner: str = "", site_file: str = "",
    changes: Mapping[str, Mapping[str, Any]] | None = None,
) -> Lesson:
    """A lesson for a learner.

    Parameters
    ----------
    key : str
        Such as ``"07_strings_cold_morning"``.
    learner : str
        A name; numbers are drawn by it. Empty: nothing is kept.
    site_file : str
        Path of a site file or name of a demo site. Empty: the one that the trainer has set for
        this learner, else ridge-clinic.
    changes : mapping, optional
        Tables and keys of the site file to change.

    Raises
    ------
    InputError
        When there is no such lesson, or the site file or the class file is not sound.
    """
    text = lesson_text(key)
    name = " ".join(learner.split()) if isinstance(learner, str) else ""
    site = site_file or site_for(name) or FIRST_SITE
    design = open_design(site, changes)
    page.show_whole()
    if not name:
        page.say("No name yet, so nothing is kept: write yours where it says `learner`, and run"
                 " that cell and this one again.")  # fmt: skip
    take_answers_without_quotes()
    progress = Progress(learner=name, lesson=key, site=Path(site).stem)
    return Lesson(text=text, design=design, given=drawn_for(text, name, design), progress=progress)
