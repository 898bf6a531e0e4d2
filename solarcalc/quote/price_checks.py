"""How old the prices of an offer are, and the rates of exchange that it rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from solarcalc.basis.check import Check, Outcome
from solarcalc.basis.worded import worded
from solarcalc.quote.offer import Offer
from solarcalc.quote.prices import PriceList
from solarcalc.sitefile.programme import day_of
from solarcalc.sitefile.status import Status

OF_THE_DAY = ("quote/prices-dated", "quote/rate-dated")
"""Rules of these checks: what they find hangs on the day of the quote, not on the design."""


def quote_day(status: Status) -> date | None:
    """The day that a quote's prices have to hold on; None while nobody gave one.

    Of its issue in this revision, else of the revision. Never today: a design would not be the
    same tomorrow.
    """
    issued = [one.date for one in status.issued
              if (one.document, one.revision) == ("QU", status.revision)]  # fmt: skip
    return day_of(max(issued, default=status.date))


def price_checks(offer: Offer, prices: PriceList, day: date | None) -> list[Check]:
    """Whether the firm's own prices and its rates of exchange hold on a day, and all price.

    Parameters
    ----------
    offer : Offer
    prices : PriceList
        That it was made from.
    day : date or None
        Of the quote; None: nothing can be said yet.
    """
    own = [row for row in offer.rows if row not in offer.invented_rows]
    return [*_dated(offer, prices, own, day), *_rates(offer, prices, day), *_free(prices, own),
            *_idle(prices)]


def old_prices(offer: Offer, prices: PriceList, day: date) -> tuple[str, ...]:
    """Rows of an offer whose own prices no longer hold on a day."""
    return tuple(
        row for row in offer.rows if row not in offer.invented_rows
        and (last := prices.priced_by(row).valid_to) is not None and last < day
    )  # fmt: skip


def old_rates(offer: Offer, prices: PriceList, day: date) -> Mapping[str, tuple[str, ...]]:
    """Rows of an offer by the currency whose rate no longer holds on a day."""
    found: dict[str, tuple[str, ...]] = {}
    for row in offer.rows:
        currency = prices.priced_by(row).currency
        if currency and day > _last(prices, currency):
            found[currency] = (*found.get(currency, ()), row)
    return found


def _last(prices: PriceList, currency: str) -> date:
    """Last day of a rate of exchange."""
    return prices.exchange[currency].day + timedelta(days=prices.rate_valid_days)


def _dated(offer: Offer, prices: PriceList, own: list[str], day: date | None) -> list[Check]:
    """Whether the firm's own prices hold; nothing where all are invented."""
    ends = {row: prices.priced_by(row).valid_to for row in own}
    if not ends:
        return []
    undated = [row for row, last in ends.items() if last is None]
    old = [] if day is None else old_prices(offer, prices, day)
    known = [last for last in ends.values() if last is not None]
    wrong = {"out of date": old, "without a date": undated}
    said = [f"{len(rows)} of {len(own)} {what}, {offer.share_words(rows)} of the price:"
            f" {', '.join(rows)}" for what, rows in wrong.items() if rows]  # fmt: skip
    found = "; ".join(said) or f"valid to {min(known)}"
    return [Check(
        **worded("quote", "prices-dated", found=found, day=day or "the day of the quote"),
        outcome=_outcome(bool(old or undated), day),
    )]  # fmt: skip


def _rates(offer: Offer, prices: PriceList, day: date | None) -> list[Check]:
    """Whether each rate of exchange that a price of the offer rests on holds."""
    used: dict[str, list[str]] = {}
    for row in offer.rows:
        if currency := prices.priced_by(row).currency:
            used.setdefault(currency, []).append(row)
    return [
        Check(
            **worded(
                "quote", "rate-dated", currency=currency, own=offer.currency,
                rate=f"{prices.exchange[currency].rate:g}", of=prices.exchange[currency].day,
                last=_last(prices, currency), share=offer.share_words(rows),
                day=day or "the day of the quote",
            ),
            outcome=_outcome(day is not None and day > _last(prices, currency), day),
        ) for currency, rows in used.items()
    ]  # fmt: skip


def _free(prices: PriceList, own: Sequence[str]) -> list[Check]:
    """Things of the offer at a price of 0: lists of suppliers write that where they have none."""
    free = [row for row in own if prices.priced_by(row).price == 0.0]
    return [Check(outcome="review", **worded("quote", "rows-free", rows=", ".join(free)))] \
        if free else []


def _idle(prices: PriceList) -> list[Check]:
    """Rows of the list that price nothing: a word misspelt leaves the invented price in force."""
    if not prices.unknown_rows:
        return []
    return [Check(outcome="review", **worded("quote", "rows-idle", rows=prices.unknown_told))]


def _outcome(wrong: bool, day: date | None) -> Outcome:
    if wrong:
        return "review"
    return "not assessed" if day is None else "passed"
