"""From a bill and a price list to an offer: materials, labour, margin, tax, total."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.quantity import in_percent
from solarcalc.basis.worded import worded
from solarcalc.quote.bill import BillLine
from solarcalc.quote.economics import Money
from solarcalc.quote.prices import LABOUR, PriceList, priced, rate_of
from solarcalc.sitefile.bill_items import CIVIL, GROUPS
from solarcalc.sitefile.quote import Quote
from solarcalc.sitefile.wiring import PowerPlace

LABOUR_GROUP = "labour"


@dataclass(frozen=True, kw_only=True)
class LabourHours:
    """Hours of one trade on one task; `item` is the thing they go into, where it is one."""

    task: str
    trade: str
    hours: float
    item: str = ""


@dataclass(frozen=True, kw_only=True)
class LabourLine:
    """Hours with their rate and cost."""

    task: str
    trade: str
    hours: float
    rate: Money
    cost: Money
    item: str = ""


@dataclass(frozen=True, kw_only=True)
class OfferLine:
    """A line of the bill with the price of one unit, its cost and the row that it is from.

    What is the customer's own costs nothing now; `anew` is what it costs when it is replaced,
    None where that is its cost, or where the price list has no price of it.
    """

    line: BillLine
    unit_price: Money
    cost: Money
    row: str = ""
    anew: Money | None = None


@dataclass(frozen=True, kw_only=True)
class Offer:
    """A quote: what it costs the firm and what the customer pays.

    Parameters
    ----------
    currency : str
    decimals : int
        Of money.
    price_list_name, price_list_file : str
        Of the price list.
    invented : bool
        Whether its prices are invented.
    array_kwp : float
        [kWp].
    lines : tuple of OfferLine
    labour : tuple of LabourLine
    material_cost, labour_cost, cost : float
        To the firm.
    margin_frac : float
        Of the price [frac].
    margin, price : float
        The price before tax, and the margin in it.
    tax_frac : float
        On top of the price [frac].
    tax, total : float
    per_kwp : float or None
        Total a kWp; None without modules.
    valid_days : int
    invented_rows : tuple of str
        Rows of the price list that this offer uses and that are still the invented ones.
    rows : tuple of str
        Rows of the price list that it uses.
    """

    currency: str
    decimals: int
    price_list_name: str
    price_list_file: str
    invented: bool
    array_kwp: float
    lines: tuple[OfferLine, ...]
    labour: tuple[LabourLine, ...]
    material_cost: Money
    labour_cost: Money
    cost: Money
    margin_frac: float
    margin: Money
    price: Money
    tax_frac: float
    tax: Money
    total: Money
    per_kwp: Money | None
    valid_days: int
    invented_rows: tuple[str, ...] = ()
    rows: tuple[str, ...] = ()

    @property
    def tax_words(self) -> str:
        """Whether the total has tax in it."""
        return "tax included" if self.tax_frac else "no tax added"

    @property
    def row_count(self) -> int:
        """How many rows of the price list it uses."""
        return len(self.rows)

    def share_frac(self, rows: Collection[str]) -> float:
        """Share of the price that rests on some rows of the price list [frac].

        The margin is on all alike, so it is their share of the cost.
        """
        cost = sum(one.cost for one in self.lines if one.row in rows)
        cost += sum(one.cost for one in self.labour if LABOUR + one.trade in rows)
        return cost / self.cost if self.cost > 0.0 else 0.0

    def share_words(self, rows: Collection[str]) -> str:
        """That share in percent; what is not all of it is never told as 100 %."""
        share = self.share_frac(rows)
        return "below 1 %" if 0.0 < share < 0.01 else f"{in_percent(share, 0)} %"

    @property
    def invented_words(self) -> str:
        """How many prices are invented: ``"3 of 37 invented, 12 % of the price"``."""
        rows = self.invented_rows
        return (f"{len(rows)} of {self.row_count} invented, {self.share_words(rows)} of the"
                " price")  # fmt: skip


def quote_of(
    bill: Sequence[BillLine], price_list: PriceList, *, quote: Quote, array_kwp: float,
    labour_hours: Sequence[LabourHours], place: PowerPlace | None = None,
) -> Offer:  # fmt: skip
    """The offer of one bill.

    Parameters
    ----------
    bill : sequence of BillLine
    price_list : PriceList
    quote : Quote
        The site file's margin, tax and days.
    array_kwp : float
        For the price a kWp [kWp].
    labour_hours : sequence of LabourHours
        Of the programme of works.
    place : PowerPlace, optional
        Where the power room is to stand: what it costs to build or clear is a line of its own.

    Raises
    ------
    InputError
        With every item without a price or in a wrong unit, every trade without a rate, and hours
        below 0.
    """
    hours = tuple(labour_hours)
    _check_hours(hours)
    lines = tuple(
        OfferLine(line=line, unit_price=round(price, 6),
                  cost=round(price * line.quantity, price_list.decimals),
                  row="" if line.owned else price_list.row_of(line), anew=_anew(line, price_list))
        for line, price in zip(bill, priced(bill, price_list), strict=True)
    ) + _place_line(place, price_list.decimals)  # fmt: skip
    labour = tuple(_labour_line(one, price_list) for one in hours)
    used = (*(one.row for one in lines if one.row), *(LABOUR + one.trade for one in labour))
    rows = dict.fromkeys(used)
    invented = tuple(row for row in rows if row in price_list.invented_rows)
    material = round(sum(one.cost for one in lines), price_list.decimals)
    work = round(sum(one.cost for one in labour), price_list.decimals)
    cost = round(material + work, price_list.decimals)
    price = round(price_of(cost, margin_frac=quote.margin_frac), price_list.decimals)
    tax = round(price * quote.tax_frac, price_list.decimals)
    total = round(price + tax, price_list.decimals)
    return Offer(
        currency=price_list.currency, decimals=price_list.decimals, price_list_name=price_list.name,
        price_list_file=price_list.file,
        invented=price_list.invented or bool(invented), invented_rows=invented,
        rows=tuple(rows), array_kwp=array_kwp, lines=lines,
        labour=labour,
        material_cost=material, labour_cost=work, cost=cost, margin_frac=quote.margin_frac,
        margin=round(price - cost, price_list.decimals), price=price, tax_frac=quote.tax_frac,
        tax=tax,
        total=total, per_kwp=total / array_kwp if array_kwp > 0.0 else None,
        valid_days=quote.valid_days,
    )  # fmt: skip


def price_of(cost: Money, *, margin_frac: float) -> Money:
    """Price that leaves a margin of itself: cost / (1 - margin).

    Parameters
    ----------
    cost : float
    margin_frac : float
        Share of the price, not of the cost [frac], 0 to below 1.

    Raises
    ------
    InputError
        For a margin outside that.

    Examples
    --------
    >>> price_of(80.0, margin_frac=0.2)
    100.0
    """
    if not 0.0 <= margin_frac < 1.0:
        raise InputError(Fault(**worded("quote", "quote-margin-frac", margin_frac=margin_frac)))
    return cost / (1.0 - margin_frac)


def group_prices(offer: Offer) -> dict[str, Money]:
    """Price before tax of each group, labour last, with its share of the margin.

    The parts are rounded so that they add up to the price on the offer.

    Parameters
    ----------
    offer : Offer
    """
    costs = dict.fromkeys((*GROUPS, LABOUR_GROUP), 0.0)
    for one in offer.lines:
        costs[one.line.group] += one.cost
    costs[LABOUR_GROUP] += offer.labour_cost
    costs = {group: cost for group, cost in costs.items() if cost > 0.0}
    if not costs:
        return {}
    step = 10.0**offer.decimals
    exact = [price_of(cost, margin_frac=offer.margin_frac) * step for cost in costs.values()]
    whole = [int(part) for part in exact]
    left = round(offer.price * step) - sum(whole)
    by_rest = sorted(range(len(exact)), key=lambda n: whole[n] - exact[n])
    for place in range(left):
        whole[by_rest[place % len(whole)]] += 1
    return {group: count / step for group, count in zip(costs, whole, strict=True)}


def paid_for(offer: Offer, items: Collection[str]) -> Money:
    """What the customer pays for some items and the work on them, margin and tax included.

    For what is bought anew later: battery units with their links, inverters. Labour that comes
    from a programme names no item and is not in it.

    Parameters
    ----------
    offer : Offer
    items : collection of str
        Keys of `ITEMS`.
    """
    cost = sum(one.cost if one.anew is None else one.anew
               for one in offer.lines if one.line.item in items)  # fmt: skip
    cost += sum(one.cost for one in offer.labour if one.item in items)
    return price_of(cost, margin_frac=offer.margin_frac) * (1.0 + offer.tax_frac)


def compare_offers(offers: Mapping[str, Offer]) -> list[dict[str, object]]:
    """Variants side by side: one row a figure, one column an offer.

    Parameters
    ----------
    offers : mapping of str to Offer
        By name, the first one being the system of the site file.

    Raises
    ------
    InputError
        For none, or offers in more than one currency.
    """
    money = {offer.currency for offer in offers.values()}
    if len(money) != 1:
        raise InputError(Fault(
            where="compare_offers", given=", ".join(sorted(money)) or "no offers",
            allowed="one or more offers, all in one currency",
        ))  # fmt: skip
    (currency,) = money
    groups = {name: group_prices(offer) for name, offer in offers.items()}
    rows: list[dict[str, object]] = [
        {"": f"{group} [{currency}]",
         **{name: groups[name].get(group, 0.0) for name in offers}}
        for group in (*GROUPS, LABOUR_GROUP) if any(group in one for one in groups.values())
    ]  # fmt: skip
    for words, field in (("price before tax", "price"), ("tax", "tax"), ("total", "total")):
        rows.append({"": f"{words} [{currency}]",
                     **{name: getattr(offer, field) for name, offer in offers.items()}})
    rows.append({"": "array [kWp]", **{name: o.array_kwp for name, o in offers.items()}})
    rows.append({"": f"specific price [{currency}/kWp]",
                 **{name: "" if o.per_kwp is None else round(o.per_kwp, o.decimals)
                    for name, o in offers.items()}})
    return rows


def _place_line(place: PowerPlace | None, decimals: int) -> tuple[OfferLine, ...]:
    """What the chosen place costs, as the site file says; it has no row in a price list."""
    if place is None or not place.cost:
        return ()
    line = BillLine(item="", key="", name=f"To build or clear: {place.name}", quantity=1.0,
                    unit="each", group=CIVIL)  # fmt: skip
    cost = round(place.cost, decimals)
    return (OfferLine(line=line, unit_price=cost, cost=cost),)


def _anew(line: BillLine, price_list: PriceList) -> Money | None:
    """What the customer's own costs bought anew; None of the rest, and without a price."""
    if not line.owned or price_list.row_of(line) not in price_list.prices:
        return None
    (price,) = priced([replace(line, owned="")], price_list)
    return round(price * line.quantity, price_list.decimals)


def _labour_line(one: LabourHours, price_list: PriceList) -> LabourLine:
    rate = rate_of(one.trade, price_list)
    return LabourLine(task=one.task, trade=one.trade, hours=one.hours, rate=rate, item=one.item,
                      cost=round(rate * one.hours, price_list.decimals))  # fmt: skip


def _check_hours(hours: Sequence[LabourHours]) -> None:
    faults = [
        Fault(where=f"labour: {one.task}", given=f"{one.hours:g} h", allowed="0 h or more")
        for one in hours if not 0.0 <= one.hours < 1e9
    ]  # fmt: skip
    if faults:
        raise InputError(faults)
