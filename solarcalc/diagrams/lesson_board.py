"""A board with its outgoing cables as a small single-line drawing, for a lesson to find a fault in.

No drawing of a design: it has no title block, and says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from solarcalc.diagrams.lettering import SMALL_MM
from solarcalc.diagrams.sheet import THICK_MM, Sheet
from solarcalc.diagrams.symbols import HALF_MM, Placer

STEP_MM, LEFT_MM, TOP_MM, RIGHT_MM, WIDE_MM = 12.0, 4.0, 10.0, 96.0, 118.0
"""No wider, so that it can be read on a phone."""


@dataclass(frozen=True, kw_only=True)
class Outgoing:
    """One way out of a board.

    Parameters
    ----------
    name : str
    rated_a : float
        Of its breaker [A].
    cable : str
        In words.
    capacity_a : float
        What that cable may carry where it is [A].
    load_a : float
        Largest current of what it supplies [A].
    """

    name: str
    rated_a: float
    cable: str
    capacity_a: float
    load_a: float

    @property
    def words(self) -> str:
        """All its figures, for who cannot see the drawing."""
        return (f"{self.name}: breaker {self.rated_a:g} A, {self.cable} for {self.capacity_a:g} A,"
                f" load {self.load_a:g} A")  # fmt: skip


def draw_lesson_board(ways: Sequence[Outgoing]) -> str:
    """Busbar, a breaker a way, cable and load with their currents, as SVG.

    Parameters
    ----------
    ways : sequence of Outgoing
        From top to bottom.
    """
    foot_mm = TOP_MM + STEP_MM * len(ways)
    sheet = Sheet("lesson-board", "Board", "; ".join(way.words for way in ways),
                  width_mm=WIDE_MM, height_mm=foot_mm + 8.0)  # fmt: skip
    symbols = Placer(sheet)
    sheet.path([(LEFT_MM, TOP_MM), (LEFT_MM, foot_mm - 6.0)], width_mm=THICK_MM)
    sheet.text(LEFT_MM, TOP_MM - 2.0, "Board", bold=True)
    for number, way in enumerate(ways):
        y_mm, breaker_mm = TOP_MM + STEP_MM * (number + 0.5), LEFT_MM + 14.0
        sheet.path([(LEFT_MM, y_mm), (breaker_mm - HALF_MM, y_mm)])
        symbols.put("breaker", breaker_mm, y_mm)
        sheet.path([(breaker_mm + HALF_MM, y_mm), (RIGHT_MM, y_mm)])
        sheet.circle(RIGHT_MM + 3.0, y_mm, 3.0)
        sheet.text(LEFT_MM + 3.0, y_mm - 2.0, way.name, bold=True)
        sheet.text(breaker_mm + 6.0, y_mm - 2.0, f"breaker {way.rated_a:g} A")
        sheet.text(breaker_mm + 33.0, y_mm - 2.0, f"{way.cable}, may carry {way.capacity_a:g} A")
        sheet.text(RIGHT_MM + 8.0, y_mm + 1.0, f"{way.load_a:g} A")
    sheet.text(LEFT_MM, foot_mm + 3.0, "Drawing of a lesson: nothing is built by it.",
               size_mm=SMALL_MM)  # fmt: skip
    return sheet.svg()
