"""QU, the quote: what the customer gets, what it costs and on which conditions, on two pages.

No cost, margin, price of a single thing or source stands in it. Without a passed design there is
none: `why_no_quote`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import reduce
from itertools import product

from solarcalc.basis.check import Check
from solarcalc.basis.messages import Messages, messages
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.text import brief, capital
from solarcalc.design import Design
from solarcalc.documents.booklet import (
    board_row,
    have_lines,
    hours_words,
    joined,
    kwh_words,
    panels_words,
    shed_words,
    unsupplied_words,
)
from solarcalc.documents.facts import findings_of, to_review, trade_words
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import page_count
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
from solarcalc.quote.instalments import (
    InstalmentPlan,
    MonthMoney,
    first_year,
    instalments_of,
    seasonal,
)
from solarcalc.quote.offer import Offer, group_prices
from solarcalc.quote.price_checks import OF_THE_DAY
from solarcalc.report.handover_facts import EVENING_H, CustomerFacts
from solarcalc.sitefile.guessed import is_given
from solarcalc.sitefile.programme import day_of
from solarcalc.sitefile.variants import OWN
from solarcalc.stages.boards import usable_battery_wh
from solarcalc.stages.owned import told_of
from solarcalc.stages.progress import document_status
from solarcalc.variants import offer_of, offered_variants
from solarcalc.views.handover import customer_facts
from solarcalc.views.yields import promised_kwh

PAGES = 2
SMALLER_FRAC = 0.9
"""Letters of a quote that has too much for its pages; common practice, no source."""
MOST_CONDITIONS, MOST_BLOCKING = 5, 3
MOST_NAME, MOST_ON_IT, LEAST_ON_IT = 60, 300, 120
"""Letters of the name of a variant, and of what is on a board: two pages hold them."""
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
_FIRMS_OWN = ("quote/prices", *OF_THE_DAY)
"""Checks of the firm's price list: no condition of the customer's."""


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

    def quote(letters_frac: float, months: bool, own_first: bool) -> Document:
        first = _first_page(quoted, months=months, own=own_first)
        return Document(
            code="QU", head=head, look="letter", letters_frac=letters_frac,
            stamp=making.example_stamp(words.language),
            blocks=(*first, new_page(), *_second_page(quoted, own=not own_first)),
        )  # fmt: skip

    wanted = design.site.quote.instalments.months > 0
    owned = bool(told_of(design.bill, design.site.existing))
    ways = [quote(*way) for way in product(
        (1.0, SMALLER_FRAC), (True, False) if wanted else (True,),
        (False, True) if owned else (False,))]  # fmt: skip
    return (next((one for one in ways[:-1] if page_count(one) <= PAGES), ways[-1]),)


def _first_page(quoted: _Quoted, *, months: bool, own: bool) -> Iterator[Block]:
    """Number, validity, what is sold, what it costs, when it is built.

    Months, and what is used again of the customer's own, where they fit.
    """
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
    used: Counter[str] = Counter()
    for line in quoted.design.bill:
        used[line.item] += round(line.quantity) if line.owned else 0
    yield points(have_lines(quoted.facts, quoted.words, used))
    yield heading(t("quote_price_title"))
    yield _prices(quoted)
    yield pairs([
        (t("quote_payment"), _payment(quoted)),
        (t("quote_dates"), _dates(quoted)),
        *([(t("quote_contact"), ", ".join(filter(None, (firm.name, firm.contact))))]
          if firm.name or firm.contact else []),
    ])  # fmt: skip
    yield from _instalments(quoted, months=months)
    yield from _own(quoted) if own else ()


def _own(quoted: _Quoted) -> Iterator[Block]:
    """What of the customer's own is used again; nothing where nothing is."""
    if own := told_of(quoted.design.bill, quoted.design.site.existing):
        yield heading(quoted.words.text("quote_own_title"))
        yield sentence(quoted.words.text("quote_own_words", own=own))


def _payment(quoted: _Quoted) -> str:
    """Terms of payment as the site file has them, or what stands in their place."""
    quote = quoted.design.site.quote
    key = "quote_payment_instalments" if _plan(quoted) else "quote_payment_open"
    return quote.payment or quoted.words.text(key)


def _plan(quoted: _Quoted) -> InstalmentPlan | None:
    return instalments_of(quoted.offer.total, quoted.design.site.quote.instalments,
                          quoted.offer.decimals)  # fmt: skip


def _instalments(quoted: _Quoted, *, months: bool) -> Iterator[Block]:
    """Deposit and payments, and what they leave of what is spent on energy today."""
    design, words, t = quoted.design, quoted.words, quoted.words.text
    terms = design.site.quote.instalments
    plan = _plan(quoted)
    if plan is None:
        return
    year = first_year(plan, design.bills, _first_month(design))
    said = [plan_words(plan, words, currency=quoted.offer.currency, decimals=quoted.offer.decimals)]
    if terms.grace_months:
        said.append(words.counted("quote_grace", terms.grace_months))
    yield heading(t("quote_instalments_title"))
    yield sentence(" ".join(said))
    yield sentence(" ".join(_energy_beside(quoted, year)))
    if months and seasonal(year):
        yield from _months_tables(quoted, year)


