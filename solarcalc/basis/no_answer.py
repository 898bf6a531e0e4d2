"""What stands in place of an answer where a sound file has none.

A stage that cannot answer raises `NoAnswer`. It carries one check, *not assessed*: the box in the
chapter, the list of checks and the command line all say that check's words. A view asked through
`or_why` gives it back in place of its answer, and whatever is made of it is it again; the page
shows it as a box. A fault of the file is another `InputError`, and goes through all of this.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import wraps
from typing import ParamSpec, TypeVar

from solarcalc.basis.check import Check, Kind
from solarcalc.basis.errors import Fault, InputError

P = ParamSpec("P")
T = TypeVar("T")

NO_ANSWER = "no answer"
"""What stands in a table or among named values for a figure there is not."""


class NoAnswer(InputError):  # noqa: N818  what it is, given back as often as raised
    """No answer, because.

    Parameters
    ----------
    item, found, limit, clause, remedy, rule, kind, about : str
        Words of its check: what is asked, why it has no answer, what it takes, what to do.
    """

    def __init__(
        self, *, item: str, found: str, limit: str, clause: str, rule: str, kind: Kind,
        remedy: str = "", about: str = "",
    ) -> None:  # fmt: skip
        self.check = Check(item=item, found=found, limit=limit, clause=clause, remedy=remedy,
                           rule=rule, kind=kind, about=about, outcome="not assessed")  # fmt: skip
        super().__init__(Fault(where=item, given=found, allowed=limit, remedy=remedy))

    @property
    def sentence(self) -> str:
        """The reason in one line."""
        after = f"; {self.check.remedy}" if self.check.remedy else ""
        return f"{self.check.item}: {NO_ANSWER}, because {self.check.found}{after}."


def or_why(ask: Callable[P, T]) -> Callable[P, T | NoAnswer]:
    """The same, but where it has no answer it gives back why; also where it is given a why."""

    @wraps(ask)
    def asked(*args: P.args, **kwargs: P.kwargs) -> T | NoAnswer:
        for given in (*args, *kwargs.values()):
            if isinstance(given, NoAnswer):
                return given
        try:
            return ask(*args, **kwargs)
        except NoAnswer as why:
            return why

    return asked


def checks_or_why(ask: Callable[[], Iterable[Check]]) -> tuple[Check, ...]:
    """The checks of a stage; of one without an answer the one that says why."""
    found = or_why(lambda: tuple(ask()))()
    return (found.check,) if isinstance(found, NoAnswer) else found
