"""Dangers of a site reach report, tasks, booklet, room and shopping list, and no site without."""

from __future__ import annotations

import re
import runpy
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.basis.messages import languages, messages
from solarcalc.basis.phrases import untranslated
from solarcalc.design import open_design
from solarcalc.powerroom.generator import EXHAUST_M, generator_checks, generator_notes
from solarcalc.quote.bill import bill_of
from solarcalc.sitefile.dangers import MET, dangers, dangers_of, task_cautions
from solarcalc.sitepack.pick_list import picks_of
from solarcalc.sitepack.tools import tool_rows
from solarcalc.views.handover import customer_facts

site_with = runpy.run_path(str(Path(__file__).with_name("room_sites.py")))["site_with"]
SITES = runpy.run_path(str(Path(__file__).with_name("site_files.py")))
ENGINE = ("carbon-monoxide", "fuel", "starts-by-itself")


def keys(site):
    return {one.key for one in dangers_of(site)}


def with_generator(**given):
    base = site_with()
    table = {"power_w": 3000.0, **given}
    return base.model_copy(update={"generator": base.generator.model_copy(update=table)})


def test_every_condition_is_used_and_every_danger_is_told_somewhere():
    assert {one.met for one in dangers()} == set(MET)
    known = messages("en")
    for one in dangers():
        assert one.clause
        for key in one.booklet:
            assert all(messages(language).text(key) for language in languages())
            assert known.text(key)


def test_a_generator_brings_its_dangers_and_none_brings_none():
    assert not keys(site_with()) & {*ENGINE, "generator-indoors"}
    assert keys(with_generator()) >= set(ENGINE)
    assert "generator-indoors" not in keys(with_generator(place="outside"))
    assert "generator-indoors" in keys(with_generator(place="own room"))
    cautions = " ".join(task_cautions(with_generator())["generator"])
    for word in ("carbon monoxide", "fuel", "hot", "locked off"):
        assert word in cautions, word
    assert "generator" not in task_cautions(site_with())
    assert "carbon monoxide" in " ".join(generator_notes(with_generator()))
    assert generator_notes(site_with()) == []


@pytest.mark.parametrize(
    ("place", "expected"),
    [("outside", "passed"), ("own room", "review"), ("battery room", "failed")],
)
def test_no_generator_among_batteries(place, expected):
    (found,) = [check for check in generator_checks(with_generator(place=place))
                if check.rule == "powerroom/generator-place"]
    assert (found.outcome, found.kind) == (expected, "safety")


@pytest.mark.parametrize(
    ("far_m", "expected"), [(None, "not assessed"), (4.5, "failed"), (6.0, "passed")]
)
def test_exhaust_is_far_from_openings(far_m, expected):
    # Emmerich and Wang, NIST 2011, abstract: more than 15 feet, which is 4.572 m.
    assert float(EXHAUST_M) == pytest.approx(15.0 * 0.3048, abs=0.05)
    (found,) = [check for check in generator_checks(with_generator(from_openings_m=far_m))
                if check.rule == "powerroom/generator-exhaust"]
    assert found.outcome == expected


def test_a_place_that_nobody_gave_is_marked_as_assumed():
    checks = {check.rule: check for check in generator_checks(with_generator())}
    assert checks["powerroom/generator-place"].evidence == "assumed"
    assert generator_checks(site_with()) == []


def test_acid_goes_by_its_trait():
    said = {kind: " ".join(task_cautions(site_with(battery={"chemistry": kind})).get("battery", ()))
            for kind in ("flooded", "agm", "gel", "lifepo4")}
    assert ["liquid acid" in said[kind] for kind in said] == [True, False, False, False]
    assert ["hydrogen" in said[kind] for kind in said] == [True, True, True, False]
    assert "burning-cells" in keys(site_with(battery={"chemistry": "lifepo4"}))
    assert not keys(site_with(battery={"chemistry": "lifepo4"})) & {
        "hydrogen", "liquid-acid", "held-acid"}


@settings(max_examples=40, deadline=None)
@given(site=SITES["sites"]())
def test_any_site_reads_of_what_it_has_and_of_nothing_else(site):
    found = keys(site)
    assert ("carbon-monoxide" in found) == site.generator.there
    assert ("hydrogen" in found) == (site.battery.traits.gas is not None)
    assert ("carbon-dioxide" in found) == (site.room.extinguisher == "CO2")
    assert ("feed-back" in found) == site.grid.there
    assert found >= {"light", "arc", "roof", "short-circuit", "fault-voltage"}
    checks = generator_checks(site)
    assert bool(checks) == site.generator.there
    if site.generator.there and site.generator.place == "battery room":
        assert any(check.outcome == "failed" for check in checks)


