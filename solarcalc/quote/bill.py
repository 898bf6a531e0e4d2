"""The bill: what an installation takes, as it is bought."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.record import but
from solarcalc.basis.sourced import constant
from solarcalc.basis.text import capital, nearest
from solarcalc.basis.worded import worded
from solarcalc.installation.records import Bought, Installation
from solarcalc.installation.schedules import label_count
from solarcalc.powerroom.civil import CivilWorks
from solarcalc.sitefile.bill_items import GROUPS, ITEMS
from solarcalc.sitefile.existing import Existing

UNIT_WORDS = {"each": "", "m2": "m²", "m3": "m³", "m mm2": "m mm²"}
"""Units of the price list as they are printed, where that is different."""


CUSTOMERS_OWN = "customer's own"
"""What stands beside the name of what is not bought."""
_OWN_KEY = "-own-"


def unit_words(unit: str) -> str:
    """A unit of the price list as it is printed.

    Examples
    --------
    >>> unit_words("m2"), unit_words("each"), unit_words("m")
    ('m²', '', 'm')
    """
    return UNIT_WORDS.get(unit, unit)


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
    alike : str
        Key that it has in common with others of its rating; empty for what has none.
    owned : str
        Label of the customer's own equipment that it is, which is not bought; empty for the rest.
    """

    item: str
    key: str
    name: str
    quantity: float
    unit: str
    group: str
    size: float = 1.0
    alike: str = ""
    owned: str = ""

    @property
    def place(self) -> str:
        """Key of what the installation takes, whether it is bought or not."""
        return self.key.partition(_OWN_KEY)[0] if self.owned else self.key

    @property
    def told(self) -> str:
        """Its name, and of what is not bought whose it is."""
        return f"{self.name}, {CUSTOMERS_OWN}: {self.owned}" if self.owned else self.name

    @property
    def keys(self) -> tuple[str, ...]:
        """What a row may name it by, the very thing first."""
        return tuple(dict.fromkeys(each for each in (self.key, self.alike, self.item) if each))


