"""The letter after a visit: what was found, what it cost, who does what by when."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

import pandas as pd

from solarcalc.basis.messages import Messages, messages
from solarcalc.basis.phrases import phrase
from solarcalc.basis.text import capital
from solarcalc.documents.charts import NARROW, paired_bars
from solarcalc.documents.making import Making
from solarcalc.documents.tree import (
    Block,
    Document,
    box,
    figure,
    fill,
    heading,
    key_mark,
    line_break,
    points,
    sentence,
    signatures,
    strong,
    table,
    tick,
    whole,
)
from solarcalc.followup.answer import FollowUp
from solarcalc.followup.daily import Finding
from solarcalc.followup.yearly import due_kwh, years_kwh
from solarcalc.sitefile.programme import day_of
from solarcalc.sitefile.status import Action
from solarcalc.stages.progress import document_status
from solarcalc.stages.serials import positions_of
from solarcalc.views.followup import found_of

MOST_FINDINGS = 8
MOST_YEARS = 5
CHART_HIGH = 140.0
LEAST_UNEXPLAINED, LEAST_SPREAD = 0.02, 0.03
"""Of what was expected: less is not told, no comparison is better; common practice, no source."""
UNSAFE = frozenset({"string", "heat"})
"""Kinds that may come from a joint that burns or a conductor that hangs loose."""
ENDED = frozenset({"string", "clock"})
"""Kinds whose words are others once they are over."""
UNEXPLAINED = frozenset({"step", "outage"})
"""Kinds whose cause the record does not show: no letter that has one calls the record safe."""


def documents(making: Making) -> tuple[Document, ...]:
    """The letter of a site, in the language of its customer."""
    site = making.design.site
    words = messages(site.firm.language)
    head = making.head("VL", words.text("visit_title"), language=words.language,
                       status=document_status(making.design, "VL"))  # fmt: skip
    blocks = tuple(_blocks(making, words))
    return (Document(code="VL", head=head, look="letter", stamp=making.example_stamp(
        words.language, priced=False), blocks=blocks),)  # fmt: skip


def to_put_right(found: FollowUp) -> list[Finding]:
    """What somebody has to do something about on the last day of the record, the largest first.

    What is wrong with the file is one thing, and the last: the logger is to be looked at once.
    """
    due = [one for one in found.findings if one.outcome != "passed" and not one.is_over]
    file = [one for one in due if one.kind == "file"]
    return sorted([*(one for one in due if one.kind != "file"), *file[:1]],
                  key=lambda one: (one.kind == "file", one.outcome != "failed", -one.lost_kwh,
                                   one.kind != "capacity"))  # fmt: skip


def over(found: FollowUp) -> list[Finding]:
    """What was found and ended within the record, the largest loss first."""
    past = [one for one in found.findings if one.outcome != "passed" and one.is_over]
    return sorted(past, key=lambda one: -one.lost_kwh)


def promised(
    told: Sequence[Finding], actions: Sequence[Action], *, ends: date
) -> dict[int, date]:
    """By which day each of the findings is put right, by its place among them.

    Parameters
    ----------
    told : sequence of Finding
    actions : sequence of Action
        Of the site file. One that names a first day is for the finding of its kind that began
        nearest to it, the others for all of their kind that go on, else for those that are over;
        of several the next to come.
    ends : date
        Last day of the record; what was promised for a day before it, an earlier letter did.
    """
    days: dict[int, date] = {}
    latest = sorted(actions, key=lambda one: one.date, reverse=True)
    for one in sorted(latest, key=lambda one: bool(one.since)):  # the nearer ones have the say
        day, since = day_of(one.date), day_of(one.since)
        if day is None or day < ends:
            continue
        alike = [place for place, other in enumerate(told) if other.kind == one.finding]
        if since is not None:
            alike = sorted(alike, key=lambda place: abs((told[place].since or ends) - since))[:1]
        else:
            alike = [place for place in alike if not told[place].is_over] or alike
        days |= dict.fromkeys(alike, day)
    return days


def _blocks(making: Making, words: Messages) -> Iterator[Block]:
    t, design = words.text, making.design
    customer, found = design.site.site.customer, found_of(design)
    yield sentence(t("visit_dear_named", name=customer) if customer else t("visit_dear"))
    if found is None:
        yield sentence(t("visit_no_record"), look="answer")
    else:
        yield from _found(found, words, making)
    due = day_of(design.site.status.next_date)
    due = due if due and (found is None or due > _ends(found)) else None
    yield whole([
        sentence(t("visit_next", when=words.date(due) if due else t("visit_next_year"))),
        sentence(t("visit_defer"), look="small"),
        sentence(t("visit_signed")), signatures(making.firm.name),
    ])  # fmt: skip


def _found(found: FollowUp, words: Messages, making: Making) -> Iterator[Block]:
    t, due, site = words.text, to_put_right(found), making.design.site
    days, told = _period(found, words), [*due, *over(found)]
    if not due:
        yield sentence(t("visit_past" if told else "visit_fine" if found.by_light else
                         "visit_no_outage", **days), look="answer")  # fmt: skip
    else:
        first = finding_words(due[0], words)
        yield sentence(t("visit_found_one", **days, first=first) if len(due) == 1 else
                       t("visit_found_many", **days, count=words.number(len(due)),
                         first=first), look="answer")  # fmt: skip
    if unsafe := [one for one in due if one.kind in UNSAFE]:
        yield _unsafe(unsafe, words, making.firm.contact)
    else:
        seen = found.by_light and not any(one.kind in UNSAFE | UNEXPLAINED for one in told)
        yield sentence(t("visit_unsafe_none" if seen else "visit_on_site"))
    if told:
        by = promised(told, site.status.actions, ends=_ends(found))
        yield table(
            ["", *(t(f"visit_{name}") for name in ("what", "when", "kwh", "who", "by"))],
            [[str(place + 1), capital(finding_words(one, words)), _when(one, words),
              words.number(one.lost_kwh) if one.lost_kwh >= 0.5 else "–",
              t(f"action_{one.kind}{_ended(one)}"),
              words.date(by[place]) if place in by else "–" if _ended(one) else fill(6.0)]
             for place, one in enumerate(told[:MOST_FINDINGS])],
            caption=t("visit_findings"), right=(3,), shares=(4, 46, 37, 23, 49, 27),
        )  # fmt: skip
    if claimed := _claimed(found, words, making):
        yield sentence(t("visit_claims", parts=phrase("; ", words.language).join(claimed)))
    if more := len(told[MOST_FINDINGS:]):
        yield sentence(words.counted("visit_more", more))
    if not found.by_light:
        yield sentence(t("visit_no_light"))
    elif not (more or _unexplained_kwh(found)):
        yield sentence(t("visit_else"))
    yield from _energy(found, words)


def _when(one: Finding, words: Messages) -> str:
    if one.since is None:
        return "–"
    day = words.date(one.since)
    if one.until is None:
        return words.text("visit_since", day=day)
    return day if one.until == one.since else words.text("visit_period", day=day,
                                                         last=words.date(one.until))


def _claimed(found: FollowUp, words: Messages, making: Making) -> list[str]:
    """What is claimed of faults found since the record began."""
    kinds = {one.name: one.kind for one in positions_of(making.design.installation)}
    begins = found.data.table.index[0].date()
    return [f"{words.text(f'kind_{kinds[one.position]}')} {one.position} ({one.fault})"
            for one in making.design.site.handover.claims
            if one.position in kinds and (day := day_of(one.date)) and day >= begins]  # fmt: skip


def _unsafe(unsafe: Sequence[Finding], words: Messages, contact: str) -> Block:
    """What may hurt somebody, each with a box that who made it safe ticks and signs."""
    t = words.text
    return box([
        sentence(strong(t("visit_unsafe_title"))),
        points([f"{capital(finding_words(one, words))}.", line_break(),
                tick(t("visit_made_safe")), fill(9.0), f" {t('visit_made_safe_on')} ", fill(6.0)]
               for one in unsafe),
        sentence(t("visit_unsafe_do", contact=f" ({contact})" if contact else "")),
    ], look="warning")  # fmt: skip


def _due_kwh(found: FollowUp) -> tuple[pd.Series, pd.Series]:
    """Day by day what nothing needed, and what should have come of the rest [kWh]."""
    if found.separated is None or found.measured is None:
        return pd.Series(dtype=float), pd.Series(dtype=float)
    return due_kwh(found.separated, found.measured)


def _unexplained_kwh(found: FollowUp) -> float:
    """What is missing and no finding explains [kWh]; 0 where it is too little to be told."""
    if found.separated is None:
        return 0.0
    expected = float(_due_kwh(found)[1].sum())
    rest = expected - float(found.separated.days["measured_kwh"].sum()) - sum(
        one.lost_kwh for one in found.findings if one.kind != "full battery")  # fmt: skip
    return rest if rest > LEAST_UNEXPLAINED * expected else 0.0


def _energy(found: FollowUp, words: Messages) -> Iterator[Block]:
    """Curtailed energy first; then what should have come and came."""
    if found.separated is None or found.measured is None:
        return
    t, days = words.text, found.separated.days
    spare, due = _due_kwh(found)

    def kwh(value: float) -> str:
        return t("kwh", number=words.number(float(f"{value:.3g}")))

    curtailed, expected = float(spare.sum()), float(due.sum())
    measured = float(days["measured_kwh"].sum())
    rest = _unexplained_kwh(found)
    yield heading(t("visit_energy", days=words.number(_days(found))), 3)
    if curtailed >= 1.0:
        yield sentence(t("visit_curtailed", energy=kwh(curtailed)))
    if expected > 0.0:
        yield sentence(" ".join([
            t("visit_given", expected=kwh(expected), measured=kwh(measured),
              share=words.percent(measured / expected)),
            *([t("visit_unexplained", energy=kwh(rest))] if rest else []),
            t("visit_measure", spread=words.percent(max(found.separated.noise_frac,
                                                        LEAST_SPREAD))),
        ]))  # fmt: skip
    index = pd.DatetimeIndex(days.index)
    months = pd.DataFrame({"due": due, "measured": days["measured_kwh"]}).groupby(
        [index.year, index.month]).sum()  # fmt: skip
    bars = [(words.month_short(int(month)), float(one), float(other)) for (_, month), one, other
            in zip(months.index, months["due"], months["measured"], strict=True)]  # fmt: skip
    years = [str(year) for year, _ in months.index]
    years *= len(set(years)) > 1
    alt = t("visit_figure_alt")
    yield figure(paired_bars(bars, alt, high=CHART_HIGH, groups=years), alt, [
        f"{t('visit_figure', **_period(found, words))} ",
        key_mark("given", t("visit_expected")), "   ", key_mark("needed", t("visit_measured"))],
        narrow=paired_bars(bars, alt, wide=NARROW, groups=years))  # fmt: skip
    yield from _years(years_kwh(found.separated, found.measured), words)


def _years(years: pd.DataFrame, words: Messages) -> Iterator[Block]:
    """Year by year, the last few: whether what was expected still comes."""
    if len(years):
        yield table(
            [words.text(f"visit_{name}") for name in ("year", "expected_kwh", "gave_kwh", "share")],
            [[words.text("visit_period", day=words.date(first), last=words.date(last)),
              words.number(due), words.number(given), words.percent(given / due) if due else "–"]
             for first, last, due, given in years[
                 ["first", "last", "due_kwh", "measured_kwh"]].to_numpy()[-MOST_YEARS:]],
            caption=words.text("visit_years"), right=(1, 2, 3), shares=(70, 40, 40, 36),
        )  # fmt: skip


def finding_words(one: Finding, words: Messages) -> str:
    """A finding in the customer's words."""
    key = f"finding_{one.kind.replace(' ', '_')}"
    if one.kind == "string":
        return words.text(f"finding_array{_ended(one)}") if one.count == one.of else \
            words.counted(f"{key}{_ended(one)}", one.count)  # fmt: skip
    if one.kind == "outage":
        return words.counted(key, one.count)
    if one.kind in ("dust", "step"):
        return words.text(key, share=words.percent(one.size))
    if one.kind == "capacity":
        return words.text(key, share=words.percent(1.0 - one.size))
    return words.text(f"{key}{_ended(one)}")


def _ended(one: Finding) -> str:
    """What ends the key of words of what is over, where its kind has others for that."""
    return "_before" if one.is_over and one.kind in ENDED else ""


def _ends(found: FollowUp) -> date:
    """Last day of the record."""
    return date.fromisoformat(f"{found.data.table.index[-1]:%Y-%m-%d}")


def _period(found: FollowUp, words: Messages) -> dict[str, str]:
    """First and last day of the record."""
    index = found.data.table.index
    return {"begins": words.date(index[0].date()), "ends": words.date(index[-1].date())}


def _days(found: FollowUp) -> int:
    index = found.data.table.index
    return int((index[-1] - index[0]).days) + 1
