"""QU, the quote: what the customer gets, what it costs and on which conditions, on two pages.

No cost, margin, price of a single thing or source stands in it. Without a passed design there is
none: `why_no_quote`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import reduce

from solarcalc.basis.check import Check
from solarcalc.basis.messages import Messages, messages
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.text import brief, capital
from solarcalc.design import Design
from solarcalc.documents.booklet import (
    board_row,
    have_lines,
    hours_words,
    kwh_words,
    panels_words,
    shed_words,
    unsupplied_words,
)
from solarcalc.documents.facts import findings_of, to_review, trade_words
from solarcalc.documents.making import Making
from solarcalc.documents.tree import (
    Block,
    Document,
    cell,
    fill,
    heading,
    line_break,
    new_page,
    pairs,
    points,
    sentence,
    signatures,
    strong,
    table,
    whole,
)
from solarcalc.programme.days import crew_days
from solarcalc.quote.offer import Offer, group_prices
from solarcalc.report.handover_facts import EVENING_H, CustomerFacts
from solarcalc.sitefile.guessed import is_given
from solarcalc.sitefile.programme import day_of
from solarcalc.stages.boards import usable_battery_wh
from solarcalc.stages.progress import document_status
from solarcalc.views.handover import customer_facts
from solarcalc.views.quote import OWN, alternatives_of, offer_of
from solarcalc.views.yields import promised_kwh

MOST_CONDITIONS, MOST_ALTERNATIVES, MOST_BLOCKING = 5, 2, 3
MOST_NAME, MOST_ON_IT, LEAST_ON_IT = 40, 300, 120
"""Letters of the name of an alternative, and of what is on a board: two pages hold them."""
_CONDITIONS = {
    "earthing/electrode-limit": "condition_earth", "earthing/ground-tested": "condition_earth",
    "earthing/electrode-measured-built": "condition_earth",
    "protection/surge-order": "condition_lightning",
    "protection/lightning-rods-array": "condition_lightning",
    "earthing/array-lightning-rods": "condition_lightning",
    "stages/keeping-room-one": "condition_room", "loads/starts-assumed": "condition_starts",
    "wiring/duct-made-cables": "condition_duct", "protection/grid-input": "condition_grid",
    "programme/age-plaster-first": "condition_plaster",
}  # fmt: skip
"""Words of the customer for what is open, by the rule of its check."""


@dataclass(frozen=True, kw_only=True)
class _Quoted:
    """What all parts of the quote ask for."""

    making: Making
    offer: Offer
    words: Messages
    facts: CustomerFacts

    @property
    def design(self) -> Design:
        return self.making.design

    def money(self, amount: float) -> str:
        return self.words.number(amount, self.offer.decimals)

    def kwh(self, kwh: float) -> str:
        return self.words.text("kwh", number=self.words.number(kwh))


def why_no_quote(design: Design) -> str:
    """Why no offer can be made of a design, in one sentence; empty where one can."""
    offer = offer_of(design)
    if isinstance(offer, NoAnswer):
        return trade_words(offer.sentence)
    blocking = design.blocking
    if not blocking:
        return ""
    named = [f"{one.item}: {trade_words(one.words)}" for one in findings_of(blocking)]
    rest = len(named) - MOST_BLOCKING
    said = "; ".join(named[:MOST_BLOCKING]) + (f"; and {rest} more" if rest > 0 else "")
    word = "check of safety or supply fails" if len(blocking) == 1 else (
        "checks of safety or supply fail")
    return f"No offer can be made: {len(blocking)} {word}. {said}."


def documents(making: Making) -> tuple[Document, ...]:
    """The quote in the customer's language; none while `why_no_quote` says why."""
    design = making.design
    offer = offer_of(design)
    if isinstance(offer, NoAnswer) or why_no_quote(design):
        return ()
    words = messages(design.site.firm.language)
    quoted = _Quoted(making=making, offer=offer, words=words, facts=customer_facts(design))
    head = making.head("QU", words.text("quote_title"), language=words.language,
                       status=document_status(design, "QU"))  # fmt: skip
    return (Document(
        code="QU", head=head, look="letter", stamp=making.example_stamp(words.language),
        blocks=(*_first_page(quoted), new_page(), *_second_page(quoted)),
    ),)  # fmt: skip


