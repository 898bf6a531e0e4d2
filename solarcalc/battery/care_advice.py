"""How each kind of battery is to be cared for, in words for whoever does it."""

from __future__ import annotations

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import NO_SOURCE

ADVICE_SOURCE = f"{NO_SOURCE}; the maker's sheet stands before all of it"

_SAFETY_LEAD = (
    "Work on batteries is for trained people, under local codes: isolate loads and array first,"
    " take rings and watches off, use insulated tools, wear goggles and gloves; keep clean water"
    " at hand for eyes and skin.",
    "The gas of a charging battery explodes: no flame, spark or switch near it, and the openings"
    " of its place stay free.",
)
_SAFETY_LITHIUM = (
    "Work on batteries is for trained people, under local codes: isolate loads and array first,"
    " take rings and watches off, use insulated tools. A swollen, hot or smelling battery is left"
    " alone and the place cleared.",
)

_ADVICE: dict[str, tuple[str, ...]] = {
    "flooded": (
        "Charge to full at least once a week.",
        "Give an equalising charge about once a month and whenever cells differ by more than"
        " 0.03 kg/l in acid density; begin from full, stay with it, stop when the density no"
        " longer rises in three readings an hour apart, or when the battery passes 45 degC.",
        "Look at the water every month; fill up with distilled water only, after charging, to the"
        " upper mark; before charging only until the plates are covered.",
        "Never add acid. Wipe the tops dry and keep the vent plugs in.",
    ),
    "agm": (
        "Charge to full at least once a week.",
        "No equalising charge unless the maker's sheet asks for one: the water it drives off"
        " cannot be given back.",
        "Set the voltages of the charger to the maker's sheet, with compensation for temperature:"
        " a few tenths of a volt too much dry it out.",
        "It cannot be opened or filled up.",
    ),
    "gel": (
        "Charge to full at least once a week.",
        "No equalising charge unless the maker's sheet asks for one: gas bubbles stay in the gel"
        " and take capacity for good.",
        "Set the voltages of the charger to the maker's sheet, mostly lower than for mat"
        " batteries, with compensation for temperature.",
        "It cannot be opened or filled up.",
    ),
    "lifepo4": (
        "No equalising charge, ever: its own electronics even out the cells at the top of a"
        " normal charge.",
        "It lasts longer when not held full; a full charge every few weeks keeps its reading of"
        " the charge right.",
        "Never charge it below freezing; its electronics must refuse, see the maker's sheet.",
        "No compensation of the voltage for temperature.",
    ),
}


def care_advice(chemistry: str) -> tuple[str, ...]:
    """Care of a kind of battery, one sentence or two each, what can hurt first.

    Parameters
    ----------
    chemistry : {"flooded", "agm", "gel", "lifepo4"}

    Raises
    ------
    InputError
        Another chemistry.
    """
    if chemistry not in _ADVICE:
        raise InputError(
            Fault(
                where="battery care: chemistry", given=chemistry,
                allowed="one of " + ", ".join(_ADVICE),
            )
        )  # fmt: skip
    safety = _SAFETY_LITHIUM if chemistry == "lifepo4" else _SAFETY_LEAD
    return safety + _ADVICE[chemistry]
