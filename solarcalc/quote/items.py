"""Every kind of thing a bill can hold: its key in the price book, unit, and group."""

from __future__ import annotations

from dataclasses import dataclass

GROUPS = (
    "array", "roof fixings", "electronics", "battery", "cables and pipe", "protection", "earthing",
    "power room",
)  # fmt: skip
"""Groups of a bill, in the order they are printed."""

UNIT_WORDS = {"each": "", "m2": "m²", "m3": "m³", "m mm2": "m mm²"}
"""Units of the price book as they are printed, where that is different."""


@dataclass(frozen=True, kw_only=True)
class Item:
    """A kind of thing to buy.

    Parameters
    ----------
    key : str
        In the price book, for all of the kind.
    name : str
        In words.
    unit : str
        It is counted in.
    group : str
        One of `GROUPS`.
    by : str
        Second unit a price may be given by, quantity times size: ``"W"`` for modules,
        ``"m mm2"`` for cable; empty where there is none.
    """

    key: str
    name: str
    unit: str
    group: str
    by: str = ""


def _item(key: str, name: str, unit: str, group: str, by: str = "") -> tuple[str, Item]:
    return key, Item(key=key, name=name, unit=unit, group=group, by=by)


_DEVICES = {
    "fuse": "Fuse with holder", "breaker": "Circuit breaker", "isolator": "Isolator",
    "surge": "Surge protective device", "residual": "Residual-current device",
    "changeover": "Changeover switch",
}  # fmt: skip
_CURRENTS = {"dc": "direct current", "ac": "alternating current"}

ITEMS: dict[str, Item] = dict([
    _item("module", "Module", "each", "array", "W"),
    _item("string-connector", "Pair of connectors of a string", "each", "array"),
    _item("combiner", "Combiner box", "each", "array", "string"),
    _item("rail", "Rail, stock length", "each", "roof fixings", "m"),
    _item("mid-clamp", "Clamp between modules", "each", "roof fixings"),
    _item("end-clamp", "Clamp at the end of a row", "each", "roof fixings"),
    _item("roof-foot", "Foot of a rail", "each", "roof fixings"),
    _item("rail-splice", "Joint of a rail", "each", "roof fixings"),
    _item("controller", "Charge controller", "each", "electronics", "A"),
    _item("inverter", "Inverter", "each", "electronics", "W"),
    _item("generator", "Generator", "each", "electronics", "W"),
    _item("battery", "Battery unit", "each", "battery", "kWh"),
    _item("rack", "Battery rack", "each", "battery"),
    _item("busbar", "Busbar with cover", "each", "battery", "A"),
    _item("battery-link", "Link between battery units", "each", "battery"),
    _item("cable-copper", "Cable, copper, single core", "m", "cables and pipe", "m mm2"),
    _item("cable-aluminium", "Cable, aluminium, single core", "m", "cables and pipe", "m mm2"),
    _item("lug", "Pressed lug", "each", "cables and pipe", "mm2"),
    _item("pipe", "Pipe for cables", "m", "cables and pipe", "m mm"),
    _item("trench", "Trench, dug and filled again", "m", "cables and pipe"),
    *(
        _item(f"{kind}-{current}", f"{name}, {_CURRENTS[current]}", "each", "protection", "pole")
        for kind, name in _DEVICES.items()
        for current in _CURRENTS
    ),
    _item("board", "Distribution board", "each", "protection"),
    _item("label", "Warning label or plate", "each", "protection"),
    _item("earth-rod", "Earth rod with clamp", "each", "earthing", "m"),
    _item("earth-conductor", "Earth conductor", "m", "earthing", "m mm2"),
    _item("earth-bar", "Main earth bar", "each", "earthing", "terminal"),
    _item("test-link", "Test link", "each", "earthing"),
    _item("block", "Block, 400 x 200 mm", "each", "power room"),
    _item("brick", "Brick", "each", "power room"),
    _item("timber-wall", "Wall of timber and boards", "m2", "power room"),
    _item("sheet-wall", "Wall of metal sheet on posts", "m2", "power room"),
    _item("mortar", "Mortar and plaster, mixed", "m3", "power room"),
    _item("concrete", "Concrete", "m3", "power room"),
    _item("digging", "Digging for the footing", "m3", "power room"),
    _item("roof-sheet", "Roof sheets with timbers", "m2", "power room"),
    _item("roof-sheet-insulated", "Insulated roof sheets with timbers", "m2", "power room"),
    _item("roof-formwork", "Formwork and steel of a concrete roof", "m2", "power room"),
    _item("plastering", "Plaster put on and smoothed", "m2", "power room"),
    _item("paint", "Paint", "l", "power room"),
    _item("extinguisher", "Fire extinguisher", "each", "power room"),
    _item("alarm", "Smoke alarm", "each", "power room"),
    _item("fan", "Fan that makes no spark", "each", "power room"),
    _item("door", "Door with lock", "each", "power room"),
    _item("vent", "Vent with insect mesh", "each", "power room"),
])  # fmt: skip
"""Every kind by its key."""


def unit_words(unit: str) -> str:
    """A unit of the price book as it is printed.

    Examples
    --------
    >>> unit_words("m2"), unit_words("each"), unit_words("m")
    ('m²', '', 'm')
    """
    return UNIT_WORDS.get(unit, unit)
