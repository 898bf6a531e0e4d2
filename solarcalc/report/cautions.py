"""Dangers that every report names, whatever the site."""

from __future__ import annotations

from dataclasses import dataclass

from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE


@dataclass(frozen=True, kw_only=True)
class Caution:
    """One danger, what to do about it, and where that comes from."""

    danger: str
    measure: str
    source: str


WHO_DECIDES = (
    "This report is a calculation, not a permit and not a working instruction. Local codes, the "
    "makers' instructions and the licensed practitioner on site decide; where they differ from "
    "this report, follow them. Electrical work is done or supervised by licensed people."
)

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        danger="Modules are live whenever light falls on them; no switch makes the string dead.",
        measure="Treat every string as live. Use tools and gloves rated for its open-circuit "
        "voltage on the coldest morning. Cover modules or work in the dark where it must be dead.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="A direct current does not go out by itself: opening a connector or a fuse under "
        "load draws an arc that burns and can set fire to a roof.",
        measure="Break the load with a switch rated for the direct voltage and current first. "
        "Never open connectors under load, and never mate connectors of different makes.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="Work on a roof: falls from edges, through skylights and through weak sheets.",
        measure="Edge protection or a harness on a tested anchor, a second person, no work on wet "
        "roofs or in wind. The roof's strength under modules, wind and people is not checked "
        "here: a competent person checks it.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="A battery gives thousands of amperes into a short: a dropped spanner melts.",
        measure="Insulated tools, no rings or watches, terminals covered, a fuse or breaker rated "
        "for the bank's short-circuit current close to the bank.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="Lead-acid batteries give off hydrogen while charging, and hold acid.",
        measure="Air the room to the outside, high and low; no flame or spark; goggles, gloves "
        "and water at hand. The amount of air is calculated under the battery-room standard that "
        "applies (such as IEC 62485-2). A gas extinguisher set off in a small room takes the "
        "breath of whoever is in it: leave first, close the door.",
        source=f"IEC 62485-2 ({FROM_MEMORY})",
    ),
    Caution(
        danger="Lithium batteries can burn with poisonous smoke when overcharged, charged below "
        "freezing, crushed or overheated.",
        measure="Use only with their own battery management system working, within the maker's "
        "temperatures, away from escape routes and sleeping rooms.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="Frames, rails, cases and the neutral of an inverter can be live after a fault; "
        "lightning reaches them too.",
        measure="Earthing, bonding, residual-current and surge protection are designed and tested "
        "under the local wiring rules before the system is switched on. What this report says of "
        "them is a proposal for the licensed person to check and sign.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="An inverter can feed back into a dead grid line and kill a line worker.",
        measure="A change-over switch or relay that cannot join the two, as the grid's operator "
        "requires.",
        source=NO_SOURCE,
    ),
)
