"""The customer's booklet: what there is, how long it runs, how to care for it, whom to call."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from solarcalc.basis.messages import Messages, messages
from solarcalc.basis.phrases import listed, phrase
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.text import capital
from solarcalc.documents.charts import NARROW, numbered_switches, paired_bars
from solarcalc.documents.making import Making
from solarcalc.documents.tree import (
    Block,
    Cell,
    Document,
    Head,
    Words,
    beside,
    box,
    figure,
    fill,
    heading,
    key_mark,
    line_break,
    new_page,
    pairs,
    points,
    sentence,
    signatures,
    strong,
    table,
)
from solarcalc.report.findings import Letterhead
from solarcalc.report.handover_facts import (
    EVENING_H,
    LONGEST_H,
    MOST_DUTIES,
    NIGHT_H,
    BoardFacts,
    CustomerFacts,
    WarrantyRow,
)
from solarcalc.sitefile.survey_lines import name_in
from solarcalc.stages.progress import document_status
from solarcalc.views.handover import booklet_facts

MOST_APPLIANCES, MOST_NAMED = 8, 12
"""Lines a board has in the table of single appliances, those that run shortest first; and names in
the list of what is on it."""

_EVERY_MONTH = 1
_TWICE_A_YEAR = "BS 7671, six months, as electricians' published advice tells it"


@dataclass(frozen=True, kw_only=True)
class CareTask:
    """One line of the calendar.

    Parameters
    ----------
    key : str
        Of its words.
    who : str
        Key of who does it.
    months : tuple of int
        Months in which it is due, 1 to 12.
    source : str
        Where its interval comes from.
    """

    key: str
    who: str
    months: tuple[int, ...]
    source: str = NO_SOURCE


def care_calendar(facts: CustomerFacts) -> tuple[CareTask, ...]:
    """What is due in which month, counted from the month of the hand-over, or from January."""
    start = facts.handed_over.month if facts.handed_over else 1
    cleaning = (
        CareTask(key="care_wash", who="care_you", months=facts.cleaning_months)
        if facts.cleaning_months else
        CareTask(key="care_dust", who="care_you", months=_every(3, start))
    )  # fmt: skip
    tasks = [
        cleaning,
        CareTask(key="care_look", who="care_you", months=_every(3, start)),
        CareTask(key="care_water", who="care_trained", months=_every(1, start))
        if facts.battery.water is not None else None,
        CareTask(key="care_outside", who="care_you", months=_every(_EVERY_MONTH, start)),
        CareTask(key="care_air", who="care_you", months=_every(_EVERY_MONTH, start)),
        CareTask(key="care_button", who="care_you", months=_every(6, start),
                 source=_TWICE_A_YEAR),
        CareTask(key="care_generator", who="care_you", months=_every(_EVERY_MONTH, start))
        if facts.generator_w > 0.0 else None,
        CareTask(key="care_visit", who="care_firm", months=(start,)),
    ]  # fmt: skip
    return tuple(task for task in tasks if task is not None)


def _every(months: int, start: int) -> tuple[int, ...]:
    return tuple(sorted((start - 1 + step) % 12 + 1 for step in range(0, 12, months)))


def documents(making: Making) -> tuple[Document, ...]:
    """The booklet of a site, in the language of its customer."""
    facts, language = booklet_facts(making.design), making.design.site.firm.language
    head = making.head("BK", messages(language).text("kind"), language=language,
                       status=document_status(making.design, "BK"))
    return (booklet_of(facts, making.firm, head),)


def booklet_of(facts: CustomerFacts, firm: Letterhead, head: Head) -> Document:
    """The booklet that says these facts, in the language of its head."""
    words = messages(head.language)
    return Document(
        code="BK", head=head, look="booklet", stamp=" · ".join(map(words.text, facts.stamps)),
        blocks=tuple(booklet(facts, firm, words)),
    )


def booklet(facts: CustomerFacts, firm: Letterhead, words: Messages) -> list[Block]:
    """Its four pages: what there is and how long it runs; months; care and trouble; warranty."""
    return [*_first_page(facts, words), new_page(), *_second_page(facts, words), new_page(),
            *_third_page(facts, words), new_page(), *_last_page(facts, firm, words)]  # fmt: skip


def _first_page(facts: CustomerFacts, words: Messages) -> list[Block]:
    t = words.text
    boards = [board_row(board, words) for board in facts.boards]
    shown = 2 if facts.one_inverter else 3
    evening, night = t("clock", hour=EVENING_H), t("clock", hour=NIGHT_H)
    unsupplied = unsupplied_words(facts, words)
    return [
        sentence(t("keep_this")), heading(t("have_title")), points(have_lines(facts, words)),
        table([t("board"), t("on_it"), t("at_most")][:shown], [row[:shown] for row in boards],
              caption=t("boards_title"), right=(2,)),
        *([] if facts.one_inverter else [sentence(t("over_power"))]),
        heading(t("cut_title" if facts.grid else "dark_title")), sentence(_lead(facts, words)),
        *([sentence(strong(unsupplied))] if unsupplied else []),
        table([t("board"), t("from_evening", hour=evening), t("from_night", hour=night)],
              [(door_words(board, words), strong(hours_words(board.evening_h, words)),
                strong(hours_words(board.night_h, words))) for board in facts.boards],
              caption=t("as_usual_caption")),
        sentence(shed_words(facts, words)), heading(t("duties_title"), 3),
        points(_duties(facts, words)),
    ]  # fmt: skip


def _second_page(facts: CustomerFacts, words: Messages) -> list[Block]:
    t = words.text
    bars = [(words.month_short(number), given, needed) for number, (given, needed) in enumerate(
        zip(facts.given_kwh, facts.needed_kwh, strict=True), start=1)]  # fmt: skip
    singles = [(door_words(board, words), _singles(board, words)) for board in facts.boards]
    alone = [[table([t("only_thing"), t("only_hours")], rows, caption=name)]
             for name, rows in singles if rows]  # fmt: skip
    return [
        heading(t("months_title")), sentence(_months(facts, words)),
        figure(paired_bars(bars, t("months_alt")), t("months_alt"), [
            key_mark("given", t("months_given")), "   ",
            key_mark("needed", t("months_needed")), f"   ({t('months_unit')})"],
            narrow=paired_bars(bars, t("months_alt"), wide=NARROW)),
        heading(t("last_title")), sentence(t("read_charge"), " ", fill()), sentence(t("stretch")),
        *(sentence(t(key)) for key in (facts.battery.booklet.care, *facts.care)),
        *([sentence(t("battery_years", years=words.number(int(facts.battery_years))))]
          if facts.battery_years and facts.battery_years >= 1.0 else []),
        *([sentence(strong(t("only_caption"))), beside(*alone)] if alone else []),
        sentence(t("units_explained")),
    ]  # fmt: skip


def _third_page(facts: CustomerFacts, words: Messages) -> list[Block]:
    t = words.text
    tasks = [[t(task.key), t(task.who), _when(task.months, words)]
             for task in care_calendar(facts)]  # fmt: skip
    return [
        heading(t("care_title")),
        table([t("care_task"), t("care_who"), t("care_when")], tasks),
        sentence(t("care_wash_how")),
        box([heading(t("emergency_title"), 3), points(_emergencies(facts, words)),
             *_switches(facts, words)], look="danger"),
    ]  # fmt: skip


def _when(months: tuple[int, ...], words: Messages) -> str:
    if len(months) == 12:
        return words.text("each_month")
    return ", ".join(words.month_short(number) for number in months)


def _switches(facts: CustomerFacts, words: Messages) -> list[Block]:
    """The picture of what is switched off, in its order; nothing where nobody knows the order."""
    steps = [
        (words.text(f"off_{step}"), ", ".join(one.tag for one in switches), ", ".join(dict.fromkeys(
            words.text(f"place_{one.place.replace(' ', '_')}") for one in switches)))
        for step, switches in facts.switching_off
    ]  # fmt: skip
    alt = words.text("switches_alt", order=phrase("; ", words.language).join(
        f"{number} {what}, {tags}, {place}" for number, (what, tags, place)
        in enumerate(steps, start=1)))  # fmt: skip
    return [figure(numbered_switches(steps, alt), alt,
                   narrow=numbered_switches(steps, alt, wide=NARROW))] if steps else []


def _last_page(facts: CustomerFacts, firm: Letterhead, words: Messages) -> list[Block]:
    t = words.text
    ours = t("signed_firm") + (f" {firm.name}" if firm.name else "")
    theirs = [t(row.part) for row in facts.warranty if row.own == "all"]
    return [
        box([heading(t("danger_title"), 3), points(t(key) for key in _dangers(facts))],
            look="warning"),
        heading(t("warranty_title")), sentence(t("warranty_lead")),
        table([t(f"warranty_{name}") for name in ("part", "made", "serial", "to")],
              [_warranty_cells(row, words) for row in facts.warranty if row.own != "all"],
              look="warranty"),
        *([sentence(t("warranty_own_all", parts=joined(theirs, words)))] if theirs else []),
        heading(t("call_title")),
        pairs([(t("call_us"), [strong(firm.name or t("firm_unnamed")), " ",
                               firm.contact or fill()]),
               (t("call_fire"), [fill(), f" {t('call_doctor')} ", fill()])]),
        sentence(strong(t("signed_title")), ". ", t("signed_words")),
        signatures([ours, line_break(), t("signed_day")],
                   [t("signed_customer"), f" {facts.customer}" if facts.customer else "",
                    line_break(), t("signed_day")]),
    ]  # fmt: skip


def _warranty_cells(row: WarrantyRow, words: Messages) -> list[Cell]:
    serials = row.serials[0] if row.count == len(row.serials) == 1 else words.text(
        "warranty_listed", known=words.number(len(row.serials)), count=words.number(row.count),
    ) if row.serials else None  # fmt: skip
    ends = words.text("warranty_own_some") if row.own else None
    return [words.text(row.part), capital(listed(row.label, words.language)), serials,
            words.date(row.until) if row.until else ends]  # fmt: skip


def door_words(board: BoardFacts, words: Messages) -> str:
    """A board by the tag and the words on its door."""
    return " ".join(filter(None, (board.tag, words.text(board.board))))


def hours_words(time_h: float, words: Messages) -> str:
    """A time on the battery, rounded down: never more than was worked out.

    Parameters
    ----------
    time_h : float
        [h]; infinite beyond what is looked at; not a number where there is none to tell.

    Examples
    --------
    >>> hours_words(7.9, messages("en")).replace(chr(0xA0), " ")
    '7 h 30'
    """
    if math.isnan(time_h):
        return "−"
    if not math.isfinite(time_h) or time_h > LONGEST_H:
        return words.text("longer_than", hours=words.number(LONGEST_H))
    halves = math.floor(time_h * 2.0 + 1e-9)
    if halves < 1:
        return words.text("under_half_an_hour")
    if halves % 2 and halves < 20:
        return words.text("hours_and_half", hours=halves // 2)
    return words.text("hours", hours=halves // 2)


def kw_words(power_w: float, words: Messages) -> str:
    """Power in tenths of a kilowatt, hundredths below ten where they are more; rounded down.

    Never more than there is.

    Examples
    --------
    >>> [kw_words(power_w, messages("en")).replace(chr(0xA0), " ") for power_w in (1850.0, 2700.0)]
    ['1.85 kW', '2.7 kW']
    """
    hundredths = math.floor(power_w / 10.0 + 1e-6)
    places = 2 if hundredths % 10 and hundredths < 1000 else 1
    least = math.floor(hundredths / 10.0 ** (2 - places)) / 10.0**places
    return words.text("kw", number=words.number(least, places))


def board_power_words(board: BoardFacts, words: Messages) -> str:
    """What a board carries at a time, and on one phase where each has an inverter of its own."""
    whole = kw_words(board.inverter_w, words)
    return words.text("kw_a_phase", power=whole, each=kw_words(board.phase_w, words)) \
        if board.phase_w > 0.0 else whole  # fmt: skip


def panels_words(power_w: float, words: Messages) -> str:
    """Rated power of the panels with three figures, as everywhere else.

    Examples
    --------
    >>> panels_words(5750.0, messages("en")).replace(chr(0xA0), " ")
    '5.75 kW'
    """
    kw = power_w / 1000.0
    places = 2 if kw < 9.995 else 1 if kw < 99.95 else 0
    return words.text("kw", number=words.number(kw, places))


def kwh_words(energy_wh: float, words: Messages) -> str:
    """Energy in kilowatt-hours, of watt-hours [Wh]."""
    kwh = energy_wh / 1000.0
    return words.text("kwh", number=words.number(kwh, 1 if kwh < 100.0 else 0))


def _inverters(facts: CustomerFacts, words: Messages) -> str:
    """How many inverters there are, and what they carry at a time."""
    essential, nonessential = facts.boards
    power = board_power_words(essential, words)
    if facts.one_inverter:
        return words.counted("inverter", essential.inverter_count, power=power)
    count = _inverter_count(facts)
    each = {"essential": power, "nonessential": board_power_words(nonessential, words)}
    if count == len(facts.boards):
        return words.text("inverters_two", **each)
    return words.text("inverters_several", count=count, **each)


def _inverter_count(facts: CustomerFacts) -> int:
    """Inverters of both boards, which may be the same."""
    boards = facts.boards[:1] if facts.one_inverter else facts.boards
    return sum(board.inverter_count for board in boards)


def have_lines(
    facts: CustomerFacts, words: Messages, own: Mapping[str, int] | None = None
) -> list[str]:
    """What the customer has or gets: panels, batteries, inverters, other sources.

    Parameters
    ----------
    facts : CustomerFacts
    words : Messages
    own : mapping of item of the bill to int, optional
        How many of an offer's are the customer's own already: these are told as that.
    """
    how = _HANDS[facts.changeover]
    said = {
        "module": (facts.module_count, words.counted(
            "panels", facts.module_count, power=panels_words(facts.array_w, words))),
        "battery": (facts.unit_count, words.counted(
            f"battery_{facts.battery.booklet.battery}", facts.unit_count,
            full=kwh_words(facts.full_wh, words), usable=kwh_words(facts.usable_wh, words))),
        "inverter": (_inverter_count(facts), _inverters(facts, words)),
    }
    if facts.generator_w > 0.0:
        power = kw_words(facts.generator_w, words)
        said["generator"] = 1, words.text(f"generator_{how}", power=power)
    alone = "grid_none_generator" if facts.generator_w > 0.0 else "grid_none"
    return [*(f"{line}{_own_words((own or {}).get(item, 0), count, words)}"
              for item, (count, line) in said.items()),
            words.text(f"grid_{how}" if facts.grid else alone)]


def _own_words(own: int, count: int, words: Messages) -> str:
    """That all or so many of a line are the customer's own; empty for none."""
    if own <= 0:
        return ""
    return f" {words.text('have_own') if own >= count else words.counted('have_own', own)}"


