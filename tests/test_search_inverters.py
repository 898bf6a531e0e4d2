"""Inverters as an axis of the search: each is its design's, none that does not bear its board."""

from __future__ import annotations

import json
from functools import cache

import numpy as np
import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.search.axes import axes_of
from solarcalc.search.bounds import Wish
from solarcalc.search.points import changes_of, point_words
from solarcalc.search.run import run_all
from solarcalc.search.searched import point_at, search
from solarcalc.search.whole import cheapest_for, neighbours_of
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.sitefile.search import several_of
from solarcalc.stages.boards import board_checks, inverter_checks
from solarcalc.supply.energy import energy_kwh
from solarcalc.views.whole_search import Asked, printed

KINDS = sorted(bundled_equipment()["inverters"])
SEVERAL = ["as designed", *(f"{count}{key}" for count in ("", "2 x ", "3 x ") for key in KINDS)]


@cache
def _design(name):
    return open_design(name)


def _few(name, **more):
    """One array and one bank."""
    array = _design(name).site.array
    return {"units_in_parallel": [2], "battery": ["as designed"], "strings": [array.string_count],
            "modules_in_series": [array.modules_in_series], "controllers": [1],
            "orientation": [array.orientation], "planes": [
                {"name": one.name, "strings": [one.array.string_count]}
                for one in _design(name).site.planes], **more}  # fmt: skip


def _designs(searched, every=1):
    """Lines of the table with the design of each."""
    for _, line in searched.table.iloc[::every].iterrows():
        found = searched.found[line["field"]]
        point = point_at(found.systems, int(line["system"]), int(line["plane"]))
        yield line, point, searched.design.changed(
            changes_of(searched.design, point, searched.kits))


@pytest.mark.parametrize("name", ["ridge-clinic", "valley-workshop", "harmattan-clinic"])
def test_a_candidate_is_the_year_of_its_design(name):
    """Efficiency, idle draw and limit of power are those of the inverters tried."""
    searched = search(_design(name), limits=_few(
        name, inverter=SEVERAL[:9], inverter_nonessential=[
            "as designed", "3 x inverter-4300w", "3 x inverter-7300w"]))
    assert len({kit.kinds[3:] for kit in searched.kits}) > 6
    for line, point, design in _designs(searched, every=3):
        assert line["hours"] == design.supply.hours_without_supply("essential")
        missed = energy_kwh(design.supply, "not_supplied")
        assert line["not_supplied_kwh"] == pytest.approx(missed, rel=1e-3, abs=0.1)
        for board, kind in (("essential", point.inverter),
                            ("nonessential", point.inverter_nonessential)):
            built, own = design.site.inverter_of(board), _design(name).site.inverter_of(board)
            if kind == "as designed":
                assert built == own
            else:
                count, key = several_of(kind)
                entry = bundled_equipment()["inverters"][key].values
                assert (built.count, built.label) == (count, entry["label"])
                assert built.continuous_power_w == entry["continuous_power_w"]


@pytest.mark.parametrize("name", ["ridge-clinic", "valley-workshop"])
def test_the_sites_own_inverters_by_their_key_are_as_designed(name):
    """Hours to the last digit and the price to the cent."""
    own = _design(name).site.inverter
    keys = _design(name).sitefile.equipment_keys
    table = search(_design(name), limits=_few(
        name, inverter=["as designed", f"{own.essential.count} x {keys['inverter.essential']}"],
        inverter_nonessential=["as designed",
                               f"{own.nonessential.count} x {keys['inverter.nonessential']}"],
    )).table  # fmt: skip
    kinds = table.groupby(["inverter", "inverter_nonessential"])
    assert len(kinds) == 4
    figures = kinds[["hours", "not_supplied_kwh", "running", "sun_kwh"]].first().to_numpy()
    assert (figures == figures[0]).all()
    prices = kinds["price"].first().to_numpy()
    assert prices == pytest.approx(prices[0], abs=0.01)


