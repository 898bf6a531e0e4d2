"""One word and one number for each energy, whichever paper tells it."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from pathlib import Path

import nbformat
import numpy as np
import pytest
from openpyxl import load_workbook

from solarcalc import cli
from solarcalc.basis.files import data_folder, demo_sites, workbooks_folder
from solarcalc.basis.quantity import grouped
from solarcalc.batch.run import report_sites
from solarcalc.design import compare, open_design
from solarcalc.report.findings import Findings, ReportError, headline_of
from solarcalc.stages.boards import banks_of, usable_battery_wh
from solarcalc.supply.energy import curtailed_by_reason_kwh, energy_kwh, year_energy
from solarcalc.views import battery, quote
from solarcalc.views.handover import customer_facts

SITES = sorted(demo_sites())
PACKAGE = Path(cli.__file__).parent
OTHER_WORDS = re.compile(
    r"\b(spill(ed|age)?|unserved|dark hours?|thrown away|(energy|kWh|load) (served|delivered)"
    r"|nobody dark|goes dark|go dark|usable energy (comes|of (the|each))"
    r"|turned away by the controller)\b",
    re.IGNORECASE,
)
"""Words that once stood for these energies; data/words and the papers have one for each."""


@pytest.mark.parametrize("name", SITES)
def test_every_paper_tells_the_same_energies(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    design = open_design(name)
    energy = year_energy(design.supply)
    values = battery.values(design)
    assert values["demand_kwh"] == round(energy_kwh(design.supply, "demand"))
    assert values["supplied_kwh"] == round(energy_kwh(design.supply, "supplied"))
    assert values["curtailed_kwh"] == round(energy_kwh(design.supply, "curtailed"))
    said = design.year_energy.words
    for key in ("supplied_kwh", "demand_kwh", "curtailed_kwh", "available_kwh"):
        assert grouped(str(values[key])) in said
    assert cli._check_one(demo_sites()[name]) in (0, 1)
    assert said in capsys.readouterr().out
    compared = compare({"own": design})["own"]
    assert compared["energy supplied [kWh/year]"] == values["supplied_kwh"]
    assert compared["energy demand [kWh/year]"] == values["demand_kwh"]
    assert compared["energy curtailed [kWh/year]"] == energy.curtailed_words
    assert design.economics.plan.supplied_kwh_per_year == energy.supplied_kwh
    for for_customer in (True, False):
        files = quote.quote_files(design, for_customer=for_customer)
        assert said in files["energy.csv"].decode("utf-8-sig")
        sheet = load_workbook(io.BytesIO(files["quote.xlsx"]))["energy"]
        assert said in [cell.value for row in sheet.iter_rows() for cell in row]
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
    for page in (report, out / "index.html"):
        assert said in html.unescape(page.read_text(encoding="utf-8"))
    with (out / "summary.csv").open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["headline"] == said
    for path in sorted((out / slug / "workbooks").glob("*.ipynb")):
        assert said in json.loads(json.dumps(nbformat.read(path, as_version=4)))["cells"].__str__()


def test_workbooks_that_disagree_make_no_report() -> None:
    def found(book: str, headline: str) -> Findings:
        return Findings(workbook=book, title=book, answer="a", values={}, checks=(),
                        assumptions=(), headline=headline)  # fmt: skip

    assert headline_of([found("a", "1 kWh"), found("b", "1 kWh"), found("c", "")]) == "1 kWh"
    with pytest.raises(ReportError, match="different energies"):
        headline_of([found("a", "1 kWh"), found("b", "2 kWh")])


@pytest.mark.parametrize("name", SITES)
def test_usable_battery_energy_is_one_number(name: str) -> None:
    """By hand: what lies above the reserve, the loss of discharge and the cold taken off."""
    design = open_design(name)
    by_hand_wh = sum(
        bank.capacity_wh * (1.0 - bank.min_soc_frac) * bank.discharge_efficiency_frac
        * float(np.mean(bank.capacity_factor)) for bank in banks_of(design)
    )  # fmt: skip
    assert usable_battery_wh(design) == pytest.approx(by_hand_wh)
    assert battery.values(design)["usable_battery_kwh"] == round(by_hand_wh / 1000.0, 1)
    assert customer_facts(design).usable_wh == pytest.approx(by_hand_wh)
    lines = {row["what"]: row for row in battery.bank_inputs(design)}
    told = lines["Usable at its terminals, down to the reserve"]
    assert told["value"] == f"{by_hand_wh / 1000.0:.4g}"
    assert f"{by_hand_wh / 1000.0:.1f} kWh usable" in cli._battery_line(design)


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


def test_all_but_a_little_is_not_all() -> None:
    energy = open_design("ridge-clinic").year_energy
    nearly = type(energy)(demand_kwh=10000.0, supplied_kwh=9994.0, available_kwh=0.0,
                          curtailed_kwh=0.0, by_reason_kwh=energy.by_reason_kwh, essential_h=1,
                          nonessential_h=0)  # fmt: skip
    assert "(99.9 %)" in nearly.words
    assert "no energy available" in nearly.words


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
    for part in ("views", "figures", "quote", "report", "stages", "cli.py"):
        paths = [PACKAGE / part] if part.endswith(".py") else (PACKAGE / part).rglob("*.py")
        found |= {str(path): path.read_text(encoding="utf-8") for path in paths}
    return found


def test_no_other_word_for_these_energies_stands_in_a_text() -> None:
    said = {name: sorted({hit.group(0).lower() for hit in OTHER_WORDS.finditer(text)})
            for name, text in user_texts().items()}
    assert {name: hits for name, hits in said.items() if hits} == {}
    assert OTHER_WORDS.search("energy served [kWh]")
