"""What of the customer's own is used again in the design: how much of it, and what it takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from solarcalc.basis.check import Check, checked
from solarcalc.basis.quantity import in_quantity
from solarcalc.basis.text import small
from solarcalc.basis.worded import worded
from solarcalc.battery.existing import JUDGED, judge_existing
from solarcalc.battery.existing_battery import Place, plate_ah, same_class
from solarcalc.commissioning.line import insulation_test
from solarcalc.quote.bill import BillLine, Quantity, left_over, unit_words
from solarcalc.sitefile.existing import Existing
from solarcalc.sitefile.site import Site

SAME_FRAC = 0.02
"""Two plates within that of each other are of one type; no source [frac]."""
MIXED = ("battery", "module")
"""Items whose old and new ones do not go together."""


@dataclass(frozen=True, kw_only=True)
class Used:
    """One thing of the customer's with what the bill takes of it.

    Parameters
    ----------
    thing : Existing
    lines : tuple of BillLine
        Those it stands on.
    left_over : float
        Of what was to be used again, in the unit of the bill.
    bought : float
        Of the same kind, new or another's, beside it.
    """

    thing: Existing
    lines: tuple[BillLine, ...]
    left_over: Quantity
    bought: Quantity

    @property
    def quantity(self) -> Quantity:
        """How much of it is used again, in the unit of the bill."""
        return sum(line.quantity for line in self.lines)

    @property
    def told(self) -> str:
        """How much of what, for a list: ``"16 × Old battery"``; metres have their unit."""
        unit = unit_words(self.lines[0].unit) if self.lines else ""
        count = in_quantity(self.quantity)
        return f"{count} {unit} {self.thing.label}" if unit else f"{count} × {self.thing.label}"

    @property
    def words(self) -> str:
        """How much is used again, what is left over, what is bought beside it."""
        unit = f" {unit_words(self.lines[0].unit)}".rstrip() if self.lines else ""
        said = [f"{self.thing.label}: {in_quantity(self.quantity)}{unit} used again, not bought"]
        said += [f"{in_quantity(self.left_over)}{unit} left over"] * (self.left_over > 0.0)
        said += [f"{in_quantity(self.bought)}{unit} more needed beside it"] * (self.bought > 0.0)
        return "; ".join(said)


def told_of(bill: Sequence[BillLine], existing: Sequence[Existing]) -> str:
    """All that is used again, as one list; empty where nothing is."""
    return ", ".join(one.told for one in used_of(bill, existing) if one.lines)


def used_of(bill: Sequence[BillLine], existing: Sequence[Existing]) -> tuple[Used, ...]:
    """What is used again, in the order of the site file."""
    found = []
    for one in existing:
        if one.used:
            lines = tuple(line for line in bill if line.owned == one.label)
            places = {line.place for line in lines}
            beside = sum(line.quantity for line in bill
                         if line.place in places and line.owned != one.label)
            found.append(Used(thing=one, lines=lines, left_over=left_over(bill, one),
                              bought=beside))  # fmt: skip
    return tuple(found)


def owned_checks(site: Site, bill: Sequence[BillLine], place: Place) -> Iterator[Check]:
    """Tests, plates and lots of what is used again; nothing where nothing is.

    Parameters
    ----------
    site : Site
    bill : sequence of BillLine
    place : Place
        What its boards and its bank ask of a thing.
    """
    for used in used_of(bill, site.existing):
        thing = used.thing
        if not used.lines:
            yield Check(outcome="review", **worded("stages", "owned-unneeded", label=thing.label))
            continue
        yield _tested(thing)
        yield from _insulation(site, thing)
        yield from _plate(site, used)
        yield from _mixed(used)
        yield from _measured(site, thing)
        if thing.kind in JUDGED:
            choice, *tests = judge_existing(thing, place).checks
            yield from [choice] * (choice.found != "test first")
            yield from (replace(one, item=f"{thing.label}: {small(one.item)}")
                        for one in tests)


def _tested(thing: Existing) -> Check:
    test = worded("stages", "owned-tests")[thing.kind]
    found = f"tested by {thing.tested_by}, {thing.tested_on}" if thing.tested else "not tested"
    return checked(thing.tested, "review", **worded(
        "stages", "owned-tested", label=thing.label, found=found, test=test))  # fmt: skip


def _insulation(site: Site, thing: Existing) -> Iterator[Check]:
    if thing.insulation_megohm is None:
        return
    series = max(one.array.modules_in_series for one in site.sites)
    array_v = 1.25 * site.module.voc_v * series
    test = (insulation_test("array", array_v) if thing.kind == "module"
            else insulation_test("others", 0.0))  # fmt: skip
    yield checked(thing.insulation_megohm >= test.least_megohm, "failed", **worded(
        "stages", "owned-insulation", label=thing.label, megohm=thing.insulation_megohm,
        least_megohm=test.least_megohm, test_v=test.test_v, clause=test.clause))  # fmt: skip


Figure = tuple[str, float | str, float | str]
"""Key of the site file, what the plate says, what the design has."""


def _plate(site: Site, used: Used) -> Iterator[Check]:
    """Whether the design is that of what stands there."""
    unlike = [one for one in _figures(site, used) if not _alike(one[1], one[2])]
    if not used.lines or used.thing.kind == "part":
        return
    plate = ", ".join(f"{key} {_said(own)} on its plate, {_said(design)} in the design"
                      for key, own, design in unlike)  # fmt: skip
    give = ", ".join(f"{key} = {_said(own)}" for key, own, _ in unlike)
    yield checked(not unlike, "failed", **worded(
        "stages", "owned-plate", label=used.thing.label, found=plate or "alike",
        remedy=f"give the design the figures of its plate: {give}; or write used = 0"))  # fmt: skip


def _figures(site: Site, used: Used) -> Iterator[Figure]:
    thing = used.thing
    if thing.kind == "battery":
        battery = site.battery
        yield "battery.chemistry", str(thing.chemistry), str(battery.chemistry)
        yield "battery.unit_voltage_v", thing.unit_voltage_v or 0.0, battery.unit_voltage_v
        yield ("battery.unit_capacity_ah", plate_ah(thing, battery.rated_time_h),
               battery.unit_capacity_ah)  # fmt: skip
    elif thing.kind == "module":
        for key in ("pmax_w", "voc_v", "isc_a"):
            yield f"module.{key}", getattr(thing, key), getattr(site.module, key)
    else:
        yield from _at_least(site, used)


def _at_least(site: Site, used: Used) -> Iterator[Figure]:
    """Ratings that the plate must reach, where it falls short."""
    thing = used.thing
    if thing.kind == "inverter":
        size = max((line.size for line in used.lines), default=0.0)
        for board, one in site.inverters.items():
            if one.continuous_power_w == size:
                yield from _short(f"inverter.{board}.continuous_power_w",
                                  thing.continuous_power_w, one.continuous_power_w)
                yield from _short(f"inverter.{board}.surge_power_va", thing.surge_power_va,
                                  one.surge_power_va)
                if not same_class(thing.bank_voltage_v or 0.0, site.battery.nominal_voltage_v):
                    yield ("nominal battery voltage", thing.bank_voltage_v or 0.0,
                           site.battery.nominal_voltage_v)  # fmt: skip
    elif thing.kind == "controller":
        yield from _short("controller.max_charge_current_a", thing.max_charge_current_a,
                          max((line.size for line in used.lines), default=0.0))
    elif thing.kind == "generator":
        yield from _short("generator.power_w", thing.power_w, site.generator.power_w)


def _short(key: str, own: float | None, asked: float) -> Iterator[Figure]:
    if own is not None and own < asked * (1.0 - SAME_FRAC):
        yield key, own, asked


def _alike(own: float | str, design: float | str) -> bool:
    if isinstance(own, str) or isinstance(design, str):
        return own == design
    return abs(own - design) <= SAME_FRAC * max(abs(own), abs(design))


def _mixed(used: Used) -> Iterator[Check]:
    """Old ones with new ones, or with others' old ones, in one lot."""
    items = {line.item for line in used.lines} & set(MIXED)
    for item in sorted(items):
        yield checked(used.bought <= 0.0, "review", **worded(
            "stages", "owned-mixed-battery" if item == "battery" else "owned-mixed-module",
            label=used.thing.label, owned=in_quantity(used.quantity),
            bought=in_quantity(used.bought)))  # fmt: skip


def _measured(site: Site, thing: Existing) -> Iterator[Check]:
    """What a generator or a controller held, against what the design asks of it."""
    held, asked, unit = {
        "generator": (thing.measured_power_w, site.generator.power_w, "W"),
        "controller": (thing.measured_charge_current_a,
                       max(one.controller.max_charge_current_a for one in site.sites), "A"),
    }.get(thing.kind, (None, 0.0, ""))
    if held is not None:
        yield checked(held >= asked * (1.0 - SAME_FRAC), "failed", **worded(
            "stages", "owned-measured", label=thing.label, held=held, asked=asked, unit=unit))


def _said(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:g}"
