"""What a crew reads: headings by ``data/messages``, texts of tables by the table of phrases."""

from __future__ import annotations

from dataclasses import dataclass

from solarcalc.basis.messages import messages
from solarcalc.basis.phrases import phrase, plain
from solarcalc.basis.text import MOST_REVISION, short_name
from solarcalc.design import Design
from solarcalc.diagrams.sheet import document_number


@dataclass(frozen=True, kw_only=True)
class Crew:
    """A design on its way to the crew, in their language."""

    design: Design
    language: str = ""

    def __post_init__(self) -> None:
        if not self.language:
            object.__setattr__(self, "language", self.design.site.firm.crew)

    @property
    def revision(self) -> str:
        """Of the design."""
        return short_name(self.design.site.status.revision, MOST_REVISION)

    def t(self, key: str, **values: object) -> str:
        """A heading or fixed sentence."""
        return messages(self.language).text(key, **values)

    def p(self, text: object) -> str:
        """A text of a data table."""
        return phrase(plain(str(text)), self.language)

    def n(self, value: float, decimals: int = 0) -> str:
        """A number."""
        return messages(self.language).number(value, decimals)

    def number(self, sheet: int) -> str:
        """Number of a sheet of the site pack."""
        return document_number(self.design.site.site.name, f"SP-{sheet:02d}")
