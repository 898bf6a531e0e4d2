"""One word and one number for each energy, whichever paper tells it."""

from __future__ import annotations

import csv
import html
import io
import json
import math
import re
import runpy
from pathlib import Path
from typing import Any

import nbformat
import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, reject, settings
from hypothesis import strategies as some
from openpyxl import load_workbook

from solarcalc import cli
from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites, workbooks_folder
from solarcalc.basis.messages import PATTERN, languages, messages
from solarcalc.basis.phrases import listed, phrase
from solarcalc.basis.quantity import NEARLY_FRAC, grouped, in_percent, in_unit
from solarcalc.batch.run import report_sites
from solarcalc.battery.bank import Bank
from solarcalc.checking.lines import answer_of, battery_line
from solarcalc.design import Design, open_design
from solarcalc.report.findings import Findings, ReportError, headline_of
from solarcalc.stages.boards import banks_of, supply_of_sun, usable_battery_wh
from solarcalc.supply.energy import (
    Reason,
    YearEnergy,
    curtailed_by_reason_kwh,
    energy_kwh,
    kept_from_w,
    year_energy,
)
from solarcalc.supply.engine import running_of
from solarcalc.variants import compare
from solarcalc.views import battery, quote
from solarcalc.views.handover import customer_facts

SITES = sorted(demo_sites())
PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))
CLINIC = PLAIN["plain_file"]("ridge-clinic")
"""The demo site of which nobody gave the snow."""
DRAWN = runpy.run_path(str(Path(__file__).with_name("site_files.py")))
PACKAGE = Path(cli.__file__).parent
OTHER_WORDS = re.compile(
    r"\b(spill(ed|age)?|unserved|dark hours?|thrown away|(energy|kWh|load) (served|delivered)"
    r"|nobody dark|goes dark|go dark|usable energy (comes|of (the|each))"
    r"|turned away by the controller)\b",
    re.IGNORECASE,
)
"""Words that once stood for these energies; data/words and the papers have one for each."""


def figures_in(text: str) -> list[str]:
    """Its figures, whatever mark stands before tenths."""
    return re.findall(r"\d+(?:\.\d+)?", text.replace(",", "."))


@pytest.mark.slow
@pytest.mark.parametrize("name", SITES)
def test_every_paper_tells_the_same_energies(name: str) -> None:
    design = open_design(name)
    energy = year_energy(design.supply)
    values = battery.values(design)
    assert values["demand_kwh"] == round(energy_kwh(design.supply, "demand"))
    assert values["supplied_kwh"] == round(energy_kwh(design.supply, "supplied"))
    assert values["curtailed_kwh"] == round(energy_kwh(design.supply, "curtailed"))
    said = design.year_energy.words
    for key in ("supplied_kwh", "demand_kwh", "curtailed_kwh", "available_kwh"):
        assert grouped(str(values[key])) in said
    assert said in answer_of(demo_sites()[name]).text
    compared = compare({"own": design})["own"]
    assert compared["energy supplied [kWh/year]"] == values["supplied_kwh"]
    assert compared["energy demand [kWh/year]"] == values["demand_kwh"]
    assert compared["curtailed, of what was available, and why"] == energy.curtailed_words
    assert design.economics.plan.supplied_kwh_per_year == energy.supplied_kwh
    for for_customer in (True, False):
        files = quote.quote_files(design, for_customer=for_customer)
        language = design.site.firm.language if for_customer else PATTERN
        told, head = listed(said, language), phrase("energy", language)
        assert figures_in(told) == figures_in(said)
        assert told in files["energy.csv"].decode("utf-8-sig")
        sheet = load_workbook(io.BytesIO(files["quote.xlsx"]))[head]
        assert told in [cell.value for row in sheet.iter_rows() for cell in row]
    facts = customer_facts(design)
    assert facts.supplied_kwh == energy.supplied_kwh
    assert sum(facts.needed_kwh) == pytest.approx(energy.demand_kwh)
    assert sum(facts.unsupplied_h) == pytest.approx(energy.essential_h)


