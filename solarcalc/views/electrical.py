"""Tables and schedules of the electrical workbook: figures put into rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from solarcalc.basis.check import chapter_words
from solarcalc.basis.errors import InputError
from solarcalc.basis.quantity import in_unit, rough_figures, three_figures
from solarcalc.basis.sourced import Sourced, assumptions
from solarcalc.design import Design
from solarcalc.guesses import SOIL, DecidingGuess, poles_on_trial, ranked_deciding, ranked_guesses
from solarcalc.protection import plan as protection
from solarcalc.protection.plan import PROTECTION_ASSUMPTIONS
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.site import Site
from solarcalc.stages.electrical import lost_kwh, options_of
from solarcalc.stages.kept import of_design
from solarcalc.views.assumptions import defaults_of
from solarcalc.views.rows import Row, Values, fact_line, with_plane
from solarcalc.wiring import chain, places
from solarcalc.wiring.chain import chain_of, whole_drop_frac
from solarcalc.wiring.places import PlaceResult, best_place, place_result
from solarcalc.wiring.runs import SizedRun, of_plane, plane_key
from solarcalc.wiring.string_checks import (
    allowed_table,
    plan_sentence,
    polarity_steps,
    string_plan,
)
from solarcalc.wiring.string_plan import StringCase, StringFuses, string_fuse_advice

EARTHED_POLE = "Earthed pole of the battery"


def design_rows(design: Design) -> list[Row]:
    """What strings, cables and devices are chosen for."""
    built = design.electrical
    site, case, flows = design.site, built.case, built.flows
    return [
        *(row for one in built.planes for row in with_plane(one.site.roof.name, (
            fact_line("Strings", f"{one.site.array.string_count} of"
                      f" {one.site.array.modules_in_series} modules"),
            fact_line("Charge controllers", one.site.controller.count),
        ))),
        fact_line("Record low air temperature", case.coldest_c, "°C"),
        fact_line("Highest cell temperature",
                  max(one.case.hottest_cell_c for one in built.planes), "°C"),
        fact_line("Ambient temperature of cables under modules",
                  built.run("string").run.ambient_c, "°C"),
        fact_line("Soil temperature at the duct", built.run("dc_main").run.ambient_c, "°C"),
        fact_line("Highest hourly temperature of the battery room", flows.room_c, "°C"),
        fact_line("Battery voltage used for currents", case.bank_v, "V"),
        fact_line("Distribution boards, line to neutral", site.supply.ac_voltage_v, "V"),
        fact_line("Phases of the distribution boards", _phases(site)),
    ]


def _phases(site: Site) -> int | str:
    """One number where the boards have the same, else each with its own."""
    of = {board: site.loads.phases_of(board) for board in BOARDS}
    return of[BOARDS[0]] if len({*of.values()}) == 1 else ", ".join(
        f"{count} {board}" for board, count in of.items())


def allowed_rows(design: Design) -> list[Row]:
    """Series and parallel counts up to a string more for each controller, with the reasons."""
    return [row for one in design.electrical.planes for row in with_plane(
        one.site.roof.name, allowed_table(string_plan(
            one.case, most_strings=one.site.array.string_count + one.site.controller.count)))]


def string_windows(design: Design) -> list[tuple[str, StringCase, int]]:
    """Of each roof plane its name, what its strings are checked with, and modules in series."""
    return [(one.site.roof.name, one.case, one.site.array.modules_in_series)
            for one in design.electrical.planes]  # fmt: skip


def of(plane: str) -> str:
    """The name of a roof plane behind a comma; nothing where a site has one."""
    return f", {plane}" if plane else ""


def window_words(design: Design) -> str:
    """Which series counts fit, in a sentence a roof plane."""
    return " ".join(f"{name}: {plan_sentence(case)}" if name else plan_sentence(case)
                    for name, case, _ in string_windows(design))  # fmt: skip


def fuse_rows(design: Design) -> list[Row]:
    """Whether strings need fuses, and which, roof plane by roof plane."""
    return [row for one in design.electrical.planes
            for row in with_plane(one.site.roof.name, _fuse_rows(one.fuses))]  # fmt: skip


def _fuse_rows(fuses: StringFuses) -> list[Row]:
    rows = [
        fact_line("Strings on the controller with the most strings", fuses.strings),
        fact_line("Reverse current from parallel strings", fuses.backfeed_a, "A"),
        fact_line("Maximum series fuse rating of the module", fuses.max_fuse_a, "A"),
        fact_line("String fuses required", "yes" if fuses.needed else "no"),
    ]
    if fuses.needed:
        rated = "no standard rating fits" if fuses.rated_a is None else fuses.rated_a
        rows += [
            fact_line("Rated current, above", fuses.least_a, "A"),
            fact_line("Rated current, below", fuses.most_a, "A"),
            fact_line("Rated current, selected", rated, "A"),
            fact_line("Rated voltage, at least", fuses.rated_v, "V"),
            fact_line("Fuses on that controller", fuses.fuse_count),
        ]
    return rows


def run_rows(design: Design) -> list[Row]:
    """Each run: what it carries, its device, its capacity and its cable."""
    return [
        {
            "run": one.run.name,
            "count": one.run.count,
            "length [m]": one.run.length_m,
            "voltage [V]": one.run.voltage_v,
            "I_b [A]": one.run.design_a,
            "I_n [A]": one.device_a,
            "I_z [A]": one.capacity_a,
            "cable": _cable(one),
            "voltage drop [%]": 100.0 * one.drop_frac,
            "limit of voltage drop [%]": 100.0 * one.run.drop_limit_frac,
            "decided by": one.decided_by,
        }
        for one in design.electrical.sized
    ]


def _cable(one: SizedRun) -> str:
    beside = "" if one.in_parallel == 1 else f", {one.in_parallel} in parallel"
    metal = "" if one.run.material == "copper" else " aluminium"
    return f"{one.size_name}{metal}{beside}"


def factor_rows(design: Design) -> list[Row]:
    """How each run lies, and what heat and neighbours take from its capacity."""
    return [
        {
            "run": one.run.name,
            "installation method": f"{one.run.method}: {one.run.lies.words}",
            "insulation": one.run.insulation.upper(),
            "ambient [°C]": one.run.ambient_c,
            "tabulated I_t [A]": one.table_a,
            "factors": "; ".join(f"{words} {factor:.2f}" for words, factor in one.factors.items()),
            "as installed I_z [A]": one.capacity_a,
        }
        for one in design.electrical.sized
    ]


def choice_rows(design: Design) -> list[Row]:
    """Smallest cable allowed of each run beside the one that costs least over the life."""
    built = design.electrical
    return [
        {
            "run": chosen.run.name,
            "minimum size": _cable(safe),
            "loss, minimum size [kWh/year]": safe.loss_kwh_per_year,
            "life-cycle cost, minimum size": three_figures(safe.lifetime_cost),
            "selected": _cable(chosen),
            "loss, selected [kWh/year]": chosen.loss_kwh_per_year,
            "installed cost, selected": three_figures(chosen.cost),
            "life-cycle cost, selected": three_figures(chosen.lifetime_cost),
        }
        for safe, chosen in zip(built.safe, built.sized, strict=True)
    ]


def size_choice(design: Design, key: str) -> tuple[list[SizedRun], float, SizedRun]:
    """Sizes around the chosen one of a run, the smallest safe one [mm2], and the chosen one."""
    return options_of(design.electrical, key)


def withstand_rows(design: Design) -> list[Row]:
    """Fault of each run, how long it lasts, and the area that it asks for."""
    built = design.electrical
    rows: list[Row] = []
    for one in built.sized:
        fault_a, clear_s = built.plan.fault_of(one.run.key)
        rows.append({"run": one.run.name, "fault current [A]": round(fault_a),
                     "disconnection time [s]": f"{clear_s:.2g}",
                     "required [mm²]": built.least_mm2.get(one.run.key, 0.0),
                     "selected [mm²]": one.size_mm2 * one.in_parallel})  # fmt: skip
    return rows


def duct_rows(design: Design) -> list[Row]:
    """The duct, what lies in it, and the pull."""
    fill = design.electrical.duct
    rows = [
        fact_line("Duct", fill.words),
        fact_line("Inner diameter", fill.inner_mm, "mm"),
        fact_line("Cables in the duct", fill.cable_count),
        fact_line("Conduit fill", 100.0 * fill.fill_frac, "%"),
        fact_line("Limit of fill", 100.0 * fill.limit_frac, "%"),
        fact_line("Sum of bends", fill.bends_deg, "°"),
        fact_line("Length", fill.length_m, "m"),
        fact_line("Depth of cover", fill.depth_m, "m"),
        fact_line("Pulling tension", fill.pull_kn, "kN"),
    ]
    if fill.pull_limit_kn is not None:
        rows.append(fact_line("Limit of pulling tension", fill.pull_limit_kn, "kN"))
    return rows


def answer(design: Design) -> str:
    """The answer in one sentence, from the figures."""
    built = design.electrical
    state = chapter_words(design.checks["electrical"])
    said = []
    for number, one in enumerate(built.planes, start=1):
        array, main = one.site.array, built.run(plane_key("dc_main", number))
        fuses = "string fuses" if one.fuses.needed else "no string fuses"
        said.append(of_plane(f"{array.string_count} strings of {array.modules_in_series} modules,"
                             f" a PV DC main cable of {main.size_name} and {fuses}", one.site))
    return (f"{'; '.join(said)}: {state}; cable losses are"
            f" {lost_kwh(design.electrical):.0f} kWh/year.")


def values(design: Design, places: Sequence[PlaceResult]) -> Values:
    """Named results of the electrical workbook.

    Each name ends in its unit.
    """
    built = design.electrical
    string, main = built.run("string"), built.run("dc_main")
    used_kwh = float(built.flows.bus_w.sum()) / 1000.0
    fuse = built.plan.device("battery-fuse")
    fault_a = max(fault for fault, _ in built.plan.faults.values())
    values: Values = {
        "string_count": design.site.string_count,
        "modules_in_series": _one_or_each(
            [one.array.modules_in_series for one in design.site.sites]),
        "string_cold_open_circuit_v": round(built.cold_string_v, 1),
        "string_hot_working_v": round(string.run.voltage_v, 1),
        "string_fuses": f"{built.fuses.rated_a:g} A" if built.fuses.rated_a else "none",
        "string_cable": string.size_name,
        "dc_main_cable": main.size_name,
        "dc_main_capacity_a": round(main.capacity_a, 1),
        "voltage_drop_full_load_frac":
            round(whole_drop_frac(chain_of(design.site, built.sized)), 4),
        "cable_core_m": round(sum(one.core_m for one in design.installation.cables)),
        "cable_loss_kwh_per_year": round(lost_kwh(design.electrical), 1),
        "cable_loss_of_used_energy_frac": round(lost_kwh(design.electrical) / used_kwh, 4)
        if used_kwh
        else 0.0,
        "duct_fill_frac": round(built.duct.fill_frac, 3),
        "largest_fault_ka": round(fault_a / 1000.0, 2),
        "device_count": sum(part.count for part in design.installation.devices),
    }
    if fuse is not None and fuse.rated_a is not None:
        values["battery_fuse_a"] = fuse.rated_a
    if len(places) > 1:
        values["power_room"] = best_place(places).name
    return values


def _one_or_each(figures: Sequence[int]) -> int | str:
    """The figure that all roof planes have, else each in their order."""
    return figures[0] if len(set(figures)) == 1 else ", ".join(map(str, figures))


def what_would_change_the_cables(design: Design) -> list[Row]:
    """The cables with one thing changed at a time."""
    main = design.electrical.run("dc_main").run
    tried: list[tuple[str, dict[str, dict[str, Any]]]] = [
        ("as designed", {}),
        ("half the voltage drop allowed on the PV side",
         {"cables": {"dc_drop_frac": 0.5 * design.site.cables.dc_drop_frac}}),
        ("PV DC main cable twice as long",
         {"runs": {"dc_main": {"length_m": 2.0 * main.length_m}}}),
        ("soil 15 K warmer", {"cables": {"soil_c": min(main.ambient_c + 15.0, 60.0)}}),
        ("two more grouped circuits beside the PV DC main cable",
         {"runs": {"dc_main": {"grouped_circuits": design.site.runs.dc_main.grouped_circuits
                               + 2}}}),
        ("PV DC main cable in aluminium", {"runs": {"dc_main": {"material": "aluminium"}}}),
        ("cost per kWh lost three times as high",
         {"costs": {"per_kwh_lost": 3.0 * design.site.costs.per_kwh_lost}}),
    ]  # fmt: skip
    return [_changed_row(design, words, changes) for words, changes in tried]


def _cable_metal(one: SizedRun) -> str:
    return one.size_name + (" aluminium" if one.run.material == "aluminium" else "")


def _changed_row(design: Design, words: str, changes: dict[str, dict[str, Any]]) -> Row:
    try:
        tried = design.changed(changes).electrical
    except InputError as error:
        fault = error.faults[0]
        return {"changed parameter": words, "PV DC main cable": "none fits",
                "decided by": fault.given[:120], "life-cycle cost": "",
                "loss [kWh/year]": None}  # fmt: skip
    main = tried.run("dc_main")
    return {"changed parameter": words,
            "PV DC main cable": _cable_metal(main),
            "decided by": main.decided_by,
            "life-cycle cost": three_figures(sum(one.lifetime_cost for one in tried.sized)),
            "loss [kWh/year]": lost_kwh(tried)}


def assumed(design: Design) -> list[Sourced]:
    """What the electrical workbook takes for granted."""
    kind = design.site.battery.traits
    return [
        *assumptions("wiring"), *PROTECTION_ASSUMPTIONS,
        kind.empty.sourced("cell_v", "V"), *(kind.fault.sourced(name, "ohm Ah")
              for name in ("least_cell_ohm_ah", "most_cell_ohm_ah")),
        kind.rest.sourced("full_v", "V"),
        *defaults_of(design, ("cables", "duct", "protection", "costs")),
    ]  # fmt: skip


def polarity_words(design: Design) -> tuple[str, ...]:
    """String fuses, and how polarity is tested before anything is joined."""
    return (
        *dict.fromkeys(words for one in design.electrical.planes
                       for words in string_fuse_advice(one.fuses)),
        *polarity_steps(design.site, design.electrical.cold_string_v),
    )


def chain_rows(design: Design) -> list[Row]:
    """Voltage along the chain from modules to house at full load."""
    return [
        dict(row) for row in chain.chain_rows(chain.chain_of(design.site, design.electrical.sized))
    ]


def places_of(design: Design) -> tuple[PlaceResult, ...]:
    """Each place where the power room could stand, with the cables and the heat of that design.

    In the order of the site file; without places the runs as they are given are the only one.
    """
    names = [place.name for place in design.site.places] or [""]
    found = [design.changed({"room": {"place": name}}) for name in names]
    return tuple(
        place_result(one.site, one.electrical.sized, one.room_year.battery_c, name)
        for name, one in zip(names, found, strict=True)
    )


def place_rows(design: Design, results: Sequence[places.PlaceResult]) -> list[Row]:
    """One row a figure, one column a place for the power room."""
    rows = places.place_rows(results, design.site.costs.currency)
    names = [str(row["place"]) for row in rows]
    figures = [figure for figure in rows[0] if figure != "place"]
    return [
        {"Quantity": figure, **{name: row[figure] for name, row in zip(names, rows, strict=True)}}
        for figure in figures
    ]


def places_sentence(design: Design, results: Sequence[places.PlaceResult]) -> str:
    """What the comparison of places says."""
    return places.places_sentence(results, design.site.costs.currency)


def state_rows(design: Design) -> list[Row]:
    """Where neutral and earth are joined in each state of the changeover."""
    return [dict(row) for row in protection.neutral_rows(design.electrical.plan)]




MOST_FLIPS_NAMED = 3
"""Of one guess; the rest is counted."""


def guess_rows(design: Design) -> list[Row]:
    """What nobody gave and what hangs on it, a line a guess, in the order of `ranked_guesses`.

    How the battery is earthed, no value with a range, follows those that decide.

    Raises
    ------
    InputError
        Where the design as it is cannot be built.
    """
    found = ranked_guesses(design)
    rows = [guess_row(one) for one in found if one.flips]
    rows += _pole_rows(design)
    rows += [guess_row(one) for one in found if not one.flips]
    return rows or [_row_of("none: every value that could decide was specified")]


def deciding_rows(design: Design) -> list[Row]:
    """The rows of `guess_rows` on which something hangs, in the same order, sooner.

    Raises
    ------
    InputError
        Where the design as it is cannot be built.
    """
    found = [guess_row(one) for one in ranked_deciding(design)]
    return found + _pole_rows(design)


def moved_words(one: DecidingGuess) -> str:
    """What a guess that decides nothing moves all the same."""
    shares = [(one.price_frac, "the price"), (one.not_supplied_frac, "the demand supplied"),
              (one.yield_frac, "the PV energy")]  # fmt: skip
    said = [f"{in_unit(100.0 * share, '%')} % of {of}" for share, of in shares if share > 0.0005]
    return f"no outcome; moves {', '.join(said)}" if said else "nothing"


def guess_row(one: DecidingGuess) -> Row:
    """One guess and what changes within its usual range."""
    named = sorted(one.flips[:MOST_FLIPS_NAMED], key=lambda flip: flip.at)
    more = len(one.flips) - len(named)
    measured = "if measured, " if one.key == SOIL else ""
    changes = [f"{flip.what}: {measured}{flip.below} below, {flip.above} above" for flip in named]
    return _row_of(
        one.label if one.unit == "1" else f"{one.label} [{one.unit}]",
        used=rough_figures(one.used),
        usual=f"{rough_figures(one.low)} to {rough_figures(one.high)}",
        flips="; ".join(dict.fromkeys(rough_figures(flip.at) for flip in named))
        or "not within the range",
        changes="; ".join(changes) + (f"; and {more} more" if more else "") or moved_words(one),
        now="; ".join(dict.fromkeys(flip.as_built for flip in named)),
    )  # fmt: skip


@of_design
def pole_devices(design: Design) -> list[str]:
    """Devices whose poles change with an earthed pole of the battery; none where it is given."""
    return next((found for _, found in poles_on_trial(design) if found), [])


def _pole_rows(design: Design) -> list[Row]:
    """How the battery is earthed: no value on a scale, so what changes with each pole."""
    devices = pole_devices(design)
    if not devices:
        return []
    named = [*devices[:MOST_FLIPS_NAMED],
             "an earthing conductor from that pole to the main earthing terminal"]
    return [_row_of(
        EARTHED_POLE, used="none", usual="none, negative, positive",
        flips="any pole earthed", changes="; ".join(named), now="fused in both poles",
    )]  # fmt: skip


def _row_of(
    guess: str, *, used: str = "", usual: str = "", flips: str = "", changes: str = "",
    now: str = "",
) -> Row:  # fmt: skip
    return {"guess": guess, "used": used, "usual range": usual, "changes at": flips,
            "what changes": changes, "as designed": now}  # fmt: skip
