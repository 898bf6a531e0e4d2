"""A made-up site under test: its sheet filled in by a single-diode model, faults put in."""

from __future__ import annotations

import csv
import io
import runpy
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import pvlib

from solarcalc.circuit.module import five_parameters
from solarcalc.commissioning.facts import StringFacts, TestFacts, facts_of
from solarcalc.commissioning.judge import TestReport, judge
from solarcalc.commissioning.results import read_results
from solarcalc.commissioning.sheet import sheet_of
from solarcalc.energy.diode import diode_of
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.site import Site

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))


@lru_cache
def site_called(stem: str) -> Site:
    """A frozen site with usual values of earthing, protection and room."""
    found: Site = PLAIN["frozen"](stem)
    return found


def facts_with(
    stem: str = "ridge-clinic", *, strings: int | None = None, modules: int | None = None,
    **rules: object,
) -> TestFacts:  # fmt: skip
    """Facts of a frozen site, with other strings where asked."""
    site = site_called(stem)
    facts = facts_of(site)
    if strings or modules:
        each = modules or facts.strings[0].modules
        facts = replace(facts, strings=tuple(
            StringFacts(name=f"string {n}", modules=each, controller=1)
            for n in range(1, (strings or len(facts.strings)) + 1)
        ))  # fmt: skip
    if rules:
        facts = replace(facts, rules=facts.rules.model_copy(update=rules))
    return facts


def by_diode(module: Module, light_w_m2: float, cell_c: float) -> tuple[float, float, float]:
    """Isc [A], Voc [V] and working current [A] of one module, by the fitted single diode."""
    curve = pvlib.pvsystem.singlediode(*five_parameters(diode_of(module), light_w_m2, cell_c))
    return float(curve["i_sc"]), float(curve["v_oc"]), float(curve["i_mp"])


@dataclass
class Sheet:
    """A sheet being filled in; `cells` by id, then by column."""

    facts: TestFacts
    cells: dict[str, dict[str, str]]

    def put(self, line_id: str, **cells: object) -> Sheet:
        self.cells[line_id] |= {name: str(value) for name, value in cells.items()}
        return self

    def scale(self, line_id: str, factor: float) -> Sheet:
        return self.put(line_id, value=float(self.cells[line_id]["value"]) * factor)

    def ids(self, key: str) -> list[str]:
        return [line.id for line in sheet_of(self.facts) if line.key == key]

    def text(self) -> str:
        out = io.StringIO()
        heads = ["id", "value", "unit", "irradiance_w_m2", "cell_c", "note", "who", "when"]
        writer = csv.DictWriter(out, heads, lineterminator="\n")
        writer.writeheader()
        writer.writerows({"id": name, **cells} for name, cells in self.cells.items())
        return out.getvalue()

    def checked(self, folder: Path) -> TestReport:
        """Written, read back and checked: the whole way."""
        path = folder / "filled.csv"
        path.write_text(self.text(), encoding="utf-8")
        lines = sheet_of(self.facts)
        return judge(lines, read_results(path, lines), self.facts)


def clean_sheet(
    facts: TestFacts, *, light_w_m2: float = 820.0, cell_c: float = 48.0,
    noise: Mapping[str, float] | None = None,
) -> Sheet:  # fmt: skip
    """Every line measured, all of it good; readings of strings off by `noise` (fractions)."""
    isc_a, voc_v, imp_a = by_diode(facts.module, light_w_m2, cell_c)
    cells: dict[str, dict[str, str]] = {}
    unit_v = {line.group: 0.0 for line in sheet_of(facts)}
    for line in sheet_of(facts):
        row = {"value": "yes", "unit": line.unit, "who": "Invented Tester", "when": "2027-03-20"}
        if line.wants_light:
            value = {"string-voltage": line.count * voc_v, "string-current": isc_a,
                     "working-current": imp_a}[line.kind]  # fmt: skip
            value *= 1.0 + (noise or {}).get(line.id, 0.0)
            row |= {"value": f"{value:.4f}", "irradiance_w_m2": f"{light_w_m2:.2f}",
                    "cell_c": f"{cell_c:.2f}"}  # fmt: skip
        elif line.kind == "sum-voltage":
            row["value"] = f"{unit_v[line.group]:.3f}"
        elif line.kind != "yes":
            low = line.low if line.low is not None else 0.5 * line.high
            high = line.high if line.high is not None else 100.0 * line.low
            row["value"] = f"{(low + high) / 2.0:.3f}"
            unit_v[line.group] += float(row["value"])
        cells[line.id] = row
    return Sheet(facts=facts, cells=cells)