@pytest.mark.slow
def test_report_summary_table_and_index_tell_the_same(tmp_path: Path) -> None:
    out = tmp_path / "out"
    result = report_sites([demo_sites()["orchard-shop"]], out)
    ((slug, report),) = result.done
    said = open_design("orchard-shop").year_energy.words
    record = json.loads((out / slug / "summary.json").read_text(encoding="utf-8"))
    assert record["headline"] == said
    page = html.unescape(report.read_text(encoding="utf-8"))
    assert said in page.replace("\N{NO-BREAK SPACE}", " ")
    energy = open_design("orchard-shop").year_energy
    share = f"{100.0 * energy.supplied_kwh / energy.demand_kwh:.1f}\N{NO-BREAK SPACE}%"
    assert f"{energy.supplied_kwh:.0f} ({share})" in (out / "index.html").read_text("utf-8")
    with (out / "data.csv").open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["energy"] == said
    for path in sorted((out / slug / "workbooks").glob("*.ipynb")):
        assert said in json.loads(json.dumps(nbformat.read(path, as_version=4)))["cells"].__str__()


def test_workbooks_that_disagree_make_no_report() -> None:
    def found(book: str, headline: str) -> Findings:
        return Findings(workbook=book, title=book, answer="a", values={}, checks=(),
                        assumptions=(), headline=headline)  # fmt: skip

    assert headline_of([found("a", "1 kWh"), found("b", "1 kWh"), found("c", "")]) == "1 kWh"
    with pytest.raises(ReportError, match="different energies"):
        headline_of([found("a", "1 kWh"), found("b", "2 kWh")])


def coldest_month_frac(bank: Bank) -> float:
    """Mean share of thirty days on end that the cold leaves, at the least, over New Year too."""
    hours = np.asarray(bank.capacity_factor)
    return float(pd.Series(np.tile(hours, 2)).rolling(720).mean().min())


def usable_energy_is_one_number(design: Design) -> None:
    by_hand_wh = sum(
        bank.capacity_wh * (1.0 - bank.min_soc_frac) * bank.discharge_efficiency_frac
        * coldest_month_frac(bank) for bank in banks_of(design)
    )  # fmt: skip
    assert usable_battery_wh(design) == pytest.approx(by_hand_wh, abs=1e-6)
    assert battery.values(design)["usable_battery_kwh"] == round(by_hand_wh / 1000.0, 1)
    assert customer_facts(design).usable_wh == pytest.approx(by_hand_wh, abs=1e-6)
    lines = {row["Quantity"]: row for row in battery.bank_inputs(design)}
    told = lines["Usable energy at the terminals, to minimum state of charge"]
    assert told["Value"] == f"{by_hand_wh / 1000.0:.4g}"
    assert f"{by_hand_wh / 1000.0:.1f} kWh usable" in battery_line(design)


@pytest.mark.parametrize("name", SITES)
def test_usable_battery_energy_is_one_number(name: str) -> None:
    """By hand: what lies above the reserve, the loss of discharge and the coldest month off."""
    usable_energy_is_one_number(open_design(name))


@pytest.mark.slow
@settings(deadline=None, max_examples=6)
@given(changes=DRAWN["site_changes"](), room_c=some.sampled_from([None, -5.0, 25.0]))
def test_usable_battery_energy_is_one_number_of_any_site(
    changes: dict[str, dict[str, Any]], room_c: float | None
) -> None:
    warmth = {"room_c": room_c}
    own = open_design(CLINIC, {**changes, "battery": {**changes["battery"], **warmth}})
    try:
        own.installation  # noqa: B018  the booklet names its switches
    except InputError:
        reject()  # no cable of the tables carries it: it has no booklet
    usable_energy_is_one_number(own)


@pytest.mark.parametrize("name", SITES)
def test_reasons_add_up_to_what_is_curtailed(name: str) -> None:
    year = open_design(name).supply
    found = curtailed_by_reason_kwh(year)
    assert sum(found.values()) == pytest.approx(energy_kwh(year, "curtailed"))
    assert min(found.values()) >= 0.0


