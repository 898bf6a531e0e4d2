"""Each run of cable in the calculation appendix: formula, figures put in, result, requirement."""

from __future__ import annotations

import math
from collections.abc import Iterator

from solarcalc.basis.quantity import three_figures
from solarcalc.design import Design
from solarcalc.documents.anchors import Anchors
from solarcalc.documents.tree import Block, Words, fold, formula, pairs, sentence, strong
from solarcalc.installation.battery import lead_heat
from solarcalc.wiring.conductors import REACTANCE_OHM_PER_KM, least_for_run_mm2
from solarcalc.wiring.runs import Run, SizedRun

_LOAD = r"I_b \le I_n \le I_z = I_t \prod f"
_DROP = r"\Delta U = b\,I\,L\,(R\cos\varphi + X\sin\varphi), \quad \Delta U / U \le \Delta u"
_FAULT = r"S \ge S_{min} = I\sqrt{t} / k"


def run_blocks(design: Design, anchors: Anchors) -> Iterator[Block]:
    """A fold for each run."""
    for cable in design.installation.cables:
        if one := cable.sized:
            anchor = anchors.runs[one.run.key]
            yield fold([strong(anchor), f" {cable.tag} {one.run.name}, {one.size_name}"],
                       list(_run(design, one, anchors)), key=anchor)  # fmt: skip


def _run(design: Design, one: SizedRun, anchors: Anchors) -> Iterator[Block]:
    run = one.run
    known = "given in the site file" if run.length_given else "assumed, to be measured"
    yield pairs([
        ("Way", f"{three_figures(run.length_m)} m one way ({known}), {run.method}:"
                f" {run.lies.words}"),
        ("Cable", f"{one.size_name} {run.material}, {run.insulation.upper()}, {one.in_parallel}"
                  f" a pole, {run.count} alike; decided by {one.decided_by}"),
    ])  # fmt: skip
    yield formula(_LOAD)
    yield pairs(_load_rows(one))
    yield formula(_DROP)
    yield pairs([
        ("Resistance R", f"{three_figures(one.drop_ohm_per_km)} Ω/km, {one.in_parallel} a pole, at"
                         f" {one.drop_c:.0f} °C: IEC 60228 at 20 °C, warmed by IEC 60028"),
        ("Figures put in", _drop_words(one)),
        ("Voltage drop", f"{three_figures(one.drop_v)} V of {three_figures(run.voltage_v)} V ="
                         f" {_percent(one.drop_frac)}"),
        ("Required", f"at most {_percent(run.drop_limit_frac)}"),
        *([("Energy lost", f"{three_figures(one.loss_kwh_per_year)} kWh/year")]
          if run.hourly_a.any() else []),
    ])  # fmt: skip
    fault_a, clear_s, least_mm2 = _short_circuit(design, run)
    yield formula(_FAULT)
    yield pairs([
        ("Short circuit", f"{three_figures(fault_a)} A, cleared in {clear_s:.3g} s"),
        ("Required", f"at least {three_figures(least_mm2)} mm²"),
        ("Built", f"{three_figures(one.size_mm2 * one.in_parallel)} mm²"),
    ])  # fmt: skip
    named = [anchor for check, anchor in anchors.checks.items()
             if check.item.startswith(f"{run.name}:") or check.item.endswith(f": {run.name}")]
    if named:
        yield sentence("Checks of this run, with source and evidence", *anchors.links(named))


def _short_circuit(design: Design, run: Run) -> tuple[float, float, float]:
    """What heats a run most [A], until it is cleared [s], and the least copper for that [mm2]."""
    built = design.electrical
    if run.key in built.plan.faults:
        return *built.plan.fault_of(run.key), built.least_mm2.get(run.key, 0.0)
    heat = lead_heat(built.plan.banks, run)
    return (*heat, least_for_run_mm2(run, *heat)) if heat else (0.0, 0.0, 0.0)


def _load_rows(one: SizedRun) -> Iterator[tuple[Words, Words]]:
    factors = "".join(f" × {factor:.3g} ({words})" for words, factor in one.factors.items())
    yield "Design current I_b", f"{three_figures(one.run.design_a)} A"
    yield "Device I_n", "none" if one.device_a is None else f"{three_figures(one.device_a)} A"
    yield "Capacity I_z", (f"{three_figures(one.table_a)} A{factors} ="
                           f" {three_figures(one.capacity_a)} A")
    yield "Ambient", f"{three_figures(one.run.ambient_c)} °C"


def _drop_words(one: SizedRun) -> str:
    """There and back (or a line of three), current, way, and what opposes it."""
    run = one.run
    drop_a = run.design_a if run.drop_a is None else run.drop_a
    there_and_back = "2" if run.loaded == 2 else "√3"
    ohm = three_figures(one.drop_ohm_per_km)
    if run.current == "ac":
        sine = math.sqrt(1.0 - run.power_factor**2)
        reactance = three_figures(float(REACTANCE_OHM_PER_KM) / one.in_parallel)
        ohm = f"({ohm} × {run.power_factor:g} + {reactance} × {sine:.2g})"
    return (f"{there_and_back} × {three_figures(drop_a)} A × {three_figures(run.length_m)} m ×"
            f" {ohm} Ω/km / 1000 m/km = {three_figures(one.drop_v)} V")


def _percent(frac: float) -> str:
    return f"{three_figures(100.0 * frac)} %"
