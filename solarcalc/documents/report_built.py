"""Sections 7 to 10 of the design report: electrical, cables, earthing and room, cost and days."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping

from solarcalc import figures
from solarcalc.basis.check import Check
from solarcalc.basis.no_answer import NO_ANSWER, NoAnswer
from solarcalc.basis.quantity import in_unit, three_figures
from solarcalc.basis.text import capital
from solarcalc.design import Design
from solarcalc.documents.anchors import Anchors
from solarcalc.documents.report_parts import drawn, in_columns, in_figures, linked, said, titled
from solarcalc.documents.tree import (
    Block,
    Cell,
    Words,
    beside,
    figure,
    heading,
    pairs,
    sentence,
    table,
)
from solarcalc.installation.records import Conductor
from solarcalc.installation.schedules import REDUCED_COLUMNS, cable_and_protection_rows
from solarcalc.programme.days import day_words, programme_answer
from solarcalc.quote.answer import NO_LIFE
from solarcalc.quote.bill import CUSTOMERS_OWN
from solarcalc.sitefile.variants import OWN
from solarcalc.stages.owned import used_of
from solarcalc.variants import NEVER, Figures, figures_of, variants_of
from solarcalc.views import earthing, electrical, quote
from solarcalc.views.drawings import single_line_figure

MOST_VARIANTS = 3
MOST_CRITICAL = 3
"""Tasks of the critical path that are named."""
_SINGLE_LINE = "Single-line diagram, reduced: array, battery, inverters, boards, sources, ratings"


def electrical_design(design: Design, anchors: Anchors) -> Iterator[Block]:
    """7: single-line diagram, string voltage window."""
    yield titled(7, "Electrical design")
    yield from said(lambda: _diagram(design, anchors), lambda: _window(design, anchors))


def _diagram(design: Design, anchors: Anchors) -> Iterator[Block]:
    yield figure(*single_line_figure(design), [_SINGLE_LINE, *anchors.to("single_line")],
                 across=True)  # fmt: skip
    yield in_columns(electrical.design_rows(design))


def _window(design: Design, anchors: Anchors) -> Iterator[Block]:
    yield linked(anchors, electrical.window_words(design), "draw_string_window")
    windows = electrical.string_windows(design)
    pictures = []
    for name, case, series in windows:
        of = f"{name}: voltage" if name else "Voltage"
        pictures.append(drawn(
            figures.draw_string_window(case, series), f"{of} of strings from the hottest cell to"
            " the coldest morning, against the window of the controller",
            anchors.to("draw_string_window"), tall_mm=72.0 if len(windows) == 1 else 56.0,
        ))  # fmt: skip
    for one, *other in (pictures[at : at + 2] for at in range(0, len(pictures), 2)):
        yield beside([one], other) if other else one


def cables_and_protection(design: Design, anchors: Anchors) -> Iterator[Block]:
    """8: one table of the runs with what protects them."""
    yield titled(8, "Cables and protection")
    yield from said(lambda: _cables(design, anchors))


def _cables(design: Design, anchors: Anchors) -> Iterator[Block]:
    built = design.installation
    cables = (*built.cables, *built.leads)
    rows = cable_and_protection_rows(built)[:len(cables)]
    yield table(
        ("Run", "Name", "m", "Method", "mm²", "I_b [A]", "I_n [A]", "I_z [A]", "Drop [%]",
         "Device", "kA", "Calculation"),
        [_cable_row(row, one, anchors) for row, one in zip(rows, cables, strict=True)],
        right=(2, 4, 5, 6, 7, 8, 10), look="schedule",
        caption=["Cables and their protection", *anchors.to("cable_rows")],
    )  # fmt: skip
    yield sentence(_COLUMNS)
    sized = Counter(one.decided_by for one in design.electrical.sized)
    asked = ", ".join(f"{words} ({count})" for words, count in sized.most_common())
    yield sentence(f"Sized for: {asked}.")
    yield sentence(_stand(design.checks["electrical"]), *anchors.links(
        [anchors.checks[one] for one in design.checks["electrical"] if one.open]
        or [anchors.of("run_rows")]))
    parts = [part for part in built.devices if part.key not in {one.device for one in cables}]
    names = [part.tag for part in parts]
    if names:
        yield sentence(f"Devices protecting no single cable: {', '.join(names)}",
                       *anchors.to("device_rows"), ".")


_COLUMNS = "I_b: design current; I_n: device; I_z: capacity; kA: breaking capacity."


def _cable_row(row: Mapping[str, object], one: Conductor, anchors: Anchors) -> list[Cell]:
    """A line of the schedule with its name and its calculation."""
    anchor = anchors.runs.get(one.sized.run.key, "") if one.sized else anchors.of("cable_rows")
    tag, *cells = (str(row[name]) for name in REDUCED_COLUMNS)
    return [tag, one.name, *cells, [anchors.link(anchor)] if anchor else ""]


def _stand(checks: Iterable[Check]) -> str:
    """How the checks of a chapter stand: ``"0 failed, 3 to review, 84 of 87 passed"``."""
    found = list(checks)
    counts = Counter(one.outcome for one in found)
    review = sum(one.open and one.outcome == "review" for one in found)
    return (f"{counts['failed']} failed, {review} to review, {counts['passed']} of {len(found)}"
            " passed")  # fmt: skip


def earthing_and_room(design: Design, anchors: Anchors) -> Iterator[Block]:
    """9: electrode, surge protection, heat and air of the power room."""
    yield titled(9, "Earthing, surge protection, power room")
    yield from said(
        lambda: [linked(anchors, earthing.answer(design), "electrode_rows")],
        lambda: [heading(["Earth electrode", *anchors.to("electrode_rows", "soil_rows")], 3),
                 in_columns(earthing.electrode_rows(design))],
        lambda: [heading(["Lightning", *anchors.to("lightning_rows")], 3),
                 in_columns(earthing.lightning_rows(design)),
                 sentence(_surge(design), *anchors.to("device_rows"))],
        lambda: [heading(["Power room: air, heat, floor", *anchors.to("room.rows")], 3),
                 in_columns(design.room.rows)],
    )  # fmt: skip


def _surge(design: Design) -> str:
    """Which surge protective devices stand where."""
    found = [f"{part.tag}, {part.where}" for part in design.installation.devices
             if part.device is not None and "surge" in part.key]  # fmt: skip
    return f"Surge protective devices: {'; '.join(found)}" if found else (
        "No surge protective device")


def cost_and_programme(design: Design, anchors: Anchors) -> Iterator[Block]:
    """10: price by group, variants, critical path."""
    yield titled(10, "Cost and programme")
    yield from said(lambda: _prices(design, anchors), lambda: _variants(design, anchors),
                    lambda: _critical(design, anchors))


def _prices(design: Design, anchors: Anchors) -> Iterator[Block]:
    offer = design.offer
    head = f"price [{offer.currency}]"
    rows = quote.quote_rows(design)
    yield heading([f"Price by group [{offer.currency}]", *anchors.to("quote_rows")], 3)
    if isinstance(rows, list):
        yield in_columns([{"what": row["group"], "value": float(round(row[head]))}
                          for row in rows])  # fmt: skip
    for used in used_of(design.bill, design.site.existing):
        fitted = ", fitted by us, not covered by any warranty of ours" if used.lines else ""
        yield sentence(f"{capital(CUSTOMERS_OWN)}{fitted}: {used.words}.")


def _variants(design: Design, anchors: Anchors) -> Iterator[Block]:
    """Table and picture of the site's variants; what differs in bill and cables is in the appendix.
    """
    found = dict(list(variants_of(design).items())[:MOST_VARIANTS + 1])
    if len(found) == 1:
        yield sentence("The site file names no variants; the changes tried are in section 11.")
        return
    rows: list[list[Cell]] = [
        ["As designed" if name == OWN else name, *_figures(figures_of(one))]
        for name, one in found.items()
    ]  # fmt: skip
    yield table(
        ("Variant", f"Price [{design.prices.currency}]", "Payback [years]", "Array [kWp]",
         "Usable battery [kWh]", "Supplied [kWh/year]", "Essential loads without supply [h/year]",
         "Other loads not supplied [kWh/year]", "Battery life [years]",
         "Failed, safety + other"), rows, right=range(1, 10),
        caption=["Variants; what differs in bill and cables", *anchors.to("difference_rows")],
    )  # fmt: skip
    told = [(one.name, one.words) for one in design.site.variants[:MOST_VARIANTS] if one.words]
    if told:
        yield pairs(told)
    if len(design.site.variants) > MOST_VARIANTS:
        yield sentence(f"And {len(design.site.variants) - MOST_VARIANTS} more in the appendix.")
    yield from said(lambda: [_overlay(design, found, anchors)])


def _overlay(design: Design, found: Mapping[str, Design], anchors: Anchors) -> Block:
    money = quote.economics_by_name(found)
    if isinstance(money, NoAnswer):
        raise money
    picture = figures.draw_variants(
        quote.missing_by_month_kwh(found), money, currency=design.prices.currency,
        invented=quote.invented(design))  # fmt: skip
    return drawn(picture, "Variants: energy not supplied by month, and cumulative cash flow",
                 anchors.to("draw_variants"), tall_mm=60.0)


def _figures(one: Figures) -> list[Cell]:
    """Cells of a variant, in the order of the table's head."""
    back = NO_ANSWER if not one.has_money else (
        NEVER if one.payback_years is None else in_unit(one.payback_years, "years"))
    return [
        NO_ANSWER if one.total is None else in_unit(float(round(one.total))), back,
        three_figures(one.array_kwp), three_figures(one.usable_kwh),
        in_unit(one.supplied_kwh, "kWh/year"), str(one.essential_without_supply_h),
        in_figures(one.nonessential_not_supplied_kwh),
        NO_LIFE if one.battery_years is None else three_figures(one.battery_years),
        f"{one.failed_safety} + {one.failed_other}",
    ]  # fmt: skip


def _critical(design: Design, anchors: Anchors) -> Iterator[Block]:
    schedule = design.programme
    yield heading(["Critical path", *anchors.to("draw_programme")], 3)
    yield sentence(programme_answer(schedule))
    critical = [one for one in schedule.planned if one.critical]
    lines: list[tuple[Words, Words]] = [
        (day_words(one.start.date()), f"{one.task.name}, to {day_words(one.finish.date())}")
        for one in critical[:MOST_CRITICAL]
    ]  # fmt: skip
    yield pairs(lines)
    if len(critical) > MOST_CRITICAL:
        yield sentence(f"And {len(critical) - MOST_CRITICAL} more.")
