"""Electrical sheets of the site pack: each drawing with what it shows in words, and its tables."""

from __future__ import annotations

from solarcalc.basis.messages import PATTERN
from solarcalc.basis.phrases import phrase
from solarcalc.design import Design
from solarcalc.diagrams.earthing import bond_states, earthing_drawing
from solarcalc.diagrams.room import room_drawing, room_words
from solarcalc.diagrams.single_line import further_planes, single_line, single_line_words
from solarcalc.diagrams.single_line_reduced import single_line_reduced
from solarcalc.installation import schedules
from solarcalc.installation.standing import held_words, room_tags
from solarcalc.sitepack import switching
from solarcalc.stages.money import civil_of
from solarcalc.views.earthing import electrode_words
from solarcalc.views.rows import Row
from solarcalc.views.sitepack import Drawn


def single_line_sheet(design: Design, language: str = PATTERN) -> Drawn:
    """The single-line diagram, A3 (SP 5)."""
    built = design.drawn.installation
    return single_line(built, language), phrase(single_line_words(built), language)


def single_line_sheets(design: Design, language: str = PATTERN) -> list[Drawn]:
    """The same, and those of the roof planes after the second (SP 5a)."""
    whole, words = single_line_sheet(design, language)
    more = further_planes(design.drawn.installation, language)
    return [(drawn, words) for drawn in (whole, *more)]


def single_line_figure(design: Design) -> Drawn:
    """The reduced single-line diagram, half a page of A4 (DR 7)."""
    built = design.drawn.installation
    return single_line_reduced(built), single_line_words(built)


def room_sheet(design: Design, language: str = PATTERN) -> Drawn:
    """Plan and views of the power room with the tags of its parts, A3 (SP 6)."""
    site, layout, civil = design.drawn.site, design.room.layout, civil_of(design.site)
    drawn = room_drawing(layout, site_name=site.site.name, firm=site.firm, checked=site.checked,
                         status=site.status, tags=room_tags(design.installation),
                         held=held_words(design.installation),
                         civil=civil.measures if civil else "", language=language)  # fmt: skip
    return drawn, phrase(room_words(layout), language)


def earthing_sheet(design: Design, language: str = PATTERN) -> Drawn:
    """The earthing diagram with terminals, tags and bonds by supply state, A4 (SP 7b)."""
    built = design.drawn.installation
    drawn = earthing_drawing(built, design.earth.lines, electrode_words(design), language)
    bonds = "; ".join(state.words for state in bond_states(built))
    return drawn, phrase(f"{len(built.earths)} earth conductors by size and terminal."
                         f" Bonds: {bonds}.", language)  # fmt: skip


def cable_and_protection_rows(design: Design) -> list[Row]:
    """Cables with what protects them in one table (SP 8; DR 8 shows `REDUCED_COLUMNS`)."""
    return schedules.cable_and_protection_rows(design.installation)


def wall_rows(design: Design) -> list[Row]:
    """Switching off, on and in an emergency side by side (SP 13)."""
    return switching.wall_rows(design.installation)