def bill_of(
    built: Installation, civil: CivilWorks | None, waste_frac: float
) -> tuple[BillLine, ...]:
    """Every thing that an installation takes, by group.

    Cable of one size and material is one line however many runs it lies in; metres are rounded up
    after the waste is added, once a size. Screws, ties, tape and glands are not counted.

    Parameters
    ----------
    built : Installation
    civil : CivilWorks or None
        None where the power room stands already.
    waste_frac : float
        Of cable, duct and earth conductor, cut off and lost [frac], 0 to 1.

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
        *_parts(built), *_cables(built, longer), *_ducts(built, longer),
        _line("label", label_count(built)), *_earths(built, longer), *_room(civil),
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


def with_owned(bill: Sequence[BillLine], existing: Sequence[Existing]) -> tuple[BillLine, ...]:
    """A bill in which what is used again stands on lines of its own, after what is still bought.

    What is bought and what is used again add up to what the installation takes. Of several lines
    of one item, such as two inverters, each thing goes first to that whose rating is nearest to its
    plate. More of it than the bill asks for is left over (`left_over`), all of it where a design,
    such as a variant without a generator, has no use for it.

    Parameters
    ----------
    bill : sequence of BillLine
    existing : sequence of Existing
        By item or by key of the bill.

    Raises
    ------
    InputError
        For what no bill has.
    """
    bought = {line.key: line.quantity for line in bill}
    owned: dict[str, list[BillLine]] = defaultdict(list)
    faults = []
    for number, one in enumerate(existing, start=1):
        lines = [line for line in bill if one.bill_item in line.keys] if one.used else []
        if one.used and not lines and one.bill_item not in ITEMS:
            faults.append(_not_asked_for(number, one, bill))
        has = float(one.used)
        plate = one.plate_size
        for line in sorted(lines, key=lambda each: abs(each.size - (plate or each.size))):
            taken = min(has, bought[line.key])
            has -= taken
            bought[line.key] = round(bought[line.key] - taken, 6)
            if taken > 0.0:
                owned[line.key].append(replace(
                    line, key=f"{line.key}{_OWN_KEY}{number}", quantity=taken, owned=one.label))
    if faults:
        raise InputError(faults)
    return tuple(
        each for line in bill
        for each in (_of(line, bought[line.key]), *owned.get(line.key, ()))
        if each.quantity > 0.0
    )  # fmt: skip


def _of(line: BillLine, quantity: Quantity) -> BillLine:
    return line if quantity == line.quantity else but(line, quantity=quantity)


def left_over(bill: Sequence[BillLine], one: Existing) -> Quantity:
    """How much of what was to be used again the bill has no place for, in its unit."""
    return one.used - sum(line.quantity for line in bill if line.owned == one.label)


def _not_asked_for(number: int, one: Existing, bill: Sequence[BillLine]) -> Fault:
    items = list(dict.fromkeys(line.item for line in bill))
    near = nearest(one.bill_item, [*items, *(line.key for line in bill)])
    return Fault(**worded(
        "quote", "owned-unknown", number=number, item=one.bill_item, items=", ".join(items),
        remedy=f"did you mean {near}?" if near else "",
    ))  # fmt: skip


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


def bought_line(bought: Bought, count: int = 1) -> BillLine:
    """The line of a bill for so many of what a part is bought as."""
    line = _line(bought.item, count, part=bought.very, words=bought.words, size=bought.size)
    return but(line, alike=f"{bought.item}-{bought.alike}") if bought.alike else line


def _parts(built: Installation) -> Iterator[BillLine]:
    """Parts by what they are bought as."""
    counts: Counter[Bought] = Counter()
    for part in built.parts:
        if part.bought is not None:
            counts[part.bought] += part.count
    for bought, count in counts.items():
        yield bought_line(bought, count)


def _cables(built: Installation, longer: float) -> Iterator[BillLine]:
    """Single cores of all conductors that carry current in use, and the lugs on their ends."""
    metres: dict[tuple[str, str, float], float] = defaultdict(float)
    lugs: Counter[tuple[str, float]] = Counter()
    for one in built.conductors:
        if one.current != "earth":
            for (name, mm2), core_m in one.metres_by_size.items():
                metres[one.material, name, mm2] += core_m
        lugs[one.size_name, one.size_mm2] += one.lug_count
    for (material, name, mm2), core_m in sorted(metres.items(), key=lambda one: one[0][2]):
        yield _line(f"cable-{material}", core_m * longer, part=size_key(name), words=name,
                    size=mm2)  # fmt: skip
    for (name, mm2), count in sorted(lugs.items(), key=lambda one: one[0][1]):
        yield _line("lug", count, part=size_key(name), words=name, size=mm2)


def _ducts(built: Installation, longer: float) -> Iterator[BillLine]:
    """Ducts and conduits by their size, in the words that drawings and schedules have."""
    metres: dict[float, float] = defaultdict(float)
    words: dict[float, list[str]] = defaultdict(list)
    for route in built.routes:
        if route.duct is not None:
            metres[route.duct.outer_mm] += route.duct_m
            words[route.duct.outer_mm].append(route.duct.words)
    for outer_mm, duct_m in sorted(metres.items()):
        line = _line("duct", duct_m * longer, part=f"{outer_mm:g}mm", size=outer_mm)
        yield replace(line, name=capital("; ".join(dict.fromkeys(words[outer_mm]))))
    yield _line("trench", built.trench_m)


def _earths(built: Installation, longer: float) -> Iterator[BillLine]:
    metres: dict[float, float] = defaultdict(float)
    for one in built.earths:
        metres[one.size_mm2] += one.core_m
    for mm2, core_m in sorted(metres.items()):
        yield _line("earth-conductor", core_m * longer, part=f"{mm2:g}mm2", words=f"{mm2:g} mm²",
                    size=mm2)  # fmt: skip


def size_key(size_name: str) -> str:
    """A conductor's size as it stands in keys of the price list.

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
