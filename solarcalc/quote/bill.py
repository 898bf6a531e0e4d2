"""The bill of materials: what a design takes, rounded up to what is bought."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant
from solarcalc.basis.text import safe_file_name
from solarcalc.powerroom.civil import CivilWorks
from solarcalc.quote.design import Counted
from solarcalc.quote.items import GROUPS, ITEMS
from solarcalc.roof.hardware import Hardware

ROUNDING = 1e-9
Quantity = float
"""In the unit of its line."""
MIXED_STEP_M3 = constant("quote.mixed_step_m3")


@dataclass(frozen=True, kw_only=True)
class BillLine:
    """One line of the bill.

    Parameters
    ----------
    item : str
        Kind of thing, a key of `ITEMS`; the general price.
    key : str
        The very thing, a price of its own where the book has one:
        ``"cable-copper-16mm2"``; the item itself where there is nothing more to say.
    name : str
        In words.
    quantity : float
        As it is bought.
    unit : str
        Of the quantity.
    group : str
    size : float
        Of one, in the second unit of the item: a price a watt takes quantity times this.
    """

    item: str
    key: str
    name: str
    quantity: float
    unit: str
    group: str
    size: float = 1.0


def bill_of(design: Counted, waste_frac: float) -> tuple[BillLine, ...]:
    """Every thing the design takes, by group.

    Cable of one size and material is one line however many runs it lies in; metres are rounded up
    after the waste is added, once a size. Screws, ties, tape and glands are not counted.

    Parameters
    ----------
    design : Counted
    waste_frac : float
        Of cable, pipe and earth conductor, cut off and lost [frac], 0 to 1.

    Returns
    -------
    tuple of BillLine
        None has a quantity of 0.

    Raises
    ------
    InputError
        For waste outside 0 to 1, or a quantity below 0 or without end.
    """
    if not 0.0 <= waste_frac <= 1.0:
        raise InputError(Fault(where="bill_of: waste_frac", given=f"{waste_frac:g}",
                               allowed="from 0 to 1"))
    longer = 1.0 + waste_frac
    found = [
        *_equipment(design), *_hardware(design.hardware, design.rail_stock_m),
        *_cables(design, longer), *_devices(design), *_earth(design, longer),
        *_room(design.civil),
    ]  # fmt: skip
    faults = [
        Fault(where=f"bill: {line.name}", given=f"{line.quantity:g} {line.unit}",
              allowed="0 or more, a finite number")
        for line in found if not 0.0 <= line.quantity < math.inf
    ]  # fmt: skip
    if faults:
        raise InputError(faults)
    return tuple(sorted((line for line in found if line.quantity > 0.0),
                        key=lambda line: GROUPS.index(line.group)))  # fmt: skip


def rounded_up(value: Quantity, step: Quantity = 1.0) -> Quantity:
    """A quantity rounded up to a step; what agrees but for rounding is not rounded up.

    Parameters
    ----------
    value : float
    step : float
        Least that is bought.

    Examples
    --------
    >>> rounded_up(10.0 * 1.1), rounded_up(11.01), rounded_up(0.31, 0.1)
    (11.0, 12.0, 0.4)
    """
    if not math.isfinite(value):
        return value
    return round(math.ceil(value / step - ROUNDING) * step, 6)


def _line(
    item: str, quantity: float, *, part: str = "", words: str = "", size: float = 1.0,
    step: float = 1.0,
) -> BillLine:  # fmt: skip
    kind = ITEMS[item]
    return BillLine(
        item=item, key=f"{item}-{part}" if part else item,
        name=f"{kind.name}, {words}" if words else kind.name,
        quantity=rounded_up(quantity, step), unit=kind.unit, group=kind.group, size=size,
    )  # fmt: skip


def _equipment(design: Counted) -> Iterator[BillLine]:
    counts: Counter[tuple[str, str, float]] = Counter()
    for one in design.equipment:
        counts[one.key, one.label, one.size] += one.count
    for (key, label, size), count in counts.items():
        yield _line(key, count, part=safe_file_name(label), words=label, size=size)
    yield _line("battery-link", design.battery_link_count)
    yield _line("string-connector", design.string_connector_pairs)


def _hardware(parts: Hardware | None, stock_m: float) -> Iterator[BillLine]:
    if parts is None:
        return
    yield _line("rail", parts.stock_count, part=f"{stock_m:g}m", words=f"{stock_m:g} m",
                size=stock_m)  # fmt: skip
    yield _line("mid-clamp", parts.mid_clamp_count)
    yield _line("end-clamp", parts.end_clamp_count)
    yield _line("roof-foot", parts.foot_count)
    yield _line("rail-splice", parts.splice_count + parts.expansion_joint_count)


def _cables(design: Counted, longer: float) -> Iterator[BillLine]:
    metres: dict[tuple[str, str, float], float] = defaultdict(float)
    lugs: Counter[tuple[str, float]] = Counter()
    for cable in design.cables:
        metres[cable.material, cable.size_name, cable.size_mm2] += cable.core_m
        lugs[cable.size_name, cable.size_mm2] += cable.lug_count
    for (material, name, mm2), core_m in sorted(metres.items(), key=lambda one: one[0][2]):
        yield _line(f"cable-{material}", core_m * longer, part=size_key(name), words=name,
                    size=mm2)  # fmt: skip
    for (name, mm2), count in sorted(lugs.items(), key=lambda one: one[0][1]):
        yield _line("lug", count, part=size_key(name), words=name, size=mm2)
    yield _line("pipe", design.pipe_m * longer, part=f"{design.pipe_mm:g}mm",
                words=f"{design.pipe_mm:g} mm", size=design.pipe_mm)  # fmt: skip
    yield _line("trench", design.trench_m)


def size_key(size_name: str) -> str:
    """A conductor's size as it stands in keys of the price book.

    Parameters
    ----------
    size_name : str
        ``"2.5 mm²"``, ``"AWG 4"``, ``"AWG 4/0"``.

    Examples
    --------
    >>> size_key("2.5 mm²"), size_key("AWG 4/0")
    ('2.5mm2', 'awg4/0')
    """
    return size_name.replace("²", "2").replace(" ", "").lower()


def _devices(design: Counted) -> Iterator[BillLine]:
    counts: Counter[tuple[str, str, str, int]] = Counter()
    for one in design.devices:
        rated = "" if one.rated_a is None else f"{one.rated_a:g} A"
        counts[one.kind, one.current, rated, one.poles] += one.count
    for (kind, current, rated, poles), count in counts.items():
        pole_words = "1 pole" if poles == 1 else f"{poles} poles"
        words = f"{rated}, {pole_words}" if rated else pole_words
        part = f"{rated.replace(' ', '').lower()}-{poles}p".removeprefix("-")
        yield _line(f"{kind}-{current}", count, part=part, words=words, size=float(poles))
    yield _line("label", design.label_count)


def _earth(design: Counted, longer: float) -> Iterator[BillLine]:
    rod_m, mm2 = design.rod_length_m, design.earth_mm2
    yield _line("earth-rod", design.rod_count, part=f"{rod_m:g}m", words=f"{rod_m:g} m", size=rod_m)
    yield _line("earth-conductor", design.earth_m * longer, part=f"{mm2:g}mm2",
                words=f"{mm2:g} mm²", size=mm2)  # fmt: skip


def _room(works: CivilWorks | None) -> Iterator[BillLine]:
    if works is None:
        return
    if works.wall in ("block", "brick"):
        yield _line(works.wall, works.block_count)
    else:
        yield _line(f"{works.wall}-wall", works.wall_m2)
    step = float(MIXED_STEP_M3)
    yield _line("mortar", works.mortar_m3 + works.plaster_m3, step=step)
    yield _line("concrete", works.concrete_m3, step=step)
    yield _line("digging", works.dig_m3, step=step)
    covers = {"sheet": "roof-sheet", "sheet-insulated": "roof-sheet-insulated",
              "concrete": "roof-formwork"}  # fmt: skip
    yield _line(covers[works.roof], works.roof_m2)
    yield _line("plastering", works.plaster_m2)
    yield _line("paint", works.paint_l)
    yield _line("door", works.door_count)
    yield _line("vent", works.vent_count)
