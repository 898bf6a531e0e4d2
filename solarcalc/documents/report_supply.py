"""Sections 3 to 6 of the design report: site and loads, array, yield, battery and supply."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

from solarcalc import figures
from solarcalc.basis.quantity import three_figures
from solarcalc.design import Design
from solarcalc.documents.anchors import Anchors
from solarcalc.documents.facts import trade_words
from solarcalc.documents.report_parts import (
    drawn,
    facts,
    first_up,
    in_columns,
    in_figures,
    linked,
    row_table,
    said,
    titled,
)
from solarcalc.documents.tree import Block, Words, beside, heading, pairs, sentence, table
from solarcalc.page import heading as column_head
from solarcalc.views import battery, orientation, shaded_band, structure, yields
from solarcalc.views.rows import fact_line
from solarcalc.views.sitepack import NO_PLAN, module_plans

MOST_APPLIANCES = 24
"""Lines of the load table: those of most energy; the appendix has all."""


def site_and_loads(design: Design, anchors: Anchors) -> Iterator[Block]:
    """3: place and weather, supply, load table, mean day of both groups."""
    yield titled(3, "Site, loads and supply")
    place = design.site.site
    where = [fact_line("Latitude", place.latitude_deg, "°"),
             fact_line("Longitude", place.longitude_deg, "°"),
             fact_line("Height above the sea", place.elevation_m, "m")]  # fmt: skip
    weather = yields.weather_inputs(design)
    yield heading(["Place, weather and supply", *anchors.to("weather_inputs", "bank_inputs")], 3)
    yield in_columns([*where, *weather, *battery.bank_inputs(design)])
    yield _load_table(design, anchors)
    picture = figures.draw_board_days(battery.mean_day_w(design))
    yield pairs(_peaks(design))
    yield drawn(picture, "Mean demand of both groups of loads by hour of the day",
                anchors.to("draw_load_days"), tall_mm=34.0)


def _load_table(design: Design, anchors: Anchors) -> Block:
    rows = battery.load_table(design)
    most = sorted(rows, key=lambda row: -float(list(row.values())[-1]))[:MOST_APPLIANCES]
    shown = [row for row in rows if row in most]
    left = len(rows) - len(shown)
    note = f" The {left} of least energy are left out." if left else ""
    return row_table(shown, [f"Loads on the mean day.{note}", *anchors.to("load_table")], words=2)


def _peaks(design: Design) -> Iterator[tuple[Words, Words]]:
    """Highest demand of each group of loads against its inverter."""
    for row in battery.peak_table(design):
        (_, group), *said = row.items()
        yield column_head(group), "; ".join(f"{name}: {in_figures(value)}" for name, value in said)


def array_and_orientation(design: Design, anchors: Anchors) -> Iterator[Block]:
    """4: plan of the proposed modules, both orientations at that count."""
    yield titled(4, "Array and orientation")
    for number, one in enumerate(design.planes):
        if one.plane:
            yield heading(one.plane, 3)
        yield from said(partial(_plan, design, number, anchors), partial(_held, one, anchors),
                        partial(_choice, one, anchors, whole=number == 0))


def _held(design: Design, anchors: Anchors) -> Iterator[Block]:
    """Wind and dead load, feet and ballast by zone; preliminary until somebody has assessed."""
    yield heading(["Wind, feet and ballast", *anchors.to("wind_rows")], 3)
    yield pairs(facts(structure.wind_facts(design)))
    zones = structure.zone_rows(design)
    if zones:
        yield row_table(zones, [structure.mark_of(design), *anchors.to("zone_rows")])
    yield sentence(trade_words(structure.method_words(design)))


def _plan(whole: Design, number: int, anchors: Anchors) -> Iterator[Block]:
    """The modules of a roof plane: its figures, and where they lie."""
    design = whole.planes[number]
    site, stands = design.site, design.array
    yield in_columns([row for row in orientation.array_inputs(design)
                      if row["Quantity"] not in orientation.ON_THE_SHEET])
    if site.array.rows > 1:
        yield linked(anchors, f"Row pitch {three_figures(stands.pitch_m)} m.", "draw_side_section")
    plan = next((one for one in module_plans(whole) if one.plane == number + 1), None)
    if plan is None:
        yield sentence(NO_PLAN)
        return
    names = [plan.names[place].partition("/")[0] for place in range(plan.places.count)]
    picture = figures.draw_own_modules(plan.places.plan_corners_m, names, site.roof)
    yield drawn(picture, f"Plan of the roof with the {len(names)} modules proposed",
                anchors.to("array_inputs"), wide_mm=137.0,
                tall_mm=46.0 if len(whole.planes) > 1 else 64.0)


def _choice(design: Design, anchors: Anchors, *, whole: bool) -> Iterator[Block]:
    """Both orientations of a roof plane; of those after the first in words alone."""
    choice = design.orientation
    if not whole:
        yield sentence(orientation.choice_words(choice, priced=False))
        return
    rows = [list(map(str, row.values())) for row in orientation.choice_table(choice, priced=False)
            if row["Quantity"] not in orientation.FOR_THE_FITTERS]
    yield table(("", "Portrait", "Landscape", "Unit"), rows, right=(1, 2), caption=[
        f"Both orientations for the {choice.module_count} modules of the design",
        *anchors.to("choice_table")])  # fmt: skip
    words = sentence(orientation.choice_words(choice, priced=False))
    shaded = choice.decided_by == "energy" and "shading" in choice.chief_loss.lower()
    if shaded and design.site.variants:  # their picture on page 10 takes the place of this one
        yield sentence(orientation.choice_words(choice, priced=False),
                       *anchors.to("shaded_band_curves"))
    elif shaded:
        hour = shaded_band.shaded_hour(design)
        curves = shaded_band.shaded_band_curves(design, hour)
        picture = figures.draw_shaded_band_curves(curves, shaded_band.leads(curves))
        yield beside([words], [drawn(
            picture, "Power kept against the shaded share of a row, both orientations",
            anchors.to("shaded_band_curves"))])
    else:
        yield words



def energy_yield(design: Design, anchors: Anchors) -> Iterator[Block]:
    """5: losses in order, months."""
    yield titled(5, "Yield")
    yield linked(anchors, yields.answer(design), "uncertainty_table")
    if planes := yields.plane_rows(design):
        yield row_table(planes, ["Roof planes", *anchors.to("loss_table")])
    yield drawn(figures.draw_loss_steps(design.energy),
                "Yield left after each loss, from in-plane irradiation to potential AC energy",
                anchors.to("loss_table"), wide_mm=165.0, tall_mm=120.0)
    yield row_table(yields.month_table(design), ["Months", *anchors.to("month_table")])
    yield linked(anchors, yields.largest_changes_sentence(
        yields.what_would_change_the_yield(design)), "what_would_change_the_yield")


def battery_and_supply(design: Design, anchors: Anchors) -> Iterator[Block]:
    """6: year of the battery, hardest week, monthly balance, service life."""
    yield titled(6, "Battery and supply")
    yield linked(anchors, f"{first_up(design.year_energy.words)}.", "flow_table")
    yield from said(lambda: _pictures(design, anchors))
    yield _balance(design, anchors)
    steps = battery.step_rows(design)
    if steps:
        yield row_table(steps, ["Shedding of the non-essential loads, step by step",
                                *anchors.to("step_rows")], words=2)  # fmt: skip
    yield from said(lambda: _life(design, anchors))


def _pictures(design: Design, anchors: Anchors) -> Iterator[Block]:
    yield drawn(figures.draw_charge_map(design.supply),
                "State of charge by hour of the day and day of the year",
                anchors.to("draw_charge_map"), tall_mm=56.0, map_of_cells=True)
    yield drawn(figures.draw_worst_week(design.supply),
                "Available PV energy, demand, energy supplied and state of charge, hardest week",
                anchors.to("draw_worst_week"), tall_mm=70.0)


def _balance(design: Design, anchors: Anchors) -> Block:
    rows = [{str(name): _whole(value) for name, value in row.items()}
            for row in battery.flow_table(design).to_dict("records")]  # fmt: skip
    return row_table(rows, ["Monthly balance", *anchors.to("flow_table")])


def _whole(value: Any) -> str:
    return value if isinstance(value, str) else three_figures(float(round(value)))


def _life(design: Design, anchors: Anchors) -> Iterator[Block]:
    yield heading(["Service life of the battery", *anchors.to("life_table")], 3)
    yield in_columns(battery.life_table(design))
