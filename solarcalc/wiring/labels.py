"""Which end is plus, which colour a core has, and what each string is called."""

from __future__ import annotations

import math

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import FROM_MEMORY
from solarcalc.sitefile.site import Site

TEST_RULE = "IEC 62446-1 cl. 6.2 and 6.3: polarity test, combiner box test"
COLOUR_RULE = f"IEC 60445:2021, {FROM_MEMORY}"


def string_names(strings: int) -> tuple[str, ...]:
    """S1, S2 and so on.

    Raises
    ------
    InputError
        When there is none.
    """
    if strings < 1:
        fault = Fault(where="strings in parallel", given=f"{strings}", allowed="1 or more")
        raise InputError(fault)
    return tuple(f"S{number}" for number in range(1, strings + 1))


def core_colour_rows() -> list[dict[str, object]]:
    """Colours of cores; the local code decides where it says otherwise."""
    note = "local code decides; mark both ends with letters whatever the colour"
    return [
        {"core": "plus, L+", "colour": "red", "source": COLOUR_RULE, "note": note},
        {"core": "minus, L−", "colour": "white", "source": COLOUR_RULE,
         "note": f"black is common, and black for both on solar cable; {note}"},
        {"core": "line L1, L2, L3", "colour": "brown, black, grey", "source": COLOUR_RULE,
         "note": note},
        {"core": "neutral N", "colour": "blue", "source": COLOUR_RULE, "note": note},
        {"core": "protective earth", "colour": "green-and-yellow, for nothing else",
         "source": COLOUR_RULE, "note": note},
        {"core": "functional earth", "colour": "pink", "source": COLOUR_RULE, "note": note},
    ]  # fmt: skip


def polarity_steps(site: Site, cold_voc_v: float) -> tuple[str, ...]:
    """How the polarity is proved before anything is closed, step by step (IEC 62446-1).

    From plus to plus of two strings, one of them reversed, stands twice the voltage of a string:
    the meter must be made for that.

    Parameters
    ----------
    site : Site
    cold_voc_v : float
        Open circuit of a string at the record low [V].
    """
    names = string_names(site.array.string_count)
    meter_v = cold_voc_v * (2.0 if len(names) > 1 else 1.0)
    which = names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}, one at a time"
    steps = [
        "All isolators off, fuse carriers open, controllers and battery parted.",
        f"Meter and leads made for {math.ceil(meter_v)} V direct current or more, insulating"
        " gloves; test the meter on a known source first.",
        f"Strings {which}: red lead on the end marked plus, black on minus. The reading must be"
        " positive; a minus sign means swapped ends.",
        f"Write the voltage down. {site.array.modules_in_series} modules each: strings within"
        " 5 % of one another in the same light.",
    ]
    if len(names) > 1:
        steps += [
            "In the combiner, first put two strings' minus ends on the bar and measure from plus to"
            " plus: near 0 V. Near twice the string voltage means that one is reversed; do not"
            " close.",
            "Repeat for each further string against the first.",
        ]
    steps += [
        "At the controller's input, isolator on, nothing connected: plus is plus, voltage as"
        " before. Isolator off again; then connect.",
        f"The same for the battery: {site.battery.nominal_voltage_v:.0f} V, plus is plus, before"
        " its fuse is closed.",
        "Never trust the colour of a sheath or the plug alone: makers' leads have been swapped.",
        "Live direct current is work for licensed people, under local codes, never alone.",
    ]
    return tuple(steps)