def _first_page(quoted: _Quoted) -> Iterator[Block]:
    """Number, validity, what is sold, what it costs, when it is built."""
    t, firm = quoted.words.text, quoted.making.firm
    customer = quoted.facts.customer
    number = quoted.making.head("QU", t("quote_title")).number
    revision = quoted.design.site.status.revision
    yield pairs([
        (t("quote_number"), strong(f"{number} {revision}")),
        *([(t("quote_for"), customer)] if customer else []),
        (t("quote_valid"), valid_words(quoted.design, quoted.words)),
    ])  # fmt: skip
    yield heading(t("quote_get_title"))
    yield points(have_lines(quoted.facts, quoted.words))
    yield heading(t("quote_price_title"))
    yield _prices(quoted)
    yield pairs([
        (t("quote_payment"), quoted.design.site.quote.payment or t("quote_payment_open")),
        (t("quote_dates"), _dates(quoted)),
        *([(t("quote_contact"), ", ".join(filter(None, (firm.name, firm.contact))))]
          if firm.name or firm.contact else []),
    ])  # fmt: skip


def valid_words(design: Design, words: Messages) -> str:
    """Until when the offer holds: a day, or so many days where none was issued yet."""
    status, days = design.site.status, design.site.quote.valid_days
    issued = next((day_of(one.date) for one in reversed(status.issued)
                   if (one.document, one.revision) == ("QU", status.revision)), None)  # fmt: skip
    if issued is None:
        return words.text("quote_valid_days", days=words.number(days))
    return words.text("quote_valid_until", date=words.date(issued + timedelta(days=days)))


def group_name(group: str, words: Messages) -> str:
    """A group of the bill in the customer's words."""
    return words.text(f"group_{group.replace(' ', '_')}")


def _prices(quoted: _Quoted) -> Block:
    offer, words = quoted.offer, quoted.words
    t = words.text
    rows = [[group_name(group, words), quoted.money(price)]
            for group, price in group_prices(offer).items()]  # fmt: skip
    total = "quote_total"
    if offer.tax_frac:
        rows += [[t("quote_before_tax"), quoted.money(offer.price)],
                 [t("quote_tax", percent=_percent(offer.tax_frac, words)),
                  quoted.money(offer.tax)]]  # fmt: skip
    else:
        total = "quote_total_untaxed"
    last = [cell(strong(t(total))), cell(strong(quoted.money(offer.total)), align="right")]
    return table([t("quote_part"), t("quote_amount", currency=offer.currency)], [*rows, last],
                 right=(1,))  # fmt: skip


def _percent(share_frac: float, words: Messages) -> str:
    """A rate of tax, which may have a part of a percent."""
    percent = 100.0 * share_frac
    places = 0 if abs(percent - round(percent)) < 1e-6 else 2
    return words.text("percent", number=words.number(percent, places))


def _dates(quoted: _Quoted) -> str:
    words = quoted.words
    schedule = or_why(lambda: quoted.design.programme)()
    if isinstance(schedule, NoAnswer) or not is_given(quoted.design.site, "programme.start"):
        return words.text("quote_dates_open")
    begin: date = min(one.start for one in schedule.planned).date()
    return words.text(
        "quote_dates_said", begin=words.date(begin), end=words.date(schedule.finish().date()),
        days=words.counted("quote_days", crew_days(schedule)))


def _second_page(quoted: _Quoted) -> Iterator[Block]:
    """What it does, alternatives, conditions, what is not in it, acceptance."""
    t = quoted.words.text
    yield heading(t("quote_runs_title"))
    yield from _runs(quoted)
    yield heading(t("quote_energy_title"))
    yield sentence(" ".join(energy_words(quoted.design, quoted.words)))
    yield from _alternatives(quoted)
    yield from _conditions(quoted)
    yield heading(t("quote_not_title"))
    left_out = reduce(lambda first, last: t("listed_after", first=first, last=last), (
        t(f"quote_not_{what}") for what in (
            "roof", "circuits", "lightning", "permits", "building")))  # fmt: skip
    yield sentence(f"{capital(left_out)}.")
    firm = quoted.making.firm.name or t("quote_firm")
    yield whole([
        heading(t("quote_accept_title")), sentence(t("quote_accept_words")),
        signatures([t("quote_signed_customer"), line_break(), quoted.facts.customer or fill()],
                   [t("quote_signed_firm", firm=firm)]),
    ])  # fmt: skip


