"""The graph of a demo site by hand: counts, sizes, labels, work, and the order of switching off."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

from solarcalc.design import open_design
from solarcalc.installation.schedules import (
    cable_rows,
    label_count,
    label_rows,
    part_rows,
    work_of,
)
from solarcalc.sitefile.read import read_site
from solarcalc.wiring.capacity import factors as capacity_factors

FROZEN = Path(__file__).with_name("frozen")
INSTALLED = runpy.run_path(str(Path(__file__).with_name("installation_cases.py")))["installed"]


def site_of(stem="coral-pharmacy", /, **tables):
    site = read_site(FROZEN / f"{stem}.toml").site
    for table, keys in tables.items():
        site = site.model_copy(update={table: getattr(site, table).model_copy(update=keys)})
    return site


@pytest.fixture(scope="module")
def coral():
    """Strings on two controllers, three strings of units, a grid, a ring of 40 m."""
    return INSTALLED(site_of())


def words_of(built):
    return " ".join(str(row["words on it"]) for row in label_rows(built))


def test_counts_by_hand(coral):
    counts = {part.key: part.count for part in coral.parts}
    assert counts["module"] == 12
    assert counts["string-connector"] == 4
    assert counts["combiner"] == counts["array-isolator"] == counts["controller"] == 2
    assert counts["battery"] == 12
    assert counts["battery-link"] == 9, "three links in each of three strings"
    assert counts["battery-string-fuse"] == 6, "one at each terminal of three strings"
    assert counts["busbar"] == counts["string-bar"] == 2, "plus and minus"
    assert [part.key for part in coral.of_kind("changeover")] == [
        "changeover-essential", "changeover-nonessential"
    ]  # fmt: skip
    assert all(part.bought is None for part in coral.of_kind("changeover")), "inside the inverter"
    assert len(part_rows(coral)) == len(coral.parts)


def test_the_battery_has_its_cables_with_their_fuses(coral):
    cables = {one.key: one for one in coral.cables}
    main, leads = cables["battery_main"], cables["battery_string"]
    assert (main.device, leads.device, leads.count) == ("battery-fuse", "battery-string-fuse", 3)
    assert main.device_a <= main.capacity_a
    assert leads.device_a <= leads.capacity_a
    assert leads.grouped == 3
    # hand: 3 strings, a plus and a minus core each, a lug at both ends of each
    # and two more where its fuse parts it, in each pole
    assert leads.lug_count == 3 * 2 * 2 + 2 * coral.by_key["battery-string-fuse"].count
    through = [coral.by_key[key].poles for key in ("battery-fuse", "battery-isolator")]
    assert main.lug_count == (2 * 2 + 2 * sum(through)) * main.in_parallel
    assert (leads.start, leads.end, main.start, main.end) == (
        "battery", "string-bar", "string-bar", "busbar"
    )  # fmt: skip
    alone = INSTALLED(site_of(battery={"units_in_series": 4, "units_in_parallel": 1}))
    assert "battery_string" not in {one.key for one in alone.cables}
    assert next(one for one in alone.cables if one.key == "battery_main").start == "battery"


def test_more_strings_than_the_table_of_groups_holds_lie_on_the_wall():
    """In one layer more than nine circuits warm one another no more."""
    built = open_design("ridge-clinic", {"battery": {"units_in_parallel": 24}}).installation
    (lead,) = (one.sized for one in built.conductors if one.key == "battery_string")
    assert lead.run.grouped_circuits == 24
    assert capacity_factors(lead.run)["24 circuits together"] == 0.7


def test_a_string_has_lugs_at_its_combiner_alone():
    # hand: a plus and a minus core; the other ends have the connectors of the modules
    built = open_design("coral-pharmacy", {"runs": {"string": {"size_mm2": 6.0}}}).installation
    string = next(one for one in built.cables if one.key == "string")
    assert string.lug_count == 2 * string.count


def test_cores_hold_the_protective_one():
    for phases, cores in ((1, "3: L N PE"), (2, "4: L1 L2 N PE"), (3, "5: L1 L2 L3 N PE")):
        built = INSTALLED(site_of(loads={"phases": phases}))
        rows = {row["run"]: row for row in cable_rows(built)}
        assert rows["Distribution circuit to the essential board"]["cores"] == cores
        (house,) = [one for one in built.cables if one.key == "board_house_essential"]
        assert house.core_m == house.cores * house.length_m


def test_every_string_end_has_its_name(coral):
    rows = label_rows(coral)
    named = [row for row in rows if str(row["label"]).startswith("S1+")]
    assert [(row["label"], row["count"]) for row in named] == [("S1+, S1−", 4)]
    many = INSTALLED(site_of(array={"module_count": 39, "modules_in_series": 3}))
    spans = [row for row in label_rows(many) if "S13" in str(row["label"])]
    assert [(row["label"], row["count"]) for row in spans] == [("S1 to S13, + and −", 52)]
    assert label_count(coral) == sum(row["count"] for row in rows)


def test_every_cable_has_one_name_on_both_ends(coral):
    (row,) = [row for row in label_rows(coral) if str(row["label"]).startswith("W2.1")]
    assert (row["label"], row["count"]) == ("W2.1 to W2.2", 4)
    assert "d.c." in row["words on it"]


def test_labels_follow_what_is_there(coral):
    words = words_of(coral)
    assert "2 sources (inverter with battery, grid)" in words
    assert "V d.c. open circuit" in words
    other = words_of(INSTALLED(site_of("ridge-clinic", grid={"kind": "none"})))
    assert "sources (" not in other
    assert "Switching-off sequence: 1 loads" in other


def test_a_fuse_of_the_battery_says_which_isolator_is_open_first(coral):
    """hand: a fuse is drawn with no current; its bank's isolator is the one that is locked."""
    signs = {part.key: one.words for part in coral.parts for one in part.labels
             if one.label == "Sign 7"}  # fmt: skip
    isolator = coral.by_key["battery-isolator"].tag
    assert [one.words for one in coral.by_key["battery-isolator"].labels
            if one.label == "Sign 13"] == [
        "Battery isolator: isolates the battery from all equipment"]
    assert {"battery-fuse", "battery-string-fuse", "inverter-fuse-essential"} <= set(signs)
    for words in signs.values():
        assert words == f"Battery fuse: withdraw only with {isolator} open and locked"
    two = INSTALLED(site_of(supply={"layout": "separate-banks"}))
    for board in ("essential", "nonessential"):
        (sign,) = [one.words for one in two.by_key[f"battery-fuse-{board}"].labels
                   if one.label == "Sign 7"]  # fmt: skip
        assert sign.endswith(f"{two.by_key[f'battery-isolator-{board}'].tag} open and locked")


