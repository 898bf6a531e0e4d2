"""What is at the ends of a conductor: the devices that stand in it, and the lugs pressed on it.

Where a device stands is settled here; drawings, schedules and the switching order read it.
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence

from solarcalc.basis.record import but
from solarcalc.basis.sourced import constant
from solarcalc.installation.records import Conductor, Part
from solarcalc.wiring.runs import plane_key, plane_number, stem_of

LUGS_FROM_MM2 = float(constant("installation.lugs_from_mm2"))
BOLTED = ("busbar", "battery")
"""What a conductor is bolted to with a lug, however thin it is."""
STANDS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "string": ((), ("string-fuse",)),
    "dc_main": ((), ("array-isolator",)),
    "controller_battery": ((), ("controller-breaker", "controller-fuse")),
    "battery_inverter": (("inverter-fuse",), ()),
    "battery_main": (("battery-fuse",), ("battery-isolator",)),
    "battery_string": (("battery-string-fuse",), ()),
    "inverter_output": ((), ("output-breaker",)),
    "inverter_board": (("board-breaker",), ("residual",)),
    "board_house": (("house-breaker",), ()),
    "grid_in": (("grid-breaker", "residual-grid"), ()),
    "generator_in": (("generator-breaker", "residual-generator"), ()),
}
"""Devices in a run, at its start and at its end, in the order from its start.

At the end that can feed a short circuit: IEC 60364-4-43 cl. 434.2, where the capacity of the
conductor is reduced, which for a controller's cable is the battery's bars.
"""


def with_devices(one: Conductor, keys: Container[str]) -> Conductor:
    """The conductor with the devices that stand at its ends.

    Parameters
    ----------
    one : Conductor
    keys : container of str
        Of the parts that are there.
    """
    stem = next((stem for stem in STANDS if one.key.startswith(stem)), "")
    board, number = stem_of(one.key).removeprefix(stem).strip("_-"), plane_number(one.key)
    start, end = (_there(stems, board, keys, number) for stems in STANDS.get(stem, ((), ())))
    return but(one, at_start=start, at_end=end)


def _there(
    stems: Sequence[str], board: str, keys: Container[str], plane: int
) -> tuple[str, ...]:
    """Keys of a board's devices, else of those for all boards of a plane, that are there."""
    named = ((f"{stem}-{board}", plane_key(stem, plane)) for stem in stems)
    found = (next((key for key in pair if key in keys), "") for pair in named)
    return tuple(key for key in found if key)


def with_lugs(one: Conductor, parts: Mapping[str, Part]) -> Conductor:
    """The conductor with its lugs counted: of one at the battery, each end that lands on a bolt.

    A fuse or isolator in it parts it: two more ends for each of its poles in one circuit.
    """
    ends = [parts[key].kind for key in (one.start, one.end) if key in parts]
    if one.current != "dc" or not any(kind in BOLTED for kind in ends):
        return one
    large = one.size_mm2 >= LUGS_FROM_MM2
    poles = sum(parts[key].poles * parts[key].sides for key in (*one.at_start, *one.at_end)
                if parts[key].kind in ("fuse", "isolator"))  # fmt: skip
    each = 2 * sum(large or kind in BOLTED for kind in ends) + 2 * poles * large
    return but(one, lug_count=each * one.in_parallel * one.count)
