"""Border, heading and foot that every drawing has: what it is, of which site, who checks it."""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.diagrams.sheet import SMALL_MM, THIN_MM, TITLE_MM, Sheet, fitted

BORDER_MM = 5.0
FOOT_TOP_MM = 190.6
NOTES_MM, NOTE_STEP_MM = 145.0, 3.2
"""Width of the notes, and from line to line [mm]."""
CAUTION = (
    "Checked by a licensed electrician under local codes before any work begins.",
    "Danger: modules in daylight and batteries at any time stay live; no switch at the source.",
)
"""Written at the foot of every drawing that people build by."""


def draw_frame(sheet: Sheet, site_name: str, kind: str, notes: Sequence[str]) -> None:
    """Border, heading, notes and caution.

    Parameters
    ----------
    sheet : Sheet
    site_name : str
        Of any length and in any letters; cut where there is no room.
    kind : str
        What is drawn.
    notes : sequence of str
        One after another, in four lines; the last is cut where there is no room.
    """
    right_mm, foot_mm = sheet.width_mm - BORDER_MM, sheet.height_mm - BORDER_MM
    sheet.box(BORDER_MM, BORDER_MM, right_mm, foot_mm, width_mm=THIN_MM)
    sheet.path([(BORDER_MM, FOOT_TOP_MM), (right_mm, FOOT_TOP_MM)], width_mm=THIN_MM)
    heading = fitted(f"{kind}: {site_name}", right_mm - 12.0, size_mm=TITLE_MM * 0.8, lines=1)
    sheet.lines(8.0, 11.2, heading, size_mm=TITLE_MM * 0.8, bold_first=True)
    y_mm = FOOT_TOP_MM + 3.9
    for line, bold in [(each, True) for each in CAUTION[:1]] + [(CAUTION[1], False)]:
        sheet.text(right_mm - 2.0, y_mm, line, size_mm=SMALL_MM, anchor="end", bold=bold)
        y_mm += 3.6
    sheet.text(right_mm - 2.0, y_mm, "Made from the site file; not to scale where no scale is"
               " shown.", size_mm=SMALL_MM, anchor="end")  # fmt: skip
    y_mm = FOOT_TOP_MM + 3.4
    for line in fitted(" ".join(notes), NOTES_MM, size_mm=SMALL_MM, lines=4):
        sheet.text(8.0, y_mm, line, size_mm=SMALL_MM)
        y_mm += NOTE_STEP_MM