def plan_words(plan: InstalmentPlan, words: Messages, *, currency: str, decimals: int) -> str:
    """Deposit, payments, the last one where it has what rounding left, and all that is paid."""
    def money(amount: float) -> str:
        return words.number(amount, decimals)

    each, last = money(plan.payments[0]), money(plan.payments[-1])
    return words.text(
        "quote_instalments_words", deposit=money(plan.deposit), payment=each, currency=currency,
        count=words.counted("quote_payments", plan.terms.months), paid=money(plan.paid),
        last="" if last == each else words.text("quote_last_payment", last=last, currency=currency),
        percent=_percent(plan.terms.yearly_rate_frac, words))


def _energy_beside(quoted: _Quoted, year: list[MonthMoney]) -> Iterator[str]:
    """A usual month's spending today and with the system; the months that do not balance."""
    words, t = quoted.words, quoted.words.text

    today, energy = (sum(amounts) / len(year) for amounts in zip(
        *((one.today, one.energy) for one in year), strict=True))  # fmt: skip
    yield t("quote_energy_earned" if round(energy) < 0 else "quote_energy_beside",
            today=words.number(today), energy=words.number(abs(energy)),
            currency=quoted.offer.currency)  # fmt: skip
    short = [one for one in year if round(one.left) < 0]
    if not short:
        yield t("quote_months_balance")
        return
    most = words.number(-min(one.left for one in short))
    if short == [one for one in year if one.payment]:
        yield t("quote_months_all_short", most=most, currency=quoted.offer.currency)
        return
    names = joined([words.month(one.month) for one in short], words)
    yield t("quote_months_short", months=names, most=most, currency=quoted.offer.currency)


_MONTH_LETTERS = 7
"""Longest number, with its sign and spaces, of which twelve stand beside each other on a page."""


def _months_tables(quoted: _Quoted, year: list[MonthMoney]) -> Iterator[Block]:
    """The first year, a month a column; long numbers in two halves, so that none is broken."""
    words, t = quoted.words, quoted.words.text
    rows = {"today": [words.number(one.today) for one in year],
            "then": [words.number(one.payment + one.energy) for one in year],
            "left": [words.number(one.left) for one in year]}  # fmt: skip
    longest = max(len(one) for amounts in rows.values() for one in amounts)
    count = len(year) if longest <= _MONTH_LETTERS else len(year) // 2
    for first in range(0, len(year), count):
        months = slice(first, first + count)
        yield table(
            [quoted.offer.currency, *(words.month_short(one.month) for one in year[months])],
            [[t(f"quote_month_{name}"), *amounts[months]] for name, amounts in rows.items()],
            right=range(1, count + 1), wide=True)  # fmt: skip


def _first_month(design: Design) -> int | None:
    """Month after the works, where their start was given."""
    schedule = or_why(lambda: design.programme)()
    if isinstance(schedule, NoAnswer) or not is_given(design.site, "programme.start"):
        return None
    return schedule.finish().month % 12 + 1


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


def _second_page(quoted: _Quoted, *, own: bool) -> Iterator[Block]:
    """What it does, variants, conditions, what is not in it, acceptance."""
    t = quoted.words.text
    yield heading(t("quote_runs_title"))
    yield from _runs(quoted)
    yield heading(t("quote_energy_title"))
    yield sentence(" ".join(energy_words(quoted.design, quoted.words)))
    yield from _variants(quoted)
    yield from _conditions(quoted)
    yield from _own(quoted) if own else ()
    yield heading(t("quote_not_title"))
    frames = ["frames"] if quoted.design.array.rows.lift_deg > 0.0 else []
    left_out = reduce(lambda first, last: t("listed_after", first=first, last=last), (
        t(f"quote_not_{what}") for what in (
            *frames, "roof", "circuits", "lightning", "permits", "building")))  # fmt: skip
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


def _variants(quoted: _Quoted) -> Iterator[Block]:
    """Other systems that can be offered for the same site, beside this one."""
    words, t = quoted.words, quoted.words.text
    found, _ = offered_variants(quoted.design)  # of those left out `check` says why
    if not found:
        return
    rows = []
    for name, one in {OWN: quoted.design, **found}.items():
        energy, site = one.year_energy, one.site
        rows.append([
            t("quote_this") if name == OWN else brief(name, MOST_NAME),
            panels_words(site.array_w, words), kwh_words(usable_battery_wh(one), words),
            quoted.kwh(energy.supplied_kwh), words.number(energy.essential_h),
            quoted.money(one.offer.total),
        ])  # fmt: skip
    yield heading(t("quote_variants_title"))
    heads = [t(f"quote_{name}") for name in (
        "variant", "array", "battery", "supplied_year", "without")]  # fmt: skip
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
              and one.rule not in _FIRMS_OWN and one.stage != "survey"]  # fmt: skip
    return tuple(shown), len(findings_of(others))


def _open_conditions(quoted: _Quoted) -> tuple[tuple[str, ...], int]:
    return conditions_of(
        quoted.design.all_checks, roof_confirmed=bool(quoted.design.site.status.roof_confirmed))


def _conditions(quoted: _Quoted) -> Iterator[Block]:
    words = quoted.words
    keys, others = _open_conditions(quoted)
    facts = {"mass": words.number(round(quoted.design.installation.roof_mass_kg, -1)),
             "room": words.number(quoted.design.site.battery.room_c or 0.0)}
    if keys or others:
        yield heading(words.text("quote_conditions_title"))
    if keys:
        told = {"condition_roof": "mass", "condition_room": "room"}
        yield points([words.text(key, **{told[key]: facts[told[key]]} if key in told else {})
                      for key in keys], ordered=True)  # fmt: skip
    if others:
        yield sentence(words.counted("quote_conditions_more", others))


