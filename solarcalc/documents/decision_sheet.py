"""DS, the decision sheet: what is proposed, what is unsafe or open, what it costs, on one page."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial

from solarcalc.basis.check import Check
from solarcalc.basis.errors import InputError
from solarcalc.basis.hours import MONTHS
from solarcalc.basis.no_answer import NO_ANSWER, NoAnswer, or_why
from solarcalc.basis.quantity import beside_unit, in_unit, rough_figures, signed, unit_sign
from solarcalc.basis.text import brief, capital, small
from solarcalc.design import Design
from solarcalc.documents.charts import NARROW, paired_bars
from solarcalc.documents.facts import (
    Finding,
    findings_of,
    inverter_kilowatts,
    kwp,
    not_assessed,
    not_covered,
    price_status,
    proposal,
    to_review,
    trade_words,
    usable_kwh,
    verdict,
)
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import page_count
from solarcalc.documents.tree import (
    Block,
    Document,
    Word,
    beside,
    box,
    figure,
    fill,
    heading,
    numbers,
    pairs,
    points,
    sentence,
    soft,
    strong,
    table,
    tick,
)
from solarcalc.guesses import SOIL, DecidingGuess, ranked_guesses
from solarcalc.programme.days import crew_days, day_words, person_days
from solarcalc.quote.answer import tornado
from solarcalc.quote.economics import Economics, price_rise_words
from solarcalc.stages.orientation import ORIENTATIONS, OrientationChoice, Way
from solarcalc.stages.owned import told_of
from solarcalc.stages.progress import document_status
from solarcalc.supply.energy import energy_by_month_kwh, energy_w
from solarcalc.variants import money_of, offer_of
from solarcalc.views.battery import grid_out_words
from solarcalc.views.electrical import EARTHED_POLE, moved_words, pole_devices
from solarcalc.views.levers import Lever, levers_of
from solarcalc.views.yields import promised_kwh, uncertainties

MOST_SAFETY, MOST_OTHER, MOST_REVIEW, MOST_GUESSES = 5, 3, 4, 5
MOST_FINDINGS = 9
"""Of all three together: where many fail, fewer to review stand here."""
MUCH_CURTAILED_FRAC = 0.6
"""Of the available PV energy: beyond it fewer modules are worth a sentence."""
_LINES, _LONGEST, _LINE = (28, 24, 20, 18, 16, 13, 9), 5, 104
"""Lines of all findings together, the most that the page holds; of one; and letters of a line."""


def documents(making: Making) -> tuple[Document, ...]:
    """The decision sheet."""
    design = making.design

    def sheet(blocks: Sequence[Block]) -> Document:
        return Document(
            code="DS", look="sheet", stamp=making.example_stamp(), blocks=tuple(blocks),
            head=making.head("DS", "Decision sheet", status=document_status(design, "DS")),
        )  # fmt: skip

    return (sheet(blocks_of(design, sheet)),)


def blocks_of(
    design: Design, sheet: Callable[[Sequence[Block]], Document], *, priced: bool = True
) -> tuple[Block, ...]:
    """What the sheet says, its findings in as many lines as one page of paper leaves them.

    Parameters
    ----------
    design : Design
    sheet : callable
        The page that holds these blocks.
    priced : bool
        A reader outside the firm is not told what mounting costs it.
    """
    levers = levers_of(design)
    middle = list(_middle(design, levers, priced))
    last = [*_guessed(design), *_money(design), *_boxes()]
    for lines in _LINES:
        blocks = (*_top(design, levers, lines), *middle, *_open(design, lines), *last)
        if page_count(sheet(blocks)) == 1:
            break
    return blocks


def _top(design: Design, levers: Sequence[Lever], lines: int) -> Iterator[Block]:
    """Verdict, proposal, what is unsafe, the numbers."""
    energy, powers = design.year_energy, inverter_kilowatts(design.site)
    yield sentence(f"{verdict(design)} {proposal(design)}", look="answer")
    yield from _unsafe(design, lines)
    yield numbers([
        (kwp(design.site), "array"), (usable_kwh(design), "usable battery"),
        (" + ".join(powers), "kW, essential + other" if len(powers) > 1 else "kW, both boards"),
        (f"{in_unit(energy.supplied_kwh, 'kWh')} kWh", "supplied a year"),
        (f"{in_unit(energy.curtailed_kwh, 'kWh')} kWh", "curtailed a year"),
        (f"{energy.essential_h} h", "without supply a year"),
    ])  # fmt: skip
    yield sentence(f"Energy of the year: {energy.words}.{_grid(design)}"
                   f"{_curtailed(design, levers)}")  # fmt: skip


def _grid(design: Design) -> str:
    """When the grid is there, in one sentence; empty where there is none."""
    said = grid_out_words(design) if design.site.grid.there else ""
    return f" {capital(said)}." if said else ""


def _curtailed(design: Design, levers: Sequence[Lever]) -> str:
    """What fewer modules would supply, where most of the energy is curtailed."""
    energy = design.year_energy
    if energy.curtailed_kwh <= MUCH_CURTAILED_FRAC * energy.available_kwh:
        return ""
    own, *others = levers
    fewer = next((one for one in others if "array" in one.changes), None)
    share = in_unit(100.0 * energy.curtailed_kwh / energy.available_kwh, "%")
    said = f" {share} % of the available PV energy is curtailed"
    return f"{said}." if fewer is None else (
        f"{said}: {fewer.words}, would supply {in_unit(fewer.supplied_kwh, 'kWh')} of the"
        f" {in_unit(own.supplied_kwh, 'kWh')} kWh.")  # fmt: skip


def _shown(design: Design) -> tuple[list[Finding], list[Finding], list[Finding]]:
    """Findings of this sheet: failed of safety, failed others, to review."""
    failed = design.failed
    safety = findings_of(one for one in failed if one.kind == "safety")
    others = findings_of(sorted((one for one in failed if one.kind != "safety"),
                                key=lambda one: one.kind != "supply"))  # fmt: skip
    review = findings_of(one for one in to_review(design.all_checks) if _moves(one))
    unsafe, failing = list(safety[:MOST_SAFETY]), list(others[:MOST_OTHER])
    left = min(MOST_REVIEW, MOST_FINDINGS - len(unsafe) - len(failing))
    return unsafe, failing, list(review[:left])


def _moves(check: Check) -> bool:
    """Whether it moves safety, money or the date."""
    return check.kind in ("safety", "cost") or check.stage in ("offer", "build")


def _items(design: Design, findings: list[Finding], lines: int) -> Block:
    """Findings in their share of so many lines; the first have one more where some are left."""
    each = [one for some in _shown(design) for one in some]
    least, more = divmod(lines, len(each))
    of = {one: min(least + (place < more), _LONGEST) for place, one in enumerate(each)}
    return points([_item(one, of[one] * _LINE - 12) for one in findings])


def _item(finding: Finding, most: int) -> list[Word]:
    item, words, action = finding.line(most)
    return [strong(item), f": {words}{'' if words.endswith('…') else '.'} ", action]


def _unsafe(design: Design, lines: int) -> Iterator[Block]:
    """Failed checks of safety, before all else."""
    safety, _, _ = _shown(design)
    if not safety:
        return
    count = sum(check.kind == "safety" for check in design.failed)
    told = sum(len(one.checks) for one in safety)
    said = f"FAILED, SAFETY ({count})"
    if count > MOST_SAFETY:
        said += f": DESIGN STOPPED. The first {told} of {count}:" if told < count else (
            ": DESIGN STOPPED")
    yield box([sentence(strong(said)), _items(design, safety, lines)], look="danger")


def _middle(design: Design, levers: Sequence[Lever], priced: bool) -> Iterator[Block]:
    """Orientation beside the months, then what decides."""
    choices = [(one.plane, or_why(partial(getattr, one, "orientation"))())
               for one in design.planes]  # fmt: skip
    count = design.site.module_count
    title = heading(f"Orientation, {count} module{'s' * (count != 1)}", 3)
    told = [(plane, one) for plane, one in choices if not isinstance(one, NoAnswer)]
    left = [title, *(sentence(f"{plane}: " * bool(plane), one.sentence)
                     for plane, one in choices if isinstance(one, NoAnswer))]  # fmt: skip
    if told:
        left.append(_ways(told[0][1], priced) if len(choices) == 1 else _planes(told))
    yield beside(left, [heading("Months", 3), _months(design)])
    for plane, choice in told:
        reason = choice.reason if priced else choice.reason_unpriced
        if plane:
            yield sentence(strong(f"{plane}: "), reason)
        else:
            yield sentence(reason, " ", soft(choice.extended))
    yield from _levers(design, levers)


def _planes(told: Sequence[tuple[str, OrientationChoice]]) -> Block:
    """A column a roof plane: its modules, both ways of laying them, what fits."""
    choices = [choice for _, choice in told]
    rows = [
        ["Modules", *(str(one.module_count) for one in choices)],
        ["Laid in", *(one.written for one in choices)],
        *([f"Potential AC energy, {name} [kWh/year]",
           *(in_unit(one.ways[name].energy_kwh, "kWh/year") for one in choices)]
          for name in ORIENTATIONS),
        *([f"Fits in {name} (at most)", *(_fits(one.ways[name]) for one in choices)]
          for name in ORIENTATIONS),
        ["Rails [m], what they stand on", *(
            f"{in_unit(one.ways[one.written].hardware.rail_m)},"
            f" {one.ways[one.written].hardware.foot_count} {one.feet}" for one in choices)],
    ]  # fmt: skip
    return table(["", *(plane for plane, _ in told)], rows,
                 right=range(1, 1 + len(told)))  # fmt: skip


def _ways(choice: OrientationChoice, priced: bool) -> Block:
    """Both ways at the module count of the design."""
    hours: tuple[str, Callable[[Way], str]] = ("Work [person-hours]",
                                               lambda way: in_unit(way.fitting_h))  # fmt: skip
    cost: tuple[str, Callable[[Way], str]] = (
        f"Mounting with labour, before margin [{choice.currency}]",
        lambda way: _amount(way.mounting_price))
    ways = (choice.portrait, choice.landscape)
    rows = [[name, *(said(way) for way in ways)] for name, said in (
        ("Fits (at most, in even rows of whole strings)", _fits),
        ("Rows × modules high", lambda way: f"{way.rows} × {way.modules_high}"),
        (f"Potential AC energy [kWh/year], difference ± {100.0 * choice.sigma_frac:.1f} %",
         lambda way: in_unit(way.energy_kwh, "kWh/year")),
        (f"Rails [m], {choice.feet.removeprefix('roof ')}", lambda way: (
            f"{in_unit(way.hardware.rail_m)}, {way.hardware.foot_count}")),
        ("Modules, rails [kg/m²]", lambda way: in_unit(way.hardware.load_on_modules_kg_per_m2)),
        ("Strings whole in a row", lambda way: (
            f"{way.string_count - way.split_count} of {way.string_count}")),
        hours, *([cost] if priced else []),
    )]  # fmt: skip
    return table(["", *(way.orientation for way in ways)], rows, right=(1, 2))


def _fits(way: Way) -> str:
    return f"{'yes' if way.fits else 'no'} ({way.most_count})"


def _amount(value: float | None) -> str:
    return NO_ANSWER if value is None else in_unit(float(round(value)))


def _months(design: Design) -> Block:
    """Demand against available PV energy by month."""
    needed, given = (
        [float(sums.get(month, 0.0)) for month in range(1, 13)]
        for sums in (energy_by_month_kwh(energy_w(design.supply, name)).iloc[:, 0]
                     for name in ("demand", "available")))  # fmt: skip
    short = [name for name, one, other in zip(MONTHS, needed, given, strict=True) if one > other]
    months = "every month" if len(short) == len(MONTHS) else ", ".join(one[:3] for one in short)
    said = (f"Demand exceeds available PV energy in {months}." if short else
            f"Available PV energy exceeds demand in each month{_still_short(design)}.")
    alt = f"Bars of available PV energy (full) and demand (open) in kWh a month. {said}"
    bars = list(zip((name[0] for name in MONTHS), given, needed, strict=True))
    return figure(paired_bars(bars, alt, wide=400, high=132.0), alt, alt,
                  narrow=paired_bars(bars, alt, wide=NARROW))


def _still_short(design: Design) -> str:
    """What is not supplied all the same, where every month as a whole has enough; else nothing."""
    found = design.year_energy
    left_kwh = found.demand_kwh - found.supplied_kwh
    short = (f"the essential loads are {found.essential_h} h a year without supply"
             if found.essential_h else
             f"{in_unit(left_kwh, 'kWh')} kWh of the demand of the year are not supplied"
             if round(left_kwh) else "")  # fmt: skip
    return f", still {short}: a month as a whole does not show its dull days" if short else ""


def _levers(design: Design, levers: Sequence[Lever]) -> Iterator[Block]:
    offer = offer_of(design)
    unit = "" if isinstance(offer, NoAnswer) else f" [{offer.currency}]"
    own, *others = levers
    rows = [[brief(one.words, 60), _amount(one.total), _change(one, own), _years(one),
             str(one.essential_without_supply_h), in_unit(one.supplied_kwh, "kWh"),
             f"{one.failed_safety} + {one.failed_other}"] for one in (own, *others)]  # fmt: skip
    yield heading("What decides", 3)
    yield table(["", f"price{unit}", f"change{unit}", "payback [years]",
                 "essential without supply [h/year]", "supplied [kWh/year]",
                 "failed: safety + other"], rows, right=range(1, 7))  # fmt: skip


def _change(one: Lever, own: Lever) -> str:
    if one is own or one.total is None or own.total is None:
        return "–"
    return signed(round(one.total) - round(own.total), 0)  # of the prices printed beside it


def _years(one: Lever) -> str:
    return "never" if one.payback_years is None else in_unit(one.payback_years, "years")


def _open(design: Design, lines: int) -> Iterator[Block]:
    """Failed checks that are not of safety, and the reviews that move something."""
    _, others, review = _shown(design)
    if others:
        count = sum(check.kind != "safety" for check in design.failed)
        told = sum(len(one.checks) for one in others)
        of = f"{told} of {count}" if told < count else f"{count}"
        yield heading(f"Failed, not of safety, supply first ({of})", 3)
        yield _items(design, others, lines)
    yield from _lapsed(design)
    if found := to_review(design.all_checks):
        above = [check for one in review for check in one.checks]
        below = [one for one in found if one not in above]
        of = f"{len(above)} of {len(found)}" if below else f"{len(found)}"
        alike = ", like ones together" if len(above) > len(review) else ""
        yield heading(f"To review or accept, safety first ({of}{alike})", 3)
        if review:
            yield _items(design, review, lines)
        if below:
            yield sentence(_left(below))


def _lapsed(design: Design) -> Iterator[Block]:
    """Checks of safety that somebody accepted with other values."""
    items = [trade_words(check.item) for check, _ in design.lapsed if check.kind == "safety"]
    if items:
        yield sentence(strong(f"Safety, accepted before, no longer valid ({len(items)}): "),
                       brief("; ".join(items), 2 * _LINE), ".")  # fmt: skip


def _left(others: Sequence[Check]) -> str:
    """How many reviews do not stand above, and which of them are of safety, by name."""
    unsafe = [one for one in others if one.kind == "safety"]
    names = "; ".join(trade_words(one.item.partition(": ")[0]) for one in findings_of(unsafe))
    if len(others) == 1:
        said = f"The other one is {'' if unsafe else 'not '}of safety"
    else:
        are = "is" if len(unsafe) == 1 else "are"
        said = f"Of the other {len(others)}, {len(unsafe) or 'none'} {are} of safety"
    told = brief(said + (f": {names}" if names else ""), 4 * _LINE)
    return told if told.endswith("…") else f"{told}."


def _guessed(design: Design) -> Iterator[Block]:
    """What nobody gave, by what hangs on it, and what nothing here covers."""
    yield heading("Guessed, the deciding first", 3)
    try:
        found = ranked_guesses(design)
    except InputError as error:
        yield sentence(brief(f"Not tried: {error.faults[0].where}.", _LINE))
        found = ()
    yield points(_ranked(design, found)[:MOST_GUESSES])
    if unknown := not_assessed(design):
        yield sentence(strong("Not assessed: "), brief(unknown, _LINE))
    yield sentence(strong("Not covered: "), brief(not_covered(design.site), 2 * _LINE))
    if own := told_of(design.bill, design.site.existing):
        yield sentence(strong("Customer's own, used again, no warranty of ours: "),
                       brief(own, _LINE))


def _ranked(design: Design, found: Iterable[DecidingGuess]) -> list[list[Word]]:
    """Deciding guesses, then prices that are invented, then the others and the yield."""
    deciding, others = ([_guess(one) for one in found if bool(one.flips) is flips]
                        for flips in (True, False))  # fmt: skip
    if poles := pole_devices(design) if found else []:
        more = f", and {len(poles) - 1} more" if len(poles) > 1 else ""
        deciding.append([strong(EARTHED_POLE), f": none. Any pole earthed: {poles[0]}{more}."])
    if price_status(design) == "example":
        deciding.append([strong("Prices (EXAMPLE)"), ": total, payback and cost of a kWh."])
    return [*deciding, _yield(design), *others]


def _yield(design: Design) -> list[Word]:
    """How uncertain the yield is, and what most of that is."""
    parts = sorted(uncertainties(design), key=lambda one: -one.sigma_frac)
    return [
        strong("Yield"), f": {in_unit(design.energy.ac_kwh, 'kWh')} kWh/year potential AC energy,"
        f" P90 {in_unit(promised_kwh(design), 'kWh')}. Largest uncertainty: ",
        brief(small(parts[0].name), 40),
        f", {100.0 * parts[0].sigma_frac:.0f} %.",
    ]  # fmt: skip


def _guess(one: DecidingGuess) -> list[Word]:
    unit = unit_sign(one.unit) if one.unit != "1" else ""
    values = [rough_figures(value) for value in (one.used, one.low, one.high)]
    said = f": {beside_unit(values[0], unit)} ({values[1]} to {values[2]}). "
    return [strong(brief(one.label, 60)), said, brief(_moved(one, unit), 100)]


def _moved(one: DecidingGuess, unit: str) -> str:
    if one.flips:
        more = len(one.flips) - 1
        return _flip(one, unit) + (f", and {more} more" if more else "") + "."
    return f"Changes {moved_words(one)}."


def _flip(one: DecidingGuess, unit: str) -> str:
    flip = one.flips[0]
    at = beside_unit(rough_figures(flip.at), unit)
    said = (f"{flip.below} below {at}, {flip.above} above" if one.key != SOIL else
            f"if measured: {flip.below} up to {at}, above: {flip.above}")  # fmt: skip
    return f"{brief(flip.what, 50)}: {said}"


def _money(design: Design) -> Iterator[Block]:
    yield heading("Money and days", 3)
    yield pairs([("Price", _price(design)), ("Simple payback", _payback(design)),
                 ("Work", _work(design))])  # fmt: skip


def _price(design: Design) -> str:
    offer = offer_of(design)
    if isinstance(offer, NoAnswer):
        return brief(offer.sentence, _LINE)
    status = {"example": "EXAMPLE PRICES, not valid for an offer" + (
                  f": {offer.invented_words}" if offer.invented_rows else ""),
              "price list": "by the firm's price list, not offered yet",
              "offer": f"offered, valid {offer.valid_days} days"}[price_status(design)]
    return f"{_amount(offer.total)} {offer.currency}, {offer.tax_words}: {status}"


def _payback(design: Design) -> str:
    economics = money_of(design)
    if isinstance(economics, NoAnswer):
        return brief(trade_words(economics.sentence), 2 * _LINE)
    life = f"not paid back within {economics.plan.lifetime_years:g} years"
    here, today = economics.payback_years, economics.today_payback_years
    said = life if here is None else f"{in_unit(here, 'years')} years"
    if rise := price_rise_words(economics.plan.price_escalation_frac):
        said += f" {rise}, " + (f"{in_unit(today, 'years')} years" if today is not None else
                                "not within its life") + " at today's"  # fmt: skip
    return f"{said}. Depends most on: {_depends(economics)}"


def _depends(economics: Economics) -> str:
    return ", ".join(swing.name for swing in tornado(economics.plan)[:3])


def _work(design: Design) -> str:
    schedule = or_why(lambda: design.programme)()
    if isinstance(schedule, NoAnswer):
        return brief(schedule.sentence, _LINE)
    begin, end = min(one.start for one in schedule.planned).date(), schedule.finish().date()
    return (f"{crew_days(schedule)} days on site, {in_unit(person_days(schedule), 'years')}"
            f" person-days, {day_words(begin)} to {day_words(end)}")  # fmt: skip


def _boxes() -> Iterator[Block]:
    yield sentence(strong("Decision: "), tick("go"), tick("change (what: ", fill(10.0), ")"),
                   tick("stop"), "Name ", fill(11.0), " Date ", fill(7.0))  # fmt: skip
