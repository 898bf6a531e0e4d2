"""What a search over whole systems shows: winners, what was refused, neighbours, front, variants.

It brings in a compiler (see `solarcalc.views.arrays_tried`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from solarcalc.basis.check import Check
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.quantity import grouped, in_percent, signed
from solarcalc.basis.worded import worded
from solarcalc.design import Design, open_design
from solarcalc.quote.economics import Money
from solarcalc.search.axes import NAMES, NEVER_TRIED, as_designed
from solarcalc.search.bounds import ENGINE_CYCLES, ENGINE_HOURS, ENGINE_MARGIN, Criterion, Wish
from solarcalc.search.points import axis_words, point_words
from solarcalc.search.searched import Searched, search
from solarcalc.search.whole import (
    MOST_BUILT,
    Neighbour,
    Refused,
    Weigh,
    Winner,
    best_under,
    cheapest_for,
    front_of,
    neighbours_of,
)
from solarcalc.sitefile.search import INVERTERS, OWN_KIND
from solarcalc.sitefile.variants import variant_entry
from solarcalc.views.rows import Row

MOST_TOLD = 8
"""Refused candidates that are told one by one."""


def counts_sentence(searched: Searched) -> str:
    """How many systems there are, and how many of them had to be run."""
    held, run = searched.held, searched.run
    ways = searched.planes
    said = (f"{_whole(searched.candidates)} whole systems on {_whole(ways)}"
            f" way{'s' * (ways != 1)} to lay the rows (tilt, azimuth, row pitch, portrait or"
            f" landscape); the roof holds {_whole(held)} of them. {_whole(run)} were run hour by"
            f" hour through the year, and {_whole(searched.bounds)} in more light than theirs.")
    return said if run == held else (
        f"{said} {in_percent(1.0 - run / held)} % were not run, as they cannot be better: in the"
        " light of a front row, which no other shades, or the most of several tilts, azimuths or"
        " row pitches in each hour, they serve no better than a system that was run."
    )


def caution_line(searched: Searched) -> str:
    """What the answer is worth where a generator is among what was tried; else empty."""
    if searched.proven:
        return ""
    return str(worded("search", "not-proven", margin_h=ENGINE_HOURS, turns=ENGINE_CYCLES,
                      margin_percent=100.0 * ENGINE_MARGIN)["caution"])  # fmt: skip


def axes_lines(searched: Searched) -> Iterator[str]:
    """What was tried, what could not be, and what never is."""
    for name in NAMES:
        values = getattr(searched.axes, name)
        if name not in (*INVERTERS, "planes") or (name in INVERTERS and values != (OWN_KIND,)):
            yield _tried([axis_words(name, value) for value in values])
    yield from _planes_lines(searched)
    for one in searched.left_out:
        yield f"not tried: {one.axis} {one.value}: {one.why}"
    if all(getattr(searched.axes, name) == (OWN_KIND,) for name in INVERTERS):
        yield "stay as designed: inverters; search.inverter may try others"
    yield f"never changed: {NEVER_TRIED}"


def _tried(said: Sequence[str]) -> str:
    return f"tried: {said[0]}" + (f" to {said[-1]}, {len(said)} values" if (
        len(said) > 3) else "".join(f", {one}" for one in said[1:]))


def _planes_lines(searched: Searched) -> Iterator[str]:
    """What was tried on each roof plane beside the first, or that it stood as designed."""
    site = searched.design.site
    if site.planes:
        yield f"the axes above are those of {site.sites[0].roof.name}"
    for number, own in enumerate(as_designed(searched.design)):
        several = list(dict.fromkeys(on[number] for on in searched.axes.planes))
        if several == [own]:
            yield f"stays as designed: {own.words}; [[search.planes]] may try others"
        else:
            yield _tried([one.words for one in several])


def winner_rows(searched: Searched, winner: Winner) -> list[Row]:
    """A winner's figures, beside the site's own."""
    own, currency = searched.design, searched.design.prices.currency
    asked = "no offer" if winner.offer is None else _whole(winner.offer.total)
    apart = "" if winner.offer is None else signed(winner.offer.total - winner.price, 0)
    found: list[tuple[str, str, str]] = [
        ("array [kWp]", f"{winner.design.site.array_w / 1000.0:.2f}",
         f"{own.site.array_w / 1000.0:.2f}"),
        ("battery, rated [kWh]", f"{winner.design.site.battery.rated_wh / 1000.0:.1f}",
         f"{own.site.battery.rated_wh / 1000.0:.1f}"),
        ("essential loads without supply [h/year]", str(winner.hours),
         str(own.supply.hours_without_supply("essential"))),
        ("the same in the year of the search [h/year]", f"{winner.searched_hours:.0f}", ""),
        ("energy of both boards not supplied [kWh/year]", _whole(winner.not_supplied_kwh), ""),
        ("fuel [l/year]", _whole(winner.fuel_l), _whole(own.supply.fuel_l)),
        (f"price as the search estimates it [{currency}]", _whole(winner.price), ""),
        (f"price of its own offer [{currency}]", asked, ""),
        (f"own offer less that estimate [{currency}]", apart, ""),
        (f"fuel and services over the lifetime [{currency}]", _whole(winner.running), ""),
    ]
    return [{"quantity": name, "found": value, "as designed": before}
            for name, value, before in found]  # fmt: skip


def refused_rows(refused: Sequence[Refused], currency: str) -> list[Row]:
    """What would have come before a winner, and which check stands against it."""
    return [{"system": point_words(one.point), f"price [{currency}]": _whole(one.price),
             "why not": _why(one.checks, one.fault), "others alike": one.alike}
            for one in refused]  # fmt: skip


def neighbour_rows(winner: Winner, several: Sequence[Neighbour], currency: str) -> list[Row]:
    """Each step from a winner: dearer to buy or to run, worse supplied, or which check fails."""
    return [
        {"one step": axis_words(one.axis, getattr(one.point, one.axis)),
         f"price [{currency}]": "" if one.price is None else _change(one.price - winner.price),
         "without supply [h/year]": "" if one.hours is None else _change(one.hours - winner.hours),
         "not supplied [kWh/year]": "" if one.not_supplied_kwh is None else _change(
             one.not_supplied_kwh - winner.not_supplied_kwh),
         f"fuel and services over the lifetime [{currency}]": "" if one.running is None or not (
             one.running or winner.running) else _change(one.running - winner.running),
         "why not": _why(one.checks, one.fault) or _worse(winner, one)}
        for one in several
    ]  # fmt: skip


def _worse(winner: Winner, one: Neighbour) -> str:
    """In which way a neighbour that can be built loses."""
    price, hours = (one.price or 0.0) - winner.price, (one.hours or 0.0) - winner.hours
    missed = (one.not_supplied_kwh or 0.0) - winner.not_supplied_kwh
    running = (one.running or 0.0) - winner.running
    found = [f"dearer by {_whole(price)}"] if round(price) > 0 else []
    if round(running) > 0:
        found.append(f"{_whole(running)} more for fuel and services")
    if hours > 0:
        found.append(f"{_whole(hours)} more hour{'s' if hours != 1 else ''} without supply")
    elif round(missed) > 0:
        found.append(f"{_whole(missed)} kWh less supplied")
    return ", ".join(found) or "as good: of equals the one with more sun is taken"


def front_rows(front: Sequence[Winner], currency: str) -> list[Row]:
    """The systems that no other beats in both price and hours, cheapest first."""
    return [{"system": point_words(one.point), f"price [{currency}]": _whole(one.price),
             f"own offer [{currency}]": "" if one.offer is None else _whole(one.offer.total),
             "essential loads without supply [h/year]": one.hours,
             "checks failed": len(one.design.failed),
             "refused before it": len(one.refused) + sum(each.alike for each in one.refused)}
            for one in front]  # fmt: skip


def variant_text(winner: Winner, name: str) -> str:
    """The entry of [[variants]] that makes a winner of the site file."""
    return variant_entry(name, "found by a search", winner.changes)


def _why(checks: Sequence[Check], fault: str) -> str:
    if fault:
        return fault
    said = [f"{one.item}: {one.found_words}, allowed {one.limit_words}" for one in checks]
    return "; ".join(said[:2]) + (f" and {len(said) - 2} more" if len(said) > 2 else "")


@dataclass(frozen=True, kw_only=True, eq=False)
class Asked:
    """What was asked of a search, and what it answers.

    Parameters
    ----------
    searched : Searched
    answers : mapping of question to Winner or None and what was refused
    neighbours : mapping of question to neighbours
    front : sequence of Winner or None
        None where it was not asked.
    """

    searched: Searched
    answers: Mapping[str, tuple[Winner | None, Sequence[Refused]]]
    neighbours: Mapping[str, Sequence[Neighbour]]
    front: Sequence[Winner] | None


def asked_of(
    site_file: str | Path, *, most_hours: float | None = None, budget: Money | None = None,
    front: bool = False, criterion: Criterion = "hours", weigh: Weigh = "lifetime",
) -> Asked:  # fmt: skip
    """The answers for a site; the front where nothing else is asked.

    Parameters
    ----------
    site_file : str or Path
    most_hours : float, optional
        Hours a year without supply of the essential board that are allowed [h/year].
    budget : Money, optional
        The customer's price, in the currency of the price list.
    front : bool
    criterion : {"hours", "supplied"}
        With a budget.
    weigh : {"lifetime", "price"}
        With hours.

    Raises
    ------
    InputError
        For hours or a budget below 0, a criterion without a budget, a weight without hours, and as
        `search`.
    """
    faults = [Fault(where=name, given=f"{value:g}", allowed="a number from 0")
              for name, value in (("--hours", most_hours), ("--budget", budget))
              if value is not None and not 0.0 <= value < math.inf]  # fmt: skip
    faults += [Fault(where=name, given=f"without {other}", allowed=f"together with {other}")
               for name, other, alone in (
                   ("--most-supplied", "--budget", criterion != "hours" and budget is None),
                   ("--purchase-only", "--hours", weigh != "lifetime" and most_hours is None))
               if alone]  # fmt: skip
    if faults:
        raise InputError(faults)
    design, runs = open_design(str(site_file)), _Runs()
    answers: dict[str, tuple[Winner | None, Sequence[Refused]]] = {}
    last: Searched | None = None
    if most_hours is not None:
        last = runs.of(design, Wish(most_hours=most_hours))
        answers[f"cheapest for at most {most_hours:g} h/year without supply"] = cheapest_for(
            last, most_hours=most_hours, weigh=weigh)
    if budget is not None:
        last = runs.of(design, Wish(criterion=criterion))
        best = "fewest hours without supply" if criterion == "hours" else "most energy supplied"
        title = f"{best} for at most {budget:.0f} {design.prices.currency}"
        answers[title] = best_under(last, budget=budget, criterion=criterion)
    points = None
    if front or not answers:
        last = runs.of(design, Wish())
        points = front_of(last)
    assert last is not None
    return Asked(
        searched=last, answers=answers, front=points,
        neighbours={title: neighbours_of(last, winner)
                    for title, (winner, _) in answers.items() if winner is not None},
    )  # fmt: skip


class _Runs:
    """Searches of one site; without a generator fewer hours come first whatever is allowed."""

    def __init__(self) -> None:
        self._known: dict[Wish, Searched] = {}

    def of(self, design: Design, wish: Wish) -> Searched:
        for known, searched in self._known.items():
            if known == wish or (not searched.has_generator and known.criterion == wish.criterion):
                return searched
        self._known[wish] = search(design, wish=wish)
        return self._known[wish]


def printed(asked: Asked) -> Iterator[str]:
    """Everything in lines for a terminal."""
    searched = asked.searched
    currency = searched.design.prices.currency
    yield f"{searched.design.site.site.name}: {counts_sentence(searched)}"
    if caution := caution_line(searched):
        yield f"  {caution}"
    yield from (f"  {line}" for line in axes_lines(searched))
    for title, (winner, refused) in asked.answers.items():
        yield from ("", title)
        if winner is None:
            yield from _no_winner_lines(searched, refused)
        else:
            yield f"  {point_words(winner.point)}"
            yield from (_told(row) for row in winner_rows(searched, winner) if row["found"])
            yield from _failed_lines(winner)
        yield from _refused_lines(refused_rows(refused, currency), found=winner is not None)
        if winner is not None:
            yield "  one step on each axis"
            rows = neighbour_rows(winner, asked.neighbours[title], currency)
            yield from (_told(row) for row in rows)
            yield f"  to copy into {searched.design.sitefile.path.name}"
            yield variant_text(winner, title)
    if asked.front is not None:
        yield from ("", "trade-off curve of price and hours without supply")
        if not asked.front:
            yield "  none of the systems that were built passes its checks of safety"
            yield from _own_lines(searched)
        yield from (_told(row) for row in front_rows(asked.front, currency))
    if searched.design.example_of:
        yield f"example: {' and '.join(searched.design.example_of)} invented"


def _failed_lines(winner: Winner) -> Iterator[str]:
    """What a winner fails, which passes its checks of safety: some of it blocks an offer."""
    for one in winner.design.all_checks:
        if one.outcome == "failed":
            yield (f"    it fails, {one.kind}: {one.item}: {one.found_words}, allowed"
                   f" {one.limit_words}; {one.remedy}")


def _no_winner_lines(searched: Searched, refused: Sequence[Refused]) -> Iterator[str]:
    if len(refused) >= MOST_BUILT:
        yield f"  none found: the {len(refused)} built first are refused, the others were not built"
    elif refused:
        yield "  none of the systems tried: all that would do are refused"
    else:
        table, currency = searched.table, searched.design.prices.currency
        yield "  none of the systems tried: widen the axes in [search]"
        if len(table):
            yield (f"  the cheapest of them is estimated at {_whole(table['price'].min())}"
                   f" {currency}; the fewest hours without supply are"
                   f" {_whole(table['hours'].min())} h/year")
    yield from _own_lines(searched)


def _own_lines(searched: Searched) -> Iterator[str]:
    """Failed checks of safety of the site itself, which may stand against every system tried."""
    for one in searched.design.all_checks:
        if one.outcome == "failed" and one.kind == "safety":
            yield (f"  the site as designed fails it too, put it right first: {one.item}:"
                   f" {one.found_words}, allowed {one.limit_words}; {one.remedy}")


def _refused_lines(rows: Sequence[Row], *, found: bool) -> Iterator[str]:
    if rows:
        count = len(rows) + sum(row["others alike"] for row in rows)
        yield f"  {_whole(count)} would {'come before it' if found else 'do'}, but:"
        yield from (_told(row) for row in rows[:MOST_TOLD])
        if len(rows) > MOST_TOLD:
            yield f"    and {len(rows) - MOST_TOLD} more"


def _told(row: Row) -> str:
    """A row on one line, each unit behind its value; counts of nothing are left out."""
    (_, title), *others = row.items()
    words, _, unit = str(title).partition(" [")
    said = [_value(name, value, unit) for name, value in others
            if value != "" and (name, value) not in _NONE]  # fmt: skip
    return f"    {words}: " + "; ".join(said)


_NONE = {("others alike", 0), ("refused before it", 0)}


def _value(name: str, value: object, unit: str) -> str:
    """A value with its name, unless it says itself what it is, and its unit."""
    words, _, own = name.partition(" [")
    unit = (own or unit).rstrip("]")
    said = f"{value} {unit}" if unit else str(value)
    return said if name in ("found", "why not") else f"{words} {said}"


def _whole(value: float) -> str:
    return grouped(f"{value:.0f}")


def _change(value: float) -> str:
    return signed(value, 0)