_HANDS = {"built-in": "by_itself", "automatic": "by_itself", "manual": "by_hand",
          "none": "apart"}  # fmt: skip
"""What does the change between sources, by the changeover of the site file."""


def _lead(facts: CustomerFacts, words: Messages) -> str:
    """What happens in a cut, and what the times below it are for."""
    change = [words.text(f"change_{_HANDS[facts.changeover]}")] if facts.grid else []
    never = [] if facts.fills else [words.text("never_full")]
    return " ".join([*change, words.text("dark_lead"), *never])


def _duties(facts: CustomerFacts, words: Messages) -> list[str]:
    """What the customer must do, the most pressing first: nothing else of it stands elsewhere."""
    by_hand = _HANDS[facts.changeover] == "by_hand"
    found = [
        ("must_generator", by_hand and facts.generator_w > 0.0),
        ("must_change", by_hand and facts.grid),
        ("must_water", facts.battery.water is not None),
        ("must_wash", True), ("must_button", True), ("must_call", True),
    ]  # fmt: skip
    return [words.text(key) for key, due in found if due][:MOST_DUTIES]


def _emergencies(facts: CustomerFacts, words: Messages) -> list[str]:
    """What to do when something is wrong, with every switch in the order of switching off."""
    steps = ", ".join(
        words.text("off_step", number=words.number(number), what=words.text(f"off_{step}"),
                   tags=", ".join(one.tag for one in switches))
        for number, (step, switches) in enumerate(facts.switching_off, start=1)
    )
    off = words.text("emergency_off", order=steps) if steps else words.text("emergency_off_ask")
    return [*(words.text(f"emergency_{kind}") for kind in ("fire", "shock", "flood", "dark")), off,
            words.text("emergency_defer")]  # fmt: skip


