"""What every document is made from: a design, the firm's letterhead, and what was executed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from solarcalc import __version__
from solarcalc.basis.messages import messages
from solarcalc.basis.text import safe_file_name
from solarcalc.design import Design
from solarcalc.diagrams.sheet import document_number as number_of
from solarcalc.documents.tree import Head
from solarcalc.report.findings import Letterhead
from solarcalc.sitefile.status import Status

OF_DESIGN = ("DS", "DR", "CA", "QU", "SP", "IX")
"""Documents that show the design: as long as they are not issued they have its day."""
CHECKED = ("DS", "DR", "CA", "SP")
"""Documents that name who checked the design: nobody has checked the others by that."""


@dataclass(frozen=True, kw_only=True)
class Making:
    """A site on its way to its documents.

    Parameters
    ----------
    design : Design
    firm : Letterhead
    notebooks : mapping of str to executed notebook
        By workbook; empty where only documents are made that do not need them.
    beside : tuple of str
        Numbers and titles of the other documents in the folder, for the one that lists them.
    """

    design: Design
    firm: Letterhead = field(default_factory=Letterhead)
    notebooks: Mapping[str, Any] = field(default_factory=dict)
    beside: tuple[str, ...] = ()

    def head(
        self, code: str, title: str, *, sheet: int = 1, language: str = "en", kind: str = "",
        status: str = "draft",
    ) -> Head:  # fmt: skip
        """The title block of a document.

        Parameters
        ----------
        code : str
        title : str
            At most 25 characters.
        sheet : int
            Number within its kind.
        language : str
        kind, status : str
        """
        site = self.design.site
        revision, issued = issue_of(site.status, code)
        return Head(
            firm=self.firm.name, contact=self.firm.contact,
            licence=messages(language).text("head_licence", licence=self.firm.licence)
            if self.firm.licence else "",
            logo=self.firm.logo, site=site.site.name,
            number=document_number(site.site.name, code, sheet), revision=revision,
            issued=issued, title=title, kind=kind, status=status, language=language,
            checked=self.design.drawn.site.checked.name if code in CHECKED else "",
            made_from=messages(language).text(
                "head_made_from", fingerprint=self.design.fingerprint, version=__version__),
        )  # fmt: skip

    def example_stamp(self, language: str = "en", *, priced: bool = True) -> str:
        """EXAMPLE where equipment, or prices of a document that has some, are invented."""
        t, kinds = messages(language).text, ("prices", "equipment") if priced else ("equipment",)
        return " · ".join(t(f"stamp_example_{what}")
                          for what in kinds if what in self.design.example_of)  # fmt: skip


def issue_of(status: Status, code: str) -> tuple[str, str]:
    """Revision and day of a document: of its latest issue, else of the design that it shows.

    What shows no design has no day before it is issued; the index is never issued.
    """
    if last := status.latest_issue(code):
        return last.revision, last.date
    return status.revision, status.date if code in OF_DESIGN else ""


def file_stem(number: str, revision: str) -> str:
    """Name of a document's files without their ending."""
    return safe_file_name(f"{number}-{revision}")


def document_number(site_name: str, code: str, sheet: int = 1) -> str:
    """Initials of a site, the code of a document and the number of the sheet.

    Examples
    --------
    >>> document_number("Coral Street Pharmacy", "SP", 5)
    'CSP-SP-05'
    """
    return number_of(site_name, f"{code}-{sheet:02d}")