def _runs(quoted: _Quoted) -> Iterator[Block]:
    words, t = quoted.words, quoted.words.text
    keys, _ = _open_conditions(quoted)
    most = MOST_ON_IT if len(keys) < 4 else LEAST_ON_IT  # each condition takes its lines here
    dark = "quote_no_sun_no_grid" if quoted.facts.grid else "quote_no_sun"
    yield table(
        [t("quote_board"), t("quote_on_it"), t("quote_at_most"),
         t(dark, hour=t("clock", hour=EVENING_H))],
        [[name, brief(on_it, most), power, hours_words(board.evening_h, words)]
         for board in quoted.facts.boards
         for name, on_it, power in [board_row(board, words)]], right=(2, 3))  # fmt: skip
    missed = unsupplied_words(quoted.facts, words) or t("quote_never_off")
    yield sentence(" ".join((t("quote_runs_note"), shed_words(quoted.facts, words), missed)))


def energy_words(design: Design, words: Messages) -> tuple[str, ...]:
    """A usual year, a lean one, and what the grid gives in a usual one, in plain words."""
    energy = design.year_energy

    def kwh(value: float) -> str:
        return words.text("kwh", number=words.number(value))

    lean = words.text("quote_lean", lean=kwh(promised_kwh(design)))
    grid = [words.text("quote_from_grid", grid=kwh(energy.grid_kwh))] if energy.grid_kwh else []
    if energy.demand_kwh <= 0.0:
        return words.text("quote_no_loads", given=kwh(design.energy.ac_kwh)), lean, *grid
    usual = words.text(
        "quote_usual", given=kwh(design.energy.ac_kwh), needed=kwh(energy.demand_kwh),
        supplied=kwh(energy.supplied_kwh),
        share=words.share(energy.supplied_kwh, energy.demand_kwh))
    return usual, lean, *grid


def _alternatives(quoted: _Quoted) -> Iterator[Block]:
    """Other systems that can be offered for the same site, beside this one."""
    words, t = quoted.words, quoted.words.text
    found = {name: one for name, one in alternatives_of(quoted.design).items()
             if not why_no_quote(one)}  # fmt: skip
    if len(found) < 2:
        return
    rows = []
    for name, one in list(found.items())[: 1 + MOST_ALTERNATIVES]:
        energy, site = one.year_energy, one.site
        rows.append([
            t("quote_this") if name == OWN else brief(name, MOST_NAME),
            panels_words(site.array_w, words), kwh_words(usable_battery_wh(one), words),
            quoted.kwh(energy.supplied_kwh), words.number(energy.essential_h),
            quoted.money(one.offer.total),
        ])  # fmt: skip
    yield heading(t("quote_alternatives_title"))
    heads = [t(f"quote_{name}") for name in (
        "alternative", "array", "battery", "supplied_year", "without")]  # fmt: skip
    yield table([*heads, t("quote_amount", currency=quoted.offer.currency)], rows,
                right=range(1, 6))  # fmt: skip


def conditions_of(
    checks: tuple[Check, ...], *, roof_confirmed: bool = False
) -> tuple[tuple[str, ...], int]:
    """Keys of the customer's conditions, and how many open findings stand in none of them.

    The roof is one until a named person has confirmed its strength: nothing here assesses it.
    """
    asked = [check for check in checks if check.rule in _CONDITIONS and (
        check.open or check.outcome == "not assessed")]  # fmt: skip
    roof = [] if roof_confirmed else ["condition_roof"]
    keys = list(dict.fromkeys([*roof, *(_CONDITIONS[one.rule] for one in asked)]))
    shown = keys[:MOST_CONDITIONS]
    others = [one for one in to_review(checks) if _CONDITIONS.get(one.rule) not in shown
              and one.rule != "quote/prices" and one.stage != "survey"]  # fmt: skip
    return tuple(shown), len(findings_of(others))


def _open_conditions(quoted: _Quoted) -> tuple[tuple[str, ...], int]:
    return conditions_of(
        quoted.design.all_checks, roof_confirmed=bool(quoted.design.site.status.roof_confirmed))


def _conditions(quoted: _Quoted) -> Iterator[Block]:
    words = quoted.words
    keys, others = _open_conditions(quoted)
    mass = words.number(round(quoted.design.installation.roof_mass_kg, -1))
    if keys or others:
        yield heading(words.text("quote_conditions_title"))
    if keys:
        yield points([words.text(key, mass=mass) if key == "condition_roof" else words.text(key)
                      for key in keys], ordered=True)  # fmt: skip
    if others:
        yield sentence(words.counted("quote_conditions_more", others))


