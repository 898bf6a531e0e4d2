"""The blank test sheet as a page to print: boxes to write in, black on white, A4."""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.commissioning import SAFETY, TestLine
from solarcalc.commissioning.line import LETTERS, YES_NO
from solarcalc.report.cautions import WHO_DECIDES
from solarcalc.report.records import SiteSummary
from solarcalc.report.write import environment

_NO_INSTRUMENT = ("eyes", "display")
"""Beginnings of what is written under an instrument and is none that is calibrated."""
LIGHT_METER = "irradiance meter or reference cell, and thermometer on the back of a module"


def blank_sheet_html(site: SiteSummary, lines: Sequence[TestLine]) -> str:
    """The sheet of a site as one HTML file that needs nothing else.

    Parameters
    ----------
    site : SiteSummary
        Words of the title block; escaped wherever they appear.
    lines : sequence of TestLine
        `solarcalc.commissioning.sheet_of` the site.
    """
    categories = [
        (category, [line for line in lines if line.category == category]) for category in LETTERS
    ]
    return environment().get_template("sheet.html.j2").render(
        site=site,
        count=len(lines),
        categories=[(category, found) for category, found in categories if found],
        instruments=_instruments(lines),
        safety=SAFETY,
        who_decides=WHO_DECIDES,
        yes_no=YES_NO,
    )


def _instruments(lines: Sequence[TestLine]) -> list[str]:
    """Each kind of instrument once, in the order of its first use."""
    names = dict.fromkeys(
        line.instrument.split(",")[0] for line in lines
        if not line.instrument.startswith(_NO_INSTRUMENT)
    )  # fmt: skip
    lit = [LIGHT_METER] if any(line.wants_light for line in lines) else []
    return [*names, *lit]
