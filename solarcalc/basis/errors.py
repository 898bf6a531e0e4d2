"""One shape for everything that is wrong with what the user gave."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

_TOLD_IN_A_LINE = 3
_UNSEEN = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
"""What rings, turns the text round or moves the cursor of whoever reads the message."""


def _seen(text: str) -> str:
    """A text with signs that cannot be seen written out."""
    return _UNSEEN.sub(lambda sign: ascii(sign[0])[1:-1], text)


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing wrong with the input, in the user's own words.

    Parameters
    ----------
    where : str
        File and field as the user wrote it, e.g. ``"shop.toml: battery.min_soc_frac"``.
    given : str
        The value found there.
    allowed : str
        What would be accepted, with its unit.
    why : str
        Why it is refused, with a source where there is one; may be empty.
    remedy : str
        What to do next; may be empty.
    """

    where: str
    given: str
    allowed: str
    why: str = ""
    remedy: str = ""

    def __str__(self) -> str:
        text = f"{self.where}\n    given:   {self.given}\n    allowed: {self.allowed}"
        if self.why:
            text += f"\n    why:     {self.why}"
        if self.remedy:
            text += f"\n    do:      {self.remedy}"
        return _seen(text)

    @property
    def line(self) -> str:
        """The same in one line."""
        remedy = f" ({self.remedy})" if self.remedy else ""
        return _seen(f"{self.where}: {self.given}; allowed: {self.allowed}{remedy}")


class InputError(ValueError):
    """Raised for bad input; carries every fault found, not only the first.

    Parameters
    ----------
    faults : Fault or sequence of Fault
        At least one.
    """

    def __init__(self, faults: Fault | Sequence[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (
            (faults,) if isinstance(faults, Fault) else tuple(faults)
        )
        super().__init__(*self.faults)

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)

    @property
    def sentence(self) -> str:
        """Its first three faults in one line."""
        return "; ".join(fault.line for fault in self.faults[:_TOLD_IN_A_LINE])

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows where it stops a cell: what is wrong, and no traceback."""
        return str(self).splitlines()