@pytest.mark.parametrize(("more", "stored_wh", "put_in_w", "reasons_w"), [
    ({}, 600.0, 500.0, (500.0, 0.0, 0.0)),
    ({"max_charge_w": 300.0}, 600.0, 300.0, (500.0, 200.0, 0.0)),
    ({"max_charge_w": 300.0, "charge_factor": 0.5}, 600.0, 150.0, (500.0, 200.0, 150.0)),
    ({"acceptance_per_h": math.log(2.0)}, 600.0, 250.0, (750.0, 0.0, 0.0)),
    ({"acceptance_per_h": math.log(2.0), "charge_factor": 0.04}, 600.0, 200.0,
     (750.0, 0.0, 50.0)),
    ({"charge_factor": 0.0}, 1000.0, 0.0, (1000.0, 0.0, 0.0)),
    ({"charge_factor": 0.0}, 600.0, 0.0, (500.0, 0.0, 500.0)),
])  # fmt: skip
def test_reasons_of_one_hour_by_hand(
    more: dict[str, float], stored_wh: float, put_in_w: float,
    reasons_w: tuple[float, float, float],
) -> None:
    """1000 W are left for a bank of 1000 Wh that stores four fifths of them.

    At 600 Wh it lacks 400 and has room for 500 W; at an acceptance of ln 2 an hour it takes half
    of that. What a limit kept it from is the difference it makes; the rest found no room.
    """
    bank = Bank(
        capacity_wh=1000.0, voltage_v=48.0, available_frac=1.0, exchange_per_h=0.0,
        min_soc_frac=0.0, charge_efficiency_frac=0.8, discharge_efficiency_frac=1.0,
        max_charge_w=more.get("max_charge_w", 5000.0), max_discharge_w=5000.0,
        acceptance_per_h=more.get("acceptance_per_h", math.inf), self_discharge_frac_per_h=0.0,
        capacity_factor=np.ones(1), charge_factor=np.full(1, more.get("charge_factor", 1.0)),
    )
    hours = pd.DataFrame({
        "stored_wh": [stored_wh], "discharge_w": [0.0], "self_discharge_w": [0.0],
        "charge_w": [put_in_w], "solar_curtailed_w": [1000.0 - put_in_w],
    })  # fmt: skip
    found = kept_from_w(bank, hours)
    assert tuple(float(found[name][0]) for name in ("full", "rate", "temperature")) \
        == pytest.approx(reasons_w)  # fmt: skip


@pytest.mark.parametrize(("changes", "reason"), [
    ({"battery": {"room_c": -10.0}}, "temperature"),
    ({"battery": {"max_charge_c_rate": 0.01}}, "rate"),
    ({}, "full"),
])  # fmt: skip
def test_what_is_curtailed_is_told_apart_by_what_held_the_charge(
    changes: dict[str, dict[str, float]], reason: str
) -> None:
    """Iron phosphate takes no charge below 0 degC; a charge of 0.01 C fills no bank by noon."""
    design = open_design("ridge-clinic", changes)
    found = curtailed_by_reason_kwh(design.supply)
    assert sum(found.values()) == pytest.approx(energy_kwh(design.supply, "curtailed"))
    assert max(found, key=lambda name: found[name]) == reason  # type: ignore[no-any-return]


def test_what_the_controller_clips_is_lost_before_what_is_available() -> None:
    """A current limit of a tenth: the array's loss, and nothing of it is called curtailed."""
    own = open_design("ridge-clinic")
    limit_a = own.site.controller.max_charge_current_a / 4.0
    held = own.changed({"controller": {"max_charge_current_a": limit_a}})
    assert held.energy.clipped_kwh > own.energy.clipped_kwh
    energy = held.year_energy
    most_kwh = own.year_energy.available_kwh + own.energy.clipped_kwh
    assert energy.available_kwh + held.energy.clipped_kwh == pytest.approx(most_kwh)
    assert energy.curtailed_kwh <= energy.available_kwh