@pytest.mark.parametrize("name", ["ridge-clinic", "valley-workshop", "orchard-shop"])
def test_what_does_not_bear_its_board_is_left_out_with_why(name):
    design = _design(name)
    searched = search(design, limits=_few(name, inverter=SEVERAL))
    tried = {kit.kinds.inverter for kit in searched.kits}
    left = {one.value: one.why for one in searched.left_out}
    assert tried | left.keys() == set(SEVERAL)
    assert not tried & left.keys()
    assert all(left.values())
    for kind in SEVERAL[1:]:
        count, key = several_of(kind)
        weak = [check for check in inverter_checks(design.changed(
            {"inverter": {"essential": {"use": key, "count": count}}}), ["essential"])
            if check.outcome == "failed"]  # fmt: skip
        assert (kind in left) == bool(weak), kind
    winner, _ = cheapest_for(searched, most_hours=9000.0)
    if winner is not None:  # what was not tried is told once, with its own reason
        steps = {one.point.inverter for one in neighbours_of(searched, winner)}
        assert not steps & left.keys()
    for _, _, built in _designs(searched, every=4):
        failed = {check.item for check in built.failed}
        assert not failed & {check.item for check in inverter_checks(built, ["essential"])}


@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_checks_of_inverters_are_among_those_of_the_boards(name):
    """The same words and outcomes, for both boards and for each."""
    design = _design(name)
    every = {check.key: check.fingerprint for check in board_checks(design, design.supply)}
    both = inverter_checks(design)
    assert len(both) >= 3
    assert all(every[check.key] == check.fingerprint for check in both)
    for board in ("essential", "nonessential"):
        assert {check.key for check in inverter_checks(design, [board])} <= {
            check.key for check in both}


def test_the_price_is_near_the_real_offer():
    """With cables and protection of more inverters, which [costs] does not name."""
    design = _design("ridge-clinic")
    searched = search(design, limits=_few("ridge-clinic", inverter=SEVERAL[:9],
                                          units_in_parallel=[8]))
    own = searched.table[searched.table["inverter"] == "as designed"]
    assert own["price"].iloc[0] == pytest.approx(design.offer.total, rel=0.01)
    for line, _, built in _designs(searched):
        assert line["price"] == pytest.approx(built.offer.total, rel=0.02)


def test_chargers_of_several_inverters_draw_as_much_as_the_sites_own():
    """[supply] gives the charger of one inverter; its power together stays."""
    design = _design("harmattan-clinic")
    whole_w = design.site.charger_limits_w["shared"]
    searched = search(design, limits=_few(
        "harmattan-clinic", inverter=["as designed", "2 x inverter-2700w", "inverter-7300w"]))
    assert len(searched.kits) == 3
    for _, _, built in _designs(searched):
        assert built.site.charger_limits_w["shared"] == pytest.approx(whole_w)


def _own_list(tmp_path, stem, text, **keys):
    """A demo site with a list of its own: an inverter like another with keys beside."""
    entry = {**bundled_equipment()["inverters"]["inverter-4300w"].values, "label": "Own", **keys}
    (tmp_path / "own.toml").write_text("[inverters.own]\n" + "\n".join(
        f"{key} = {json.dumps(value)}" for key, value in entry.items()), encoding="utf-8")
    site = tmp_path / "site.toml"
    path = demo_sites()[stem]
    body = path.read_text(encoding="utf-8").replace("../weather", str(path.parents[1] / "weather"))
    site.write_text(f'equipment_files = ["own.toml"]\n{text(body)}', encoding="utf-8")
    return open_design(site)


def test_an_inverter_for_another_bank_is_left_out(tmp_path):
    """Its plate in the equipment list says so."""
    design = _own_list(tmp_path, "ridge-clinic", lambda body: body, bank_voltage_v=24.0)
    searched = search(design, limits=_few("ridge-clinic", inverter=["as designed", "own"]))
    (left,) = searched.left_out
    assert left.value == "own"
    assert "bank_voltage_v" in left.why
    assert {kit.kinds.inverter for kit in searched.kits} == {"as designed"}


@pytest.mark.parametrize(("beside", "entry"), [
    ("charge_current_a = 30.0", {}), ('residual_type = "A"', {}),
])  # fmt: skip
def test_figures_of_the_own_sheet_are_not_told_of_another_kind(tmp_path, beside, entry):
    def text(body):
        head, tail = body.split("[inverter.essential]\n")
        return f"{head}[inverter.essential]\n{beside}\n{tail}"

    design = _own_list(tmp_path, "ridge-clinic", text, **entry)
    searched = search(design, limits=_few("ridge-clinic", inverter=["as designed", "own"]))
    (left,) = searched.left_out
    assert beside.partition(" ")[0] in left.why
    key, _, value = beside.partition(" = ")
    given = _own_list(tmp_path, "ridge-clinic", text, **{key: json.loads(value)})
    kits = search(given, limits=_few("ridge-clinic", inverter=["as designed", "own"])).kits
    assert {kit.kinds.inverter for kit in kits} == {"as designed", "own"}


