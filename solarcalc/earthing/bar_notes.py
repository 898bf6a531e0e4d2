"""What is said of the main earth bar: how the two earths meet, and what it asks for."""

from __future__ import annotations

from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.earthing.bar import SPARE_TERMINALS
from solarcalc.sitefile.site import Site
from solarcalc.wiring.switching import bonds_of, system_of


def bar_notes(site: Site) -> tuple[str, ...]:
    """How the two earths of a site meet, and what its bar asks for."""
    tie = site.protection.neutral_earth_bond
    battery = _BATTERY[site.battery.pole_earthed == "none"]
    if tie in ("at-inverter", "at-changeover"):
        ours = [bond.relay for bond in bonds_of(site) if bond.ours]
        jobs = (*(_TWO_JOBS,) * (not all(ours)), *(_RELAY,) * any(ours))
        ground = [_GROUND] * ("grid" in site.sources and system_of(site, "grid") == "TT")
        return (*jobs, _WAY_BACK, *ground, battery, _SCREWS)
    where = "at the grid's own electrode" if tie == "at-grid" else "nowhere"
    lead = (f"No neutral is tied at this bar: the site file has the tie {where}. Whoever"
            " feeds the boards from the inverter alone then has no neutral on earth, and a"
            " residual current device may not trip: see the protection schedule.")  # fmt: skip
    return (lead, battery, _SCREWS)


_TWO_JOBS = (
    "Equipment earth (cases, frames, rack) and system earth (the neutral tie) are two jobs: each"
    " has its own terminal and label, and both meet at this one bar and nowhere else. Two"
    " electrodes that are not joined put a voltage between things a hand can reach."
)
_WAY_BACK = (
    "While the inverter feeds the boards with its neutral tied to earth, a fault to a case comes"
    " back through copper, not through the ground (as in TN-S): the residual current device and"
    " the protective conductor do the work."
)
_GROUND = (
    "Fed by a grid whose neutral is earthed elsewhere (TT), a fault to a case comes back through"
    " the ground: then the electrode decides."
)
_RELAY = (
    "An inverter that takes another source in joins neutral and earth by its own relay, closed only"
    " while it feeds alone: no conductor from its neutral to this bar is laid, for it would stay as"
    " a second join while the other source feeds. The relay uses the inverter's earth conductor."
)
_BATTERY = {
    True: "The battery is taken as not earthed, and both of its poles are fused. Where its sheet or"
    " the inverter's asks for one pole on earth, write battery.pole_earthed: that pole then has a"
    " conductor to this bar, and no fuse.",
    False: "One pole of the battery is on earth, at its bar and nowhere else: a fault of the other"
    " pole to a case comes back through the conductors of cases, which carry it until the fuse"
    " clears.",
}
"""By whether the battery floats."""
_SCREWS = (
    f"The bar keeps {SPARE_TERMINALS} terminals free, each conductor under a screw of its own"
    f" ({NO_SOURCE})."
)
