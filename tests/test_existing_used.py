"""What is there already enters design, checks, bill and price: ``used`` of [[existing]].

Sites are drawn or invented: no source.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as some

from solarcalc.basis.check import Check
from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.messages import languages, messages
from solarcalc.battery.existing_battery import LEAST_LEFT_FRAC, bank_left_frac
from solarcalc.checking.lines import answer_of
from solarcalc.design import Design, open_design
from solarcalc.documents.booklet import have_lines
from solarcalc.documents.catalogue import documents_of
from solarcalc.documents.handover_file import _list_page
from solarcalc.documents.making import Making
from solarcalc.documents.tree import texts_of
from solarcalc.quote.offer import paid_for
from solarcalc.report.handover_facts import CustomerFacts
from solarcalc.sitefile.bill_items import ITEMS, kind_of
from solarcalc.sitefile.existing import Existing
from solarcalc.stages.owned import used_of
from solarcalc.views.handover import customer_facts
from solarcalc.views.sitepack import picks

UNBUILT: dict[str, dict[str, Any]] = {
    "commissioning": {"results": ""}, "logger": {"file": ""}, "handover": {"serials": ""}}
FEW = settings(deadline=None, max_examples=25)
TESTED = {"tested_by": "A. Mechanic", "tested_on": "2026-11-02"}


@cache
def base(stem: str = "ridge-clinic") -> Design:
    return open_design(stem, UNBUILT)


def part(item: str, used: int, **more: Any) -> dict[str, Any]:
    return {"kind": "part", "label": f"Own {item}", "item": item, "age_years": 3.0,
            "count": max(used, 1), "used": used, **more}  # fmt: skip


def battery(design: Design, used: int, **more: Any) -> dict[str, Any]:
    own = design.site.battery
    return {"kind": "battery", "label": "Old bank", "age_years": 3.0, "count": max(used, 1),
            "used": used, "chemistry": own.chemistry, "unit_voltage_v": own.unit_voltage_v,
            "unit_capacity_ah": own.unit_capacity_ah,
            "rated_discharge_h": own.rated_discharge_h, **more}  # fmt: skip


def generator(design: Design, **more: Any) -> dict[str, Any]:
    return {"kind": "generator", "label": "Old set", "age_years": 8.0, "count": 1, "used": 1,
            "power_w": design.site.generator.power_w, **more}  # fmt: skip


def rules(checks: tuple[Check, ...]) -> dict[str, Check]:
    return {one.rule: one for one in checks}


# properties of any bill


@pytest.mark.slow
@FEW
@given(data=some.data())
def test_owned_and_bought_add_up_and_no_price_rises(data: some.DataObject) -> None:
    design = base(data.draw(some.sampled_from(["ridge-clinic", "plateau-school"])))
    lines = data.draw(some.lists(some.sampled_from(design.bill), min_size=1, max_size=3,
                                 unique_by=lambda line: line.key))  # fmt: skip
    things = [part(line.key, data.draw(some.integers(0, min(1000, 2 * int(line.quantity) + 1))))
              for line in lines]  # fmt: skip
    changed = design.changed({"existing": things})
    for line in design.bill:
        both = [one.quantity for one in changed.bill if one.place == line.key]
        assert sum(both) == pytest.approx(line.quantity, abs=2e-6)
    assert changed.offer.total <= design.offer.total
    assert changed.offer.labour_cost == design.offer.labour_cost
    for used in used_of(changed.bill, changed.site.existing):
        assert used.quantity + used.left_over == pytest.approx(used.thing.used)
        assert used.quantity <= used.thing.count
    free = [one for one in changed.offer.lines if one.line.owned]
    assert all(one.cost == 0.0 and one.row == "" for one in free)


@pytest.mark.slow
@FEW
@given(data=some.data())
def test_more_of_a_part_owned_never_raises_the_price(data: some.DataObject) -> None:
    design = base()
    line = data.draw(some.sampled_from(design.bill))
    counts = sorted(data.draw(some.lists(some.integers(0, 60), min_size=2, max_size=3)))
    totals = [design.changed({"existing": [part(line.key, count)]}).offer.total
              for count in counts]  # fmt: skip
    assert totals == sorted(totals, reverse=True)


@pytest.mark.parametrize("name", list(demo_sites()))
def test_what_is_there_and_not_used_changes_nothing(name: str) -> None:
    design = base(name)
    idle = [*design.sitefile.written.get("existing", []),
            battery(design, 0, measured_capacity_ah=1.0, measured_discharge_h=5.0),
            part("board", 0)]  # fmt: skip
    changed = design.changed({"existing": idle})
    assert changed.bill == design.bill
    assert changed.offer == design.offer
    assert changed.all_checks == design.all_checks
    assert changed.fingerprint == design.fingerprint
    assert changed.year_energy == design.year_energy


# the battery


@FEW
@given(used=some.integers(0, 20), share=some.floats(0.0, 1.3), series=some.integers(1, 4),
       parallel=some.integers(1, 5))  # fmt: skip
def test_a_bank_has_the_weakest_unit_of_each_string(
    used: int, share: float, series: int, parallel: int
) -> None:
    own = base("plateau-school").site.battery.model_copy(
        update={"units_in_series": series, "units_in_parallel": parallel})
    thing = battery(base("plateau-school"), used, rated_discharge_h=10.0)
    measured = thing | {"measured_capacity_ah": share * thing["unit_capacity_ah"],
                        "measured_discharge_h": 10.0}  # fmt: skip
    left = bank_left_frac(own, [Existing.model_validate(measured)])
    old = -(-min(used, series * parallel) // series)  # by hand: strings that hold an old unit
    wanted = (old * min(share, 1.0) + parallel - old) / parallel
    assert left == pytest.approx(max(wanted, LEAST_LEFT_FRAC))
    assert bank_left_frac(own, [Existing.model_validate(thing)]) == 1.0


def test_the_year_runs_on_the_capacity_that_was_measured() -> None:
    design = base("plateau-school")
    own, need = design.site.battery, design.site.battery.unit_count
    measured = {"measured_capacity_ah": 0.8 * own.unit_capacity_ah,
                "measured_discharge_h": own.rated_discharge_h}  # fmt: skip
    changed = design.changed({"existing": [battery(design, need, **measured, **TESTED)]})
    before, after = (sum(bank.capacity_wh for bank in one.supply.system.banks)
                     for one in (design, changed))  # fmt: skip
    assert after == pytest.approx(0.8 * before)
    told, new = (customer_facts(one).full_wh for one in (changed, design))
    assert told == pytest.approx(0.8 * new)  # "full, they hold": as tested, not as on the plate
    assert changed.year_energy.supplied_kwh <= design.year_energy.supplied_kwh
    found = rules(changed.all_checks)
    assert found["stages/owned-tested"].outcome == "passed"
    assert found["stages/owned-plate"].outcome == "passed"
    assert found["stages/owned-mixed-battery"].outcome == "passed"
    (line,) = [one for one in changed.bill if one.item == "battery"]
    assert line.owned == "Old bank"
    anew, bought = (paid_for(one.offer, ["battery"]) for one in (changed, design))
    assert anew == pytest.approx(bought)  # when it is replaced it is bought


def test_fewer_units_than_needed_are_a_mixed_lot_and_the_rest_is_bought() -> None:
    design = base("plateau-school")
    need = design.site.battery.unit_count
    changed = design.changed({"existing": [battery(design, need - 1)]})
    found = rules(changed.all_checks)
    assert found["stages/owned-mixed-battery"].outcome == "review"
    tested = found["stages/owned-tested"]
    assert (tested.outcome, tested.kind) == ("review", "safety")
    assert "discharge it at constant current" in tested.remedy
    assert [one.quantity for one in changed.bill if one.item == "battery"] == [1.0, need - 1.0]


def test_sixteen_units_of_6_v_are_the_design_or_are_refused_by_their_plate() -> None:
    design = base("plateau-school")
    units = battery(design, 16, label="Sixteen of 6 V", unit_voltage_v=6.0,
                    chemistry="flooded", unit_capacity_ah=225.0, rated_discharge_h=20.0)
    wrong = rules(design.changed({"existing": [units]}).all_checks)["stages/owned-plate"]
    assert (wrong.outcome, wrong.kind) == ("failed", "safety")
    assert "battery.unit_voltage_v = 6" in wrong.remedy
    right = design.changed({"existing": [units], "battery": {
        "use": "flooded-2v-455ah", "unit_voltage_v": 6.0, "unit_capacity_ah": 225.0,
        "rated_discharge_h": 20.0, "units_in_series": 8, "units_in_parallel": 2}})
    assert rules(right.all_checks)["stages/owned-plate"].outcome == "passed"
    assert [one.owned for one in right.bill if one.item == "battery"] == ["Sixteen of 6 V"]


# other things


def test_an_owned_generator_is_not_bought_and_its_test_counts() -> None:
    design = base().changed({"generator": {"power_w": 3000.0}})
    there = design.changed({"existing": [generator(design)]})
    # hand: 3000 W at 0.28 USD/W
    saved = design.offer.material_cost - there.offer.material_cost
    assert saved == pytest.approx(3000.0 * 0.28)
    assert rules(there.all_checks)["stages/owned-tested"].outcome == "review"
    weak = design.changed({"existing": [generator(design, measured_power_w=2000.0, **TESTED)]})
    assert rules(weak.all_checks)["stages/owned-tested"].outcome == "passed"
    assert rules(weak.all_checks)["stages/owned-measured"].outcome == "failed"
    small = design.changed({"existing": [generator(design) | {"power_w": 2000.0}]})
    assert "generator.power_w = 2000" in rules(small.all_checks)["stages/owned-plate"].remedy


def test_an_inverter_takes_the_place_of_that_of_its_rating() -> None:
    design = base()
    for board, inverter in design.site.inverters.items():
        thing = {"kind": "inverter", "label": "Old inverter", "age_years": 2.0, "count": 1,
                 "used": 1, "bank_voltage_v": 48.0, "efficiency_frac": 0.9,
                 "continuous_power_w": inverter.continuous_power_w, "no_load_power_w": 12.0,
                 "surge_power_va": inverter.surge_power_va}  # fmt: skip
        changed = design.changed({"existing": [thing]})
        (line,) = [one for one in changed.bill if one.owned]
        assert line.size == inverter.continuous_power_w, board
        found = rules(changed.all_checks)
        assert found["stages/owned-plate"].outcome == "passed"
        assert found["stages/owned-tested"].outcome == "review"


@pytest.mark.parametrize(("megohm", "outcome"), [(0.9, "failed"), (1.0, "passed")])
def test_insulation_is_held_to_the_table(megohm: float, outcome: str) -> None:
    """IEC 60364-6 table 6A: 1 megohm at 500 V for circuits up to 500 V, quoted in the table."""
    changed = base().changed({"existing": [part("board", 1, insulation_megohm=megohm)]})
    found = rules(changed.all_checks)["stages/owned-insulation"]
    assert (found.outcome, found.kind) == (outcome, "safety")


@pytest.mark.parametrize(("thing", "where", "said"), [
    (part("board", 3) | {"count": 2}, "existing[1].used", "write used = 2"),
    (part("board", 1) | {"item": ""}, "existing[1].item", "an item or a key of the bill"),
    ({"kind": "part", "label": "A", "age_years": 1.0, "count": 1}, "existing[1].item",
     "a part is known by what it takes the place of"),
    (part("board", 1, tested_by="A. Mechanic"), "existing[1].tested_on", "add tested_on"),
    (part("board", 1, tested_on="2026-11-02"), "existing[1].tested_by", "add tested_by"),
    (part("board", 1, tested_by="A", tested_on="2026-13-02"), "existing[1].tested_on",
     "YYYY-MM-DD"),
    (part("board", 1, power_w=3.0), "existing[1].power_w", 'kind = "part"'),
    (part("bord", 1), "existing[1].item", "did you mean board?"),
])  # fmt: skip
def test_faults_name_the_field_and_what_works(
    thing: dict[str, Any], where: str, said: str
) -> None:
    with pytest.raises(InputError) as caught:
        _ = base().changed({"existing": [thing]}).bill
    (fault,) = caught.value.faults
    assert where in fault.where
    assert said in str(fault)


@FEW
@given(item=some.text("abcdefghijklmnopqrstuvwxyz -", min_size=1, max_size=20))
def test_what_no_bill_has_is_told_with_the_first_list_of_faults(item: str) -> None:
    assume(kind_of(item) is None)
    with pytest.raises(InputError) as caught:
        base().changed({"existing": [part(item, 0), part("board", 3) | {"count": 2}],
                        "array": {"tilt_deg": 95.0}})  # fmt: skip
    told = {re.split("[: ]+", fault.where)[3]: fault for fault in caught.value.faults}
    assert {"existing[1].item", "existing[2].used", "array.tilt_deg"} <= set(told)
    assert told["existing[1].item"].given == item
    assert set(ITEMS) <= set(re.split("[,: ]+", told["existing[1].item"].allowed))


@pytest.mark.parametrize("row", [3, [], "battery", None, True])
def test_a_row_of_a_list_is_asked_for_by_two_brackets(row: Any) -> None:
    with pytest.raises(InputError, match=r"a table, \[\[existing\]\]"):
        base().changed({"existing": [row]})


@pytest.mark.parametrize("name", list(demo_sites()))
def test_every_key_of_a_bill_has_its_kind(name: str) -> None:
    for line in base(name).bill:
        assert {kind_of(key) for key in line.keys} == {ITEMS[line.item]}


@pytest.mark.parametrize("stem", ["ridge-clinic", "harmattan-clinic", "lagoon-house"])
@pytest.mark.parametrize("item", sorted(ITEMS))
def test_what_a_design_has_no_use_for_is_left_over(stem: str, item: str) -> None:
    """A variant without the owned generator was no system: no report, no comparison."""
    own = base(stem).changed({"existing": []})
    changed = own.changed({"existing": [part(item, 1)]})
    (used,) = used_of(changed.bill, changed.site.existing)
    asked = any(item in line.keys for line in own.bill)
    assert (used.left_over == 1.0) == (not asked)
    told = "stages/owned-unneeded" in rules(changed.all_checks)
    assert told == (not asked)
    assert ("stages/owned-tested" in rules(changed.all_checks)) == asked
    if not asked:
        assert changed.offer.total == own.offer.total


@pytest.mark.parametrize(("table", "said"), [
    ({"quote": {"owned": [{"item": "module", "quantity": 2.0}]}}, "[[existing]] with kind, item"),
    ({"generator": {"existing": True}}, 'kind = "generator" and used = 1'),
])  # fmt: skip
def test_the_keys_of_before_say_where_it_stands_now(table: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError) as caught:
        base().changed(table)
    assert said in str(caught.value)


@pytest.mark.slow
def test_check_tells_what_is_used_again_and_what_is_left_over(tmp_path: Path) -> None:
    text = demo_sites()["orchard-shop"].read_text(encoding="utf-8")
    text = text.replace('"../', f'"{demo_sites()["orchard-shop"].parent.parent.as_posix()}/')
    path = tmp_path / "own.toml"
    path.write_text(text + '\n[[existing]]\nkind = "part"\nitem = "board"\nlabel = "Old board"\n'
                    "age_years = 8.0\ncount = 5\nused = 5\n", encoding="utf-8")  # fmt: skip
    said = answer_of(path).text
    assert "owned     Old board: 2 used again, not bought; 3 left over" in said
    assert "review    safety: Used again: Old board: not tested" in said


# papers


@pytest.mark.slow
@pytest.mark.parametrize(("stem", "code", "said"), [
    ("ridge-clinic", "DS", "Customer's own, used again, no warranty of ours:"),
    ("ridge-clinic", "QU", "No warranty of ours covers it."),
    ("plateau-school", "QU", "Aucune garantie de notre part ne le couvre."),
    ("ridge-clinic", "DR", "Customer's own, fitted by us, not covered by any warranty of ours:"),
    ("ridge-clinic", "SP", "on site already: customer's own"),
])
def test_papers_say_what_is_the_customers_own(stem: str, code: str, said: str) -> None:
    status = {"status": {"stage": "offer"}} if code == "QU" else {}
    owned = base(stem).changed({"existing": [part("board", 2, label="Own boards")], **status})
    for design, there in ((owned, True), (owned.changed({"existing": []}), False)):
        text = json.dumps([one.blocks for one in documents_of(code, Making(design=design))],
                          ensure_ascii=False, default=str)  # fmt: skip
        assert (said in text) == there
        if code != "SP":
            assert ("2 × Own boards" in text or "Own boards: 2 used again" in text) == there


@FEW
@given(data=some.data(), language=some.sampled_from(languages()))
def test_what_one_gets_tells_what_is_ones_own(data: some.DataObject, language: str) -> None:
    facts, words = replace(_facts(), generator_w=5000.0), messages(language)
    counts = {"module": facts.module_count, "battery": facts.unit_count, "inverter": 2,
              "generator": 1}  # fmt: skip
    own = {item: data.draw(some.integers(0, count + 1)) for item, count in counts.items()}
    for (item, used), plain, line in zip(
            own.items(), have_lines(facts, words), have_lines(facts, words, own), strict=False):
        added = line.removeprefix(plain).strip()
        all_of_it = words.text("have_own")
        assert line.startswith(plain)
        assert (added == "") == (used == 0)
        assert (added == all_of_it) == (used >= counts[item])
        if added not in ("", all_of_it):
            assert added == words.counted("have_own", used)


@cache
def _facts() -> CustomerFacts:
    return customer_facts(base())


@pytest.mark.parametrize("stem", ["harmattan-clinic", "lagoon-house"])
def test_a_quote_tells_a_thing_of_ones_own_among_what_one_gets(stem: str) -> None:
    """A generator of the clinic's own stood among what it gets, as if it were delivered."""
    design = base(stem)
    own = {one.kind: one.used for one in design.site.existing if one.used}
    words, facts = messages(design.site.firm.language), customer_facts(design)
    (quote,) = documents_of("QU", Making(design=design))
    text = " ".join(texts_of(quote.blocks))
    told = [line for line in have_lines(facts, words, own)
            if line not in have_lines(facts, words)]
    assert len(told) == len(own)
    assert all(line in text for line in told)


def test_the_handover_file_says_it_too() -> None:
    owned = base().changed({"existing": [part("board", 2, label="Own boards")]})
    text = str(list(_list_page(owned, messages("en"))))
    assert "Of your own equipment the system uses: 2 × Own boards." in text
    assert "Of your own" not in str(list(_list_page(base(), messages("en"))))


def test_a_pick_list_loads_what_is_bought_and_tells_what_is_there() -> None:
    line = next(one for one in base().bill if one.item == "module")
    owned = base().changed({"existing": [part("module", 3)]})
    found = picks(owned)
    loaded, there = (sum(one.quantity for one in found if one.key.startswith(line.key)
                         and bool(one.note) is own) for own in (False, True))  # fmt: skip
    assert (loaded, there) == (line.quantity - 3.0, 3.0)