def test_the_customers_own_inverter_stays():
    design = open_design("ridge-clinic", {"existing": [{
        "kind": "inverter", "label": "Old one", "age_years": 2.0, "count": 1, "used": 1,
        "bank_voltage_v": 48.0, "continuous_power_w": 2700.0, "surge_power_va": 5500.0,
        "efficiency_frac": 0.93, "no_load_power_w": 19.0}]})
    searched = search(design, limits=_few("ridge-clinic", inverter=["as designed", KINDS[2]]))
    assert {kit.kinds.inverter for kit in searched.kits} == {"as designed"}
    assert "customer's own" in searched.left_out[0].why


@pytest.mark.parametrize(("changes", "limits", "said"), [
    ({}, {"inverter": ["no-such"]}, "inverter-1150w"),
    ({}, {"inverter": ["2 x no-such"]}, "inverter-1150w"),
    ({}, {"inverter": ["31 x inverter-1150w"]}, "inverter-1150w"),
    ({"supply": {"layout": "one-inverter"}}, {"inverter_nonessential": ["as designed"]},
     "one-inverter"),
    ({"costs": {"fixed": 900.0}}, {"inverter": ["inverter-4300w"]}, "costs.fixed"),
])  # fmt: skip
def test_inverters_that_cannot_be_tried_are_refused(changes, limits, said):
    with pytest.raises(InputError, match=said):
        axes_of(open_design("ridge-clinic", changes), limits)


def test_one_inverter_for_both_boards_bears_both():
    design = open_design("ridge-clinic", {"supply": {"layout": "one-inverter"},
                                          "inverter": {"essential": {"use": "inverter-7300w"}}})
    searched = search(design, limits=_few("ridge-clinic", inverter=SEVERAL))
    tried = {kit.kinds.inverter for kit in searched.kits}
    assert "inverter-1150w" not in tried
    assert "2 x inverter-4300w" in tried
    for line, _, built in _designs(searched, every=3):
        assert line["hours"] == built.supply.hours_without_supply("essential")


def test_the_cheapest_is_that_of_running_every_one_and_tells_its_inverters():
    """One of 4.3 kW or two of 2.7 kW: the answer is the least of all that pass."""
    searched = search(_design("ridge-clinic"), wish=Wish(most_hours=100.0), limits=_few(
        "ridge-clinic", inverter=["as designed", "inverter-4300w", "2 x inverter-1850w"],
        inverter_nonessential=["inverter-4300w", "2 x inverter-2700w"],
        units_in_parallel=[2, 3], tilt_deg=[10.0, 30.0], row_pitch_m=[4.3]))
    for found in searched.found:
        every = run_all(found.systems, Wish(most_hours=100.0))
        assert found.plane.tolist() == every.plane.tolist()
        assert np.array_equal(found.figures, every.figures, equal_nan=True)
    winner, refused = cheapest_for(searched, most_hours=100.0)
    passing = [line["price"] for line, _, built in _designs(searched)
               if line["hours"] <= 100.0 and not any(one.kind == "safety" for one in built.failed)]
    assert winner.price == pytest.approx(min(passing))
    assert winner.point.inverter_nonessential in point_words(winner.point)
    several = neighbours_of(searched, winner)
    assert {"inverter", "inverter_nonessential"} <= {one.axis for one in several}
    said = list(printed(Asked(searched=searched, answers={"any": (winner, refused)},
                              neighbours={"any": several}, front=None)))
    assert any("nonessential inverter 2 x inverter-2700w" in line for line in said)
    assert not any("stay as designed: inverters" in line for line in said)


def test_what_a_winner_fails_beside_safety_is_told():
    """A start beyond the site's own inverter is no promise of hours, and blocks an offer."""
    design = open_design("ridge-clinic", {"inverter": {"essential": {
        "use": "inverter-1150w", "surge_power_va": 1150.0}}})
    searched = search(design, limits=_few("ridge-clinic", units_in_parallel=[8]))
    winner, refused = cheapest_for(searched, most_hours=9000.0)
    failed = [one for one in winner.design.failed if one.kind != "safety"]
    assert any("start" in one.item for one in failed)
    said = list(printed(Asked(searched=searched, answers={"any": (winner, refused)},
                              neighbours={"any": ()}, front=None)))
    for one in failed:
        assert any(f"it fails, {one.kind}: {one.item}: {one.found_words}" in line for line in said)
