"""What the electrical workbook answers: sentence, named values, checks, what would change it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from solarcalc.basis.errors import InputError
from solarcalc.basis.sourced import Sourced, assumptions
from solarcalc.basis.verdict import Verdict
from solarcalc.job.assumptions import defaults_of
from solarcalc.job.electrical.built import Electrical, electrical_of_flows
from solarcalc.job.opening import Job
from solarcalc.job.tables import Row, Values
from solarcalc.protection.plan import PROTECTION_ASSUMPTIONS
from solarcalc.sitefile.changes import with_changes
from solarcalc.wiring.chain import chain_of, whole_drop_frac
from solarcalc.wiring.choose import core_count, run_verdicts
from solarcalc.wiring.pipe_checks import fill_verdicts
from solarcalc.wiring.pipe_sizes import pipe_size
from solarcalc.wiring.places import PlaceResult, best_place
from solarcalc.wiring.string_checks import string_verdicts
from solarcalc.wiring.string_fuses import string_fuse_verdicts
from solarcalc.wiring.system import reverse_verdict
from solarcalc.wiring.withstand import withstand_verdict


def electrical_verdicts(built: Electrical) -> list[Verdict]:
    """Every check of strings, cables, pipe and protection."""
    site = built.site
    checks = [
        *string_verdicts(built.case, site.array.modules_in_series, built.strings),
        *string_fuse_verdicts(built.fuses),
        reverse_verdict(site, built.run("string")),
    ]
    for one in built.sized:
        checks += run_verdicts(one)
        fault_a, clear_s = built.plan.fault_of(one.run.key)
        if fault_a > 0.0:
            checks.append(withstand_verdict(one, fault_a, clear_s))
    checks += fill_verdicts(built.pipe, pipe_size(site.pipe.size).kind)
    return [*checks, *built.plan.verdicts]


def core_m(built: Electrical) -> float:
    """Single cores of all runs together [m]."""
    return sum(
        core_count(one.run) * one.in_parallel * one.run.count * one.run.length_m
        for one in built.sized
    )


def lost_kwh(built: Electrical) -> float:
    """Energy that warms the cables in the year [kWh]."""
    return sum(one.loss_kwh_per_year for one in built.sized)


def electrical_answer(built: Electrical) -> str:
    """The answer in one sentence, from the figures."""
    verdicts = electrical_verdicts(built)
    failed = sum(verdict.outcome == "failed" for verdict in verdicts)
    cautions = sum(verdict.outcome == "caution" for verdict in verdicts)
    main = built.run("main")
    state = "no check fails" if failed == 0 else f"{failed} of {len(verdicts)} checks fail"
    fuses = "string fuses" if built.fuses.needed else "no string fuses"
    return (
        f"With {built.strings} strings of {built.site.array.modules_in_series} modules, a main run"
        f" of {main.size_name} and {fuses}, {state} and {cautions} ask for care;"
        f" {lost_kwh(built):.0f} kWh a year warm the cables."
    )


def electrical_values(built: Electrical, places: Sequence[PlaceResult]) -> Values:
    """Named results of the electrical workbook."""
    string, main = built.run("string"), built.run("main")
    used_kwh = float(built.flows.bus_w.sum()) / 1000.0
    fuse = built.plan.device("battery-fuse")
    fault_a = max(fault for fault, _ in built.plan.faults.values())
    values: Values = {
        "string_count": built.strings,
        "modules_in_series": built.site.array.modules_in_series,
        "string_cold_open_circuit_v": round(built.cold_string_v, 1),
        "string_hot_working_v": round(string.run.voltage_v, 1),
        "string_fuses": f"{built.fuses.rated_a:g} A" if built.fuses.rated_a else "none",
        "string_cable": string.size_name,
        "main_cable": main.size_name,
        "main_capacity_a": round(main.capacity_a, 1),
        "drop_at_full_load_frac": round(whole_drop_frac(chain_of(built.site, built.sized)), 4),
        "cable_core_m": round(core_m(built)),
        "cables_lost_kwh_per_year": round(lost_kwh(built), 1),
        "cables_lost_of_sun_used_frac": round(lost_kwh(built) / used_kwh, 4) if used_kwh else 0.0,
        "pipe_fill_frac": round(built.pipe.fill_frac, 3),
        "largest_fault_ka": round(fault_a / 1000.0, 2),
        "device_count": sum(device.count for device in built.plan.devices),
    }
    if fuse is not None and fuse.rated_a is not None:
        values["battery_fuse_a"] = fuse.rated_a
    if len(places) > 1:
        values["power_room"] = best_place(places).name
    return values


def what_would_change_the_cables(job: Job, built: Electrical) -> list[Row]:
    """The cables with one thing changed at a time."""
    main = built.run("main").run
    tried: list[tuple[str, dict[str, dict[str, Any]]]] = [
        ("as the site file has it", {}),
        ("half the drop allowed on the array's side",
         {"cables": {"dc_drop_frac": 0.5 * built.site.cables.dc_drop_frac}}),
        ("main run twice as long", {"runs": {"main": {"length_m": 2.0 * main.length_m}}}),
        ("ground 15 K warmer", {"cables": {"soil_c": min(main.ambient_c + 15.0, 60.0)}}),
        ("two more circuits beside the main",
         {"runs": {"main": {"circuits_together": built.site.runs.main.circuits_together + 2}}}),
        ("main run in aluminium", {"runs": {"main": {"material": "aluminium"}}}),
        ("a lost kWh worth three times as much",
         {"costs": {"per_kwh_lost": 3.0 * built.site.costs.per_kwh_lost}}),
    ]  # fmt: skip
    return [_changed_row(job, built, words, changes) for words, changes in tried]


def _changed_row(
    job: Job, built: Electrical, words: str, changes: dict[str, dict[str, Any]]
) -> Row:
    if "runs" in changes:
        own = job.site.runs.model_dump(exclude_unset=True, exclude_none=True)
        main_run = {**own.get("main", {}), **changes["runs"]["main"]}
        changes = {"runs": {**own, "main": main_run}}
    try:
        site = with_changes(job.sitefile, changes).site if changes else built.site
        tried = electrical_of_flows(site, built.flows)
    except InputError as error:
        fault = error.faults[0]
        return {"changed": words, "main": "none fits", "decided by": fault.given[:120],
                "cost over the life": "", "lost [kWh/year]": None}  # fmt: skip
    main = tried.run("main")
    return {
        "changed": words,
        "main": main.size_name + (" aluminium" if main.run.material == "aluminium" else ""),
        "decided by": main.decided_by,
        "cost over the life": f"{sum(one.lifetime_cost for one in tried.sized):.3g}",
        "lost [kWh/year]": lost_kwh(tried),
    }


def electrical_assumptions(job: Job) -> list[Sourced]:
    """What the electrical workbook takes for granted."""
    return [
        *assumptions("wiring"), *PROTECTION_ASSUMPTIONS,
        *defaults_of(job, ("cables", "pipe", "protection", "costs")),
    ]  # fmt: skip
