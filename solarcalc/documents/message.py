"""The message to send beside the papers: five lines of plain text in the customer's language."""

from __future__ import annotations

import math

from solarcalc.basis.messages import Messages, messages
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.design import Design
from solarcalc.documents.booklet import hours_words, joined, kw_words, kwh_words, panels_words
from solarcalc.documents.facts import price_status
from solarcalc.documents.making import Making
from solarcalc.documents.quote import valid_words, why_no_quote
from solarcalc.report.handover_facts import EVENING_H
from solarcalc.stages.boards import usable_battery_wh
from solarcalc.variants import offer_of
from solarcalc.views.handover import customer_facts


def message_text(making: Making) -> str:
    """Proposal, price and its status, validity, what runs without sun, whom to call."""
    design = making.design
    words = messages(design.site.firm.language)
    return "\n".join((
        _proposal(design, words), _price(design, words), _validity(design, words),
        _runs(design, words), _call(making, words),
    )) + "\n"  # fmt: skip


def _proposal(design: Design, words: Messages) -> str:
    site = design.site
    powers = [one.alike + kw_words(one.continuous_power_w, words)
              for one in site.inverters.values()]  # fmt: skip
    return words.text(
        "message_proposal", site=site.site.name, powers=joined(powers, words),
        kwp=panels_words(site.array_w, words), usable=kwh_words(usable_battery_wh(design), words))


def _price(design: Design, words: Messages) -> str:
    offer = offer_of(design)
    if isinstance(offer, NoAnswer) or why_no_quote(design):
        return words.text("message_no_price")
    status = {"example": "example", "price list": "list", "offer": "offer"}[price_status(design)]
    return words.text(
        "message_price", total=words.number(offer.total, offer.decimals), currency=offer.currency,
        tax=words.text("message_taxed" if offer.tax_frac else "message_untaxed"),
        status=words.text(f"message_status_{status}"))


def _validity(design: Design, words: Messages) -> str:
    """Until when the offer holds; that it is none where prices or equipment are invented."""
    if why_no_quote(design) or design.example_of:
        return words.text("message_not_valid")
    return words.text("message_valid", until=valid_words(design, words))


def _runs(design: Design, words: Messages) -> str:
    facts = customer_facts(design)
    told = {one.board: hours_words(one.evening_h, words) for one in facts.boards
            if not math.isnan(one.evening_h)}  # fmt: skip
    key = "both" if len(told) == 2 else "".join(told) or "none"
    return words.text("message_runs_no_grid" if facts.grid else "message_runs",
                      hour=words.text("clock", hour=EVENING_H),
                      boards=words.text(f"message_boards_{key}", **told))  # fmt: skip


def _call(making: Making, words: Messages) -> str:
    firm = making.firm
    if not firm.contact:
        return words.text("message_call_us")
    return words.text("message_call", firm=firm.name or words.text("quote_firm"),
                      contact=firm.contact)  # fmt: skip