def test_a_join_that_stays_names_its_inverter():
    built = INSTALLED(site_of(grid={"kind": "none"}))
    said = [one.labels[0].words for one in built.earths if one.start.startswith("bond-")]
    assert said == [
        f"Neutral of inverter {built.by_key[f'inverter-{board}'].tag} ({board} board): the only"
        " join of this supply. Undo for a test only, all supplies off"
        for board in ("essential", "nonessential")
    ]  # fmt: skip
    assert not any("{" in row["words on it"] for row in label_rows(built))


def test_the_order_of_switching_off_ends_at_the_battery(coral):
    steps = [(coral.step_words(step), len(parts)) for step, parts in coral.switching_off]
    assert steps == [
        ("loads", 2), ("grid", 1), ("inverters", 2), ("array", 1),
        ("controllers, by the switch of their fuse", 1),
        ("battery, no pole earthed", 1), ("main fuse, withdrawn with that isolator open", 1),
    ]  # fmt: skip


def test_work_by_hand(coral):
    work = work_of(coral)
    assert (work["module"], work["controller"], work["inverter"]) == (12, 2, 2)
    assert work["battery_link"] == 9
    assert work["connector_pair"] == 4
    # hand: 8 m of duct from the roof, 12 m to the house, 40 m of the electrode; on walls the
    # trunking is no trench
    assert work["trench_m"] == 60.0
    assert work["cable_m"] == pytest.approx(
            sum(one.core_m for one in (*coral.cables, *coral.leads)))
    assert work["label"] == label_count(coral)