def board_row(board: BoardFacts, words: Messages) -> tuple[Words, str, str]:
    """A board by its door, what is on it, and its power."""
    names = _named(board, words)
    more = len(names) - MOST_NAMED
    shown = [*names[:MOST_NAMED], *([words.counted("more_appliances", more)] if more > 0 else [])]
    on_it = ", ".join(shown) or words.text(
        "measured_board" if board.measured else "nothing_listed")
    name = [strong(door_words(board, words)), line_break(), words.text(f"{board.board}_is")]
    return name, on_it, board_power_words(board, words)


def _named(board: BoardFacts, words: Messages) -> list[str]:
    """Appliances of a board, how many there are of each.

    Rows of one name are the same ones on other days; numbered lines of a survey are more of them.
    """
    there: dict[str, int] = {}
    for item in board.appliances:
        there[item.name] = max(there.get(item.name, 0), item.count)
    counts: Counter[str] = Counter()
    for name, count in there.items():
        counts[name_in(name, words.language)] += count
    return [_counted(name, count, words) for name, count in counts.items()]


def _counted(name: str, count: int, words: Messages) -> str:
    """An appliance and how many there are."""
    return words.text("listed", name=name, count=words.number(count)) if count > 1 else name


def _singles(board: BoardFacts, words: Messages) -> list[tuple[str, str]]:
    """Each appliance and how long it runs alone; the shortest first, the rest counted."""
    ordered = sorted(board.appliances, key=lambda item: item.runs_h)
    rows = [(_counted(name_in(item.name, words.language), item.count, words),
             hours_words(item.runs_h, words)) for item in ordered[:MOST_APPLIANCES]]
    more = len(ordered) - MOST_APPLIANCES
    if more > 0:
        longest = hours_words(ordered[MOST_APPLIANCES - 1].runs_h, words)
        rows.append((words.counted("more_appliances", more), f"≥ {longest}"))
    return rows