def test_a_generator_is_met_in_every_paper():
    design = open_design("orchard-shop", {"generator": {"power_w": 3000.0}})
    alarm = design.installation.by_key["co-alarm"]
    assert alarm.place == "house"
    sounds = [(line.what, line.where) for line in design.test_lines]
    assert sounds.index(("carbon monoxide alarm sounds", alarm.where)) < next(
        number for number, (what, _) in enumerate(sounds) if what.startswith("generator starts"))
    assert "co-alarm" in {line.item for line in bill_of(design.installation, None, 0.0)}
    signs = " ".join(label.words for label in design.installation.by_key["generator"].labels)
    assert "Exhaust kills" in signs
    tasks = {task.key: task.caution for task in design.programme.tasks}
    assert "carbon monoxide" in tasks["generator"]
    assert "starts automatically" in tasks["connections"]
    assert tasks["generator"].endswith("local codes and licensed practice take precedence")
    assert {"danger_generator", "danger_fuel"} <= set(customer_facts(design).dangers)
    without = open_design("orchard-shop")
    assert "co-alarm" not in without.installation.by_key
    assert not any("monoxide" in line.what for line in without.test_lines)
    assert "monoxide" not in " ".join(task.caution for task in without.programme.tasks)
    assert customer_facts(without).dangers == ()


def test_no_text_asks_anybody_to_work_in_the_dark():
    folder = data_folder()
    texts = [path.read_text(encoding="utf-8") for kind in ("*.toml", "*.csv")
             for path in [*folder.glob(kind), *folder.glob(f"words/{kind}"),
                          *folder.glob(f"messages/{kind}")]]  # fmt: skip
    code = Path(__file__).resolve().parents[1] / "solarcalc"
    texts += [path.read_text(encoding="utf-8") for path in code.rglob("*.py")]
    for text in texts:
        assert not re.search(r"work\w* (in the dark|at night|by night)", text)
    light = tomllib.loads((folder / "dangers.toml").read_text(encoding="utf-8"))["light"]
    assert "opaque sheet" in light["measure"]
    assert "opaque sheet" in light["caution"]


ROOFS = ("steep-roof", "sheet-roof", "tile-roof")


@given(slope_deg=some.floats(0.0, 45.0), covering=some.sampled_from([None, "concrete", "sheet",
                                                                     "tile"]))
@settings(max_examples=40, deadline=None)
def test_a_roof_brings_the_dangers_of_its_slope_and_covering_alone(slope_deg, covering):
    """hand: 4 in 12 is atan(1/3), 18.4 degrees."""
    base = site_with()
    site = base.model_copy(update={
        "roof": base.roof.model_copy(update={"slope_deg": slope_deg}),
        "structure": base.structure.model_copy(update={"covering": covering})})  # fmt: skip
    wanted = {f"{covering}-roof"} & set(ROOFS) | ({"steep-roof"} if slope_deg > 18.4 else set())
    assert keys(site) & set(ROOFS) == wanted
    said = task_cautions(site)
    for one in dangers():
        if one.key in ROOFS:
            assert all((one.caution in said.get(task, ())) == (one.key in wanted)
                       for task in one.tasks)  # fmt: skip


def test_what_is_said_of_a_roof_is_said_in_the_crews_language():
    for one in dangers():
        if one.key in ROOFS:
            assert untranslated(one.caution, "fr") == () == untranslated(one.danger, "fr")


TREAD = {"sheet": "Boards to spread the load on sheets", "tile": "Padded boards, to tread on tiles"}


@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_tools_and_spares_are_those_of_the_roof(name):
    """A tiled roof asks for spare tiles, a steep one for a ladder to work from; no other does."""
    design = open_design(name)
    tools = {row["item"] for row in tool_rows(design.installation, design.programme)}
    loaded = {one.name for one in picks_of(design.installation, design.bill, design.programme)}
    kinds = {one.structure.covering for one in design.site.sites}
    steep = max(one.roof.slope_deg for one in design.site.sites) > 18.4
    assert ("Roof ladder with ridge hook" in tools) == steep
    assert {kind for kind, tool in TREAD.items() if tool in tools} == kinds & set(TREAD)
    assert ("Tile, spare" in loaded) == ("tile" in kinds)
