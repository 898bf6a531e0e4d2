"""What a workbook calls to put things on the page; whatever it is given is shown as text.

Nothing here sums or decides. Every word that may come from a site file (names, notes, labels)
is escaped, so that it can neither run nor be read as a formula.
"""

from solarcalc.page.controls import explore
from solarcalc.page.pictures import FIGURE_DPI, show_figure
from solarcalc.page.publish import (
    ASSUMPTIONS_MIME,
    DRAWING_MIME,
    FILES_MIME,
    FORMULA_MIME,
    MARKS,
    PAGE_MARK,
    RESULTS_MIME,
    SCHEDULE_MIME,
)
from solarcalc.page.results import show_results
from solarcalc.page.sheets import show_drawing, show_files, show_schedule
from solarcalc.page.words import (
    say,
    show_assumptions,
    show_formula,
    show_points,
    show_table,
    show_verdicts,
)

__all__ = [
    "ASSUMPTIONS_MIME",
    "DRAWING_MIME",
    "FIGURE_DPI",
    "FILES_MIME",
    "FORMULA_MIME",
    "MARKS",
    "PAGE_MARK",
    "RESULTS_MIME",
    "SCHEDULE_MIME",
    "explore",
    "say",
    "show_assumptions",
    "show_drawing",
    "show_figure",
    "show_files",
    "show_formula",
    "show_points",
    "show_results",
    "show_schedule",
    "show_table",
    "show_verdicts",
]