def shed_words(facts: CustomerFacts, words: Messages) -> str:
    """When the nonessential board is switched off and comes back."""
    if facts.separate_banks:
        return words.text("shed_separate")
    return words.text("shed", shed=words.percent(facts.nonessential_off_frac),
                      back=words.percent(facts.nonessential_on_frac))


YEAR_H, MOST_MONTHS = 8760.0, 6
"""Hours of the year looked at; months that are named at most."""
MOST_OF_HOURS_FRAC = 0.75
"""Share of the hours without supply that the months named hold at least: "most of them"."""


def unsupplied_words(facts: CustomerFacts, words: Messages) -> str:
    """A warning of the hours in which the essential board gets too little; empty without any."""
    total, held, named = sum(facts.unsupplied_h), 0.0, list[int]()
    for hours, month in sorted(zip(facts.unsupplied_h, range(1, 13), strict=True), reverse=True):
        if held < MOST_OF_HOURS_FRAC * total:
            held, named = held + hours, [*named, month]
    if not named:
        return ""
    if total >= 0.99 * YEAR_H:
        return words.text("unsupplied_all")
    shown = words.counted("unsupplied_hours", max(
        round(total if total < 10.0 else 10.0 * round(total / 10.0)), 1))  # fmt: skip
    if len(named) > MOST_MONTHS:
        return words.text("unsupplied_spread", hours=shown)
    return words.text("unsupplied", hours=shown, months=joined(
        [words.month(month) for month in sorted(named)], words))  # fmt: skip


