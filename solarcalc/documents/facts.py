"""What several documents say of a design in the same words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.check import Check
from solarcalc.basis.quantity import in_unit, words_and_unit
from solarcalc.basis.text import brief, capital, whole_clauses
from solarcalc.design import Design
from solarcalc.sitefile.site import Site
from solarcalc.stages.boards import usable_battery_wh
from solarcalc.stages.progress import document_status

_KEY = re.compile(
    r"(?<![\w.])\[*(?:[a-z]{2,}(?:_[a-z0-9]+)*)(?:\.[a-z][a-z0-9_]*)+\]*"
    r"|\[+[a-z_.]+\]+|(?<![\w.])[a-z]+(?:_[a-z0-9]+)+(?![\w.])"
)
"""A key of the site file, or a table of it, within a text."""
_KEY_BEHIND = re.compile(rf" \((?:{_KEY.pattern})(?:, (?:{_KEY.pattern}))*\)")
"""Keys in brackets behind the words that say the same: for the command line and the appendix."""
PriceStatus = Literal["example", "price list", "offer"]


def trade_words(text: str) -> str:
    """A text without keys of the site file: in brackets they go, elsewhere their words stand.

    Examples
    --------
    >>> trade_words("give protection.battery_fault_a from the sheet, as [runs] has it")
    'give battery fault [A] from the sheet, as runs has it'
    >>> trade_words("enter the charger power as set (supply.charger_power_w); or less")
    'enter the charger power as set; or less'
    """
    return _KEY.sub(lambda found: _said(found[0].strip("[]")), _KEY_BEHIND.sub("", text))


def _said(key: str) -> str:
    words, unit = words_and_unit(key.rpartition(".")[2])
    return f"{words} [{unit}]" if unit else words


@dataclass(frozen=True, kw_only=True)
class Finding:
    """Checks of one rule as one line of a list: several things may break one limit.

    Parameters
    ----------
    checks : tuple of Check
    """

    checks: tuple[Check, ...]

    @property
    def item(self) -> str:
        """What was checked."""
        return self.checks[0].item

    @property
    def words(self) -> str:
        """Value against requirement of each."""
        first, *others = self.checks
        said = [f"{first.found_words} (required: {first.limit_words})"]
        said += [f"{item}: {one.found_words} (required: {one.limit_words})"
                 for one, item in zip(others, tails([one.item for one in self.checks])[1:],
                                      strict=True)]  # fmt: skip
        return "; ".join(said)

    def line(self, most: int) -> tuple[str, str, str]:
        """Item, value against requirement, and action, together at most so many letters."""
        item = brief(trade_words(self.item), 2 * most // 5)
        words = self._brief_words(7 * most // 10 - len(item))
        action = whole_clauses(trade_words(self.checks[0].remedy), most - len(item) - len(words),
                               "Action: design report, section 2")  # fmt: skip
        return item, words, capital(action)

    def _brief_words(self, most: int) -> str:
        """Value against requirement in so many letters: where room is short, of the first check.

        The requirement has half of the room at least: a value alone decides nothing.
        """
        words = trade_words(self.words)
        if len(words) <= most:
            return words
        first, more = self.checks[0], " …" * (len(self.checks) > 1)
        found, limit = trade_words(first.found_words), trade_words(first.limit_words)
        room = most - len(" (required: )") - len(more)
        limit = brief(limit, max(room - len(found), room // 2))
        return f"{brief(found, room - len(limit))} (required: {limit}){more}"


def tails(items: Sequence[str]) -> list[str]:
    """Items of which the first says what all share, up to a comma or a colon, and none again.

    Examples
    --------
    >>> tails(["Surge, essential board", "Surge, non-essential board"])
    ['Surge, essential board', 'non-essential board']
    """
    begins = _shared(items)
    return [*items[:1], *(item[begins:] for item in items[1:])]


def _shared(items: Sequence[str]) -> int:
    same = 0
    while items and all(len(one) > same and one[same] == items[0][same] for one in items):
        same += 1
    ends = [items[0].rfind(mark, 0, same) for mark in (", ", ": ")]
    return max(ends) + 2 if max(ends) >= 0 else 0


def findings_of(checks: Iterable[Check]) -> tuple[Finding, ...]:
    """Checks in their order, those of one rule, one outcome and one remedy together."""
    groups: dict[tuple[str, str, str], list[Check]] = {}
    for check in checks:
        groups.setdefault((check.rule, check.outcome, check.remedy), []).append(check)
    return tuple(Finding(checks=tuple(one)) for one in groups.values())


def to_review(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Those that a person has still to look at."""
    return tuple(check for check in checks if check.open and check.outcome == "review")


def verdict(design: Design) -> str:
    """How many checks failed, how many a person has to look at, how many could not be assessed."""
    checks = design.all_checks
    failed, missing = (sum(check.outcome == outcome for check in checks)
                       for outcome in ("failed", "not assessed"))  # fmt: skip
    return f"{failed} FAILED, {len(to_review(checks))} TO REVIEW, {missing} NOT ASSESSED."


def kwp(site: Site) -> str:
    """Rated power of the array with its unit."""
    return f"{in_unit(site.array_w / 1000.0, 'kWp')} kWp"


def usable_kwh(design: Design) -> str:
    """Usable energy of the battery, down to its minimum state of charge, with its unit."""
    return f"{in_unit(usable_battery_wh(design) / 1000.0)} kWh"


def kilowatts(power_w: float) -> str:
    """Power in kilowatts, without the unit."""
    return in_unit(power_w / 1000.0)


def inverter_kilowatts(site: Site) -> tuple[str, ...]:
    """Power of the inverter of the essential and of the other board; one that serves both alone."""
    return tuple(
        f"{one.alike}{kilowatts(one.continuous_power_w)}" for one in site.inverters.values()
    )


def proposal(design: Design) -> str:
    """What is proposed, in one sentence."""
    site = design.site
    count, powers = site.module_count, inverter_kilowatts(site)
    said = [f"{count} module{'s' * (count != 1)} of {in_unit(site.module.pmax_w)} W ({kwp(site)})",
            f"{usable_kwh(design)} usable {site.battery.traits.name} battery",
            f"inverters of {powers[0]} kW (essential) and {powers[1]} kW (other)"
            if len(powers) > 1 else
            f"{'inverters' if '×' in powers[0] else 'one inverter'} of {powers[0]} kW for both"
            " boards"]  # fmt: skip
    if site.generator.there:
        said.append(f"generator of {kilowatts(site.generator.power_w)} kW")
    if site.grid.there:
        said.append("the public grid")
    return f"{', '.join(said[:-1])} and {said[-1]}."


def price_status(design: Design) -> PriceStatus:
    """Whose prices the total rests on: invented ones, the firm's list, or those of an offer made.

    An offer is made once its quote was issued for this revision of the design.
    """
    if "prices" in design.example_of:
        return "example"
    return "offer" if document_status(design, "QU") == "for offer" else "price list"


ROOF = "roof strength, wind and ballast"
NOT_COVERED = "final circuits, lightning protection, selectivity curves, permits"


def not_assessed(design: Design) -> str:
    """The checks that nobody could make yet, by name; empty where there is none."""
    found = findings_of(one for one in design.all_checks if one.outcome == "not assessed")
    return "; ".join(trade_words(one.item) for one in found)


def not_covered(site: Site) -> str:
    """What no check here covers; the roof among it until a named person has assessed it."""
    roof = site.status.roof_confirmed
    return f"{NOT_COVERED}. {ROOF.capitalize()}: confirmed by {roof}." if roof else (
        f"{ROOF} (until a named qualified person has assessed them), {NOT_COVERED}.")