@pytest.mark.parametrize(("grid", "generator_w", "words"), [
    ("none", 0.0, ()), ("always", 0.0, ("grid",)), ("none", 3000.0, ("generator",)),
])  # fmt: skip
def test_what_grid_and_generator_gave_is_in_the_headline(
    grid: str, generator_w: float, words: tuple[str, ...],
) -> None:
    """Else a year that lives by its diesel reads as one of the sun."""
    own = open_design("ridge-clinic", {"grid": {"kind": grid},
                                       "generator": {"power_w": generator_w}})  # fmt: skip
    dim = supply_of_sun(own, own.energy.hours["bus_w"] * 0.3)
    energy = year_energy(dim)
    said = energy.sources_words
    assert said in energy.words
    assert (said == "") == (not words)
    assert {name for name in ("grid", "generator") if name in said} == set(words)
    for name in words:
        kwh = energy_kwh(dim, "grid" if name == "grid" else "generator")
        assert f"{name} {grouped(f'{kwh:.0f}')} kWh" in said
    if generator_w:
        ran = running_of(dim)
        assert (f"({grouped(f'{ran.run_h:.0f}')} h, {grouped(f'{ran.fuel_l:.0f}')} l,"
                f" {grouped(str(ran.starts))} starts)") in said  # fmt: skip
        assert ran.fuel_l == pytest.approx(dim.hours["fuel_l"].sum())


NO_REASON: dict[Reason, float] = {"full": 0.0, "rate": 0.0, "temperature": 0.0}


@settings(deadline=None)
@given(whole=some.floats(1.0, 1e6), missing=some.just(0.0) | some.floats(1e-8, 1.0))
@example(whole=5492.0, missing=2.0 / 5492.0)
@example(whole=10000.0, missing=6e-4)
def test_what_is_not_all_is_never_told_as_all_of_it(whole: float, missing: float) -> None:
    """5490 of 5492 kWh stood on papers as 100.0 %."""
    supplied = whole * (1.0 - missing)
    energy = YearEnergy(
        demand_kwh=whole, supplied_kwh=supplied, available_kwh=0.0, curtailed_kwh=0.0,
        by_reason_kwh=NO_REASON, essential_h=1, nonessential_h=0)  # fmt: skip
    alike = grouped(f"{supplied:.0f}") == grouped(f"{whole:.0f}")
    assert ("(100.0 %)" in energy.words) == (alike and missing < NEARLY_FRAC)
    assert "no energy available" in energy.words
    for language in languages():
        whole_of_it = messages(language).share(supplied, whole) == messages(language).percent(1.0)
        assert whole_of_it == (alike and missing < NEARLY_FRAC)
    for places in (0, 1, 2):
        said = in_percent(1.0 - missing, places)
        assert (float(said) == 100.0) == (missing == 0.0)
        assert float(said) == pytest.approx(100.0 * (1.0 - missing), abs=1.001 * 0.1**places)
    assert in_unit(100.0 * (1.0 - missing), "%") == in_percent(1.0 - missing)


def user_texts() -> dict[str, str]:
    """Every text that a user may read: words, messages, templates, workbooks."""
    found = {path.name: path.read_text(encoding="utf-8")
             for folder in ("words", "messages", "templates")
             for path in sorted((data_folder() / folder).glob("*.toml"))}
    found |= {path.name: path.read_text(encoding="utf-8")
              for path in sorted((PACKAGE / "report" / "template").rglob("*.j2"))}
    for path in sorted(workbooks_folder().glob("*.ipynb")):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        found[path.name] = "\n".join("".join(cell["source"]) for cell in cells)
    for part in ("views", "figures", "quote", "report", "stages", "checking", "cli.py"):
        paths = [PACKAGE / part] if part.endswith(".py") else (PACKAGE / part).rglob("*.py")
        found |= {str(path): path.read_text(encoding="utf-8") for path in paths}
    return found


def test_no_other_word_for_these_energies_stands_in_a_text() -> None:
    said = {name: sorted({hit.group(0).lower() for hit in OTHER_WORDS.finditer(text)})
            for name, text in user_texts().items()}
    assert {name: hits for name, hits in said.items() if hits} == {}
    assert OTHER_WORDS.search("energy served [kWh]")