def _months(facts: CustomerFacts, words: Messages) -> str:
    short = [number for number, (given, needed) in enumerate(
        zip(facts.given_kwh, facts.needed_kwh, strict=True), start=1) if given < needed]
    names = joined([words.month(number) for number in short], words)
    given, needed = sum(facts.given_kwh), sum(facts.needed_kwh)
    said = [words.text("months_lead", given=words.text("kwh", number=words.number(given)),
                       needed=words.text("kwh", number=words.number(needed)))]
    if facts.supplied_kwh is not None and needed > 0.0:
        said.append(words.text(
            "months_supplied", share=words.share(facts.supplied_kwh, needed),
            supplied=words.text("kwh", number=words.number(facts.supplied_kwh))))
    others = [words.text(f"rest_{source}") for source, there in (
        ("grid", facts.grid), ("generator", facts.generator_w > 0.0)) if there]
    if short and others:
        said.append(words.counted("months_rest", len(short), months=names,
                                  sources=joined(others, words)))  # fmt: skip
    elif short:
        said.append(words.counted("months_short_of", len(short), months=names))
    return " ".join(said)


def joined(names: Sequence[str], words: Messages) -> str:
    """Names in a sentence."""
    if len(names) < 2:
        return "".join(names)
    return words.text("and", first=", ".join(names[:-1]), last=names[-1])


def _dangers(facts: CustomerFacts) -> tuple[str, ...]:
    """Dangers of this system; the last defers to local rules and licensed people."""
    return ("danger_roof", "danger_live", "danger_open", facts.battery.booklet.danger,
            "danger_short", *facts.dangers, "danger_add", "danger_children", "danger_defer")
