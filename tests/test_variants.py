"""Variants: SITE:variant, a change of the design and a file with ``base`` are one and the same."""

from __future__ import annotations

import runpy
import tempfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import Design, open_design
from solarcalc.sitefile.read import as_variant, read_site, with_changes
from solarcalc.sitefile.variants import OWN
from solarcalc.variants import compare, differing, figures_of, variants_of
from solarcalc.views import levers, quote

TESTS = Path(__file__).parent
SITES = runpy.run_path(str(TESTS / "site_files.py"))
toml_of = runpy.run_path(str(TESTS / "test_renamed.py"))["written"]
values_of = runpy.run_path(str(TESTS / "frozen_values.py"))["values_of"]
CLINIC = demo_sites()["ridge-clinic"]
EXAMPLES = 15
FEW = settings(max_examples=max(3, EXAMPLES // 5), deadline=None,
               suppress_health_check=list(HealthCheck))  # fmt: skip
MANY = settings(max_examples=2 * EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))


def plain_tables(value: Any) -> Any:
    """Tables without what a TOML file cannot hold: the None that leaves the file's own."""
    if isinstance(value, Mapping):
        return {key: plain_tables(one) for key, one in value.items() if one is not None}
    return [plain_tables(one) for one in value] if isinstance(value, list) else value


@some.composite
def drawn(draw: some.DrawFn) -> dict[str, Any]:
    """Some tables of a random change of the clinic."""
    changes = draw(SITES["site_changes"]())
    del changes["variants"]
    names = draw(some.sets(some.sampled_from(sorted(changes)), min_size=1))
    found: dict[str, Any] = plain_tables({name: changes[name] for name in names})
    return found


@some.composite
def shuffled(draw: some.DrawFn, value: Any) -> Any:
    """The same tables with their keys in another order."""
    if not isinstance(value, Mapping):
        return value
    return {key: draw(shuffled(value[key])) for key in draw(some.permutations(list(value)))}


@cache
def clinic() -> Design:
    return open_design("ridge-clinic")


def sound(tables: Mapping[str, Any]) -> bool:
    try:
        return bool(with_changes(read_site(CLINIC), tables))
    except InputError:
        return False


def based(folder: Path, tables: Mapping[str, Any]) -> tuple[Path, Path]:
    """A copy of the clinic with the tables as its variant, and a file that is based on it."""
    whole, part = folder / "whole.toml", folder / "part.toml"
    row = toml_of({"name": "Other", **tables}, folder / "row.toml").read_text("utf-8")
    before, found, after = CLINIC.read_text("utf-8").partition("[[variants]]\n")
    _, ended, rest = after.partition("[programme]")
    assert found
    assert ended
    text = f"{before}[programme]{rest}\n[[variants]]\n{row}"
    files = CLINIC.parent.parent.as_posix()  # of tests and logger: the copy stands elsewhere
    whole.write_text(text.replace('"../', f'"{files}/'), "utf-8")
    toml_of({"base": "whole.toml", **tables}, part)
    return whole, part


@pytest.mark.slow
@MANY
@given(tables=drawn(), data=some.data())
def test_a_variant_a_change_and_a_based_file_are_the_same_site(
    tables: dict[str, Any], data: some.DataObject
) -> None:
    """Or have the same faults, whatever the order of their keys."""
    event("sound" if sound(tables) else "not sound")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        mixed = data.draw(shuffled(tables))
        try:
            changed = with_changes(read_site(CLINIC), tables)
        except InputError as error:
            told = {(fault.given, fault.allowed) for fault in error.faults}
            whole, part = based(folder, mixed)
            for path, label in ((whole, 'whole.toml, variant "Other": '), (part, "part.toml: ")):
                with pytest.raises(InputError) as caught:
                    read_site(path)
                assert {(one.given, one.allowed) for one in caught.value.faults} == told
                assert all(one.where.startswith(label) for one in caught.value.faults)
            return
        whole, part = based(folder, mixed)
        one, own, file = as_variant(read_site(whole), " oTHER"), read_site(whole), read_site(part)
        again = with_changes(own, tables)
        assert one.site == again.site == file.site
        assert one.written == again.written == file.written
        assert one.equipment_keys == file.equipment_keys == changed.equipment_keys
        same = set(type(changed.site).model_fields) - {"variants", "commissioning", "logger"}
        assert all(getattr(one.site, key) == getattr(changed.site, key) for key in same)
        assert own.site.array == read_site(CLINIC).site.array, "a variant changes nothing itself"


@pytest.mark.slow
@FEW
@given(tables=drawn())
def test_each_gives_the_same_values_bill_and_checks(tables: dict[str, Any]) -> None:
    with tempfile.TemporaryDirectory() as name:
        try:
            whole, part = based(Path(name), tables)
            own = open_design(whole)
            own.offer, own.checks  # noqa: B018  stages are kept where they stand
            found = {"anew": open_design(f"{whole}:Other"), "kept": own.variant("Other"),
                     "changed": own.changed(tables), "file": open_design(part)}  # fmt: skip
            table = compare(found)
        except InputError:
            event("no design")
            return
        assert differing(table).empty, differing(table)
        values = [(one.checks, one.bill, quote.values(one), one.fingerprint)
                  for one in found.values()]  # fmt: skip
        assert all(one == values[0] for one in values)


@pytest.mark.slow
@FEW
@given(names=some.sets(some.sampled_from(["array", "battery", "loads", "runs", "quote"]),
                       min_size=1))
def test_a_variant_without_differences_is_its_base_in_every_value(names: set[str]) -> None:
    own = clinic()
    tables = {name: own.sitefile.written[name] for name in names}
    same = own.changed({"variants": [{"name": "Same", **tables}]})
    found = variants_of(same)
    assert values_of(found["Same"]) == values_of(own)
    assert found["Same"].checks == own.checks
    assert differing(compare(found)).empty
    assert figures_of(found["Same"]) == figures_of(own)


def test_a_file_that_says_nothing_else_is_its_base(tmp_path: Path) -> None:
    whole, _ = based(tmp_path, {"array": {"module_count": 7}})
    bare = toml_of({"base": "whole.toml"}, tmp_path / "bare.toml")
    assert read_site(bare).site == read_site(whole).site
    assert open_design(bare).fingerprint == open_design(whole).fingerprint == clinic().fingerprint


@pytest.mark.slow
@FEW
@given(some.lists(drawn(), min_size=2, max_size=2))
def test_a_comparison_reads_the_same_from_both_sides(changes: list[dict[str, Any]]) -> None:
    try:
        one, other = (clinic().changed(tables) for tables in changes)
        there, back = compare({"a": one, "b": other}), compare({"b": other, "a": one})
    except InputError:
        event("no design")
        return
    assert there.sort_index().equals(back[["a", "b"]].sort_index())
    assert set(differing(there).index) == set(differing(back).index)
    for design in (one, other):
        assert differing(compare([design, design])).empty
        assert not [name for name in compare([design, design]).index if ": " in name]


def test_what_differs_is_told_and_nothing_else() -> None:
    """By hand: seven modules in place of fourteen are one key, half the array."""
    found = variants_of(clinic())
    table = differing(compare({OWN: found[OWN], "less": found["One string only"]}))
    keys = [name for name in table.index if name.startswith("site file: ")]
    assert keys == ["site file: array.module_count"]
    assert list(table.loc[keys[0]]) == ["14", "7"]
    assert table.loc["array [kWp]", "less"] == pytest.approx(
        table.loc["array [kWp]", OWN] / 2.0, abs=1e-3)
    failed = [name for name in table.index if name.startswith("check, ")
              and table.loc[name, "less"] == "failed"]  # fmt: skip
    assert len(failed) == len(found["One string only"].failed)


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_the_figures_beside_a_design_are_its_own(name: str) -> None:
    design = open_design(name)
    own, *_ = levers.levers_of(design)
    for one in (figures_of(design), own):
        assert one.total == design.offer.total
        assert one.payback_years == design.economics.payback_years
        assert one.supplied_kwh == design.year_energy.supplied_kwh
        assert one.essential_without_supply_h == int(
            design.supply.without_supply("essential").sum())
        assert one.failed_safety + one.failed_other == len(design.failed)
    months = quote.missing_by_month_kwh({OWN: design})[OWN]
    energy = design.year_energy
    assert sum(months) == pytest.approx(energy.demand_kwh - energy.supplied_kwh, abs=1e-6)


def test_a_key_that_a_file_leaves_open_is_not_given_and_no_choice_of_none() -> None:
    """A count left open is one and no lack of it; a grid said to be none is said."""
    open_, said = (open_design("ridge-clinic", change)
                   for change in (None, {"grid": {"kind": "none"}, "controller": {"count": 1}}))
    table = compare([open_, said])
    assert dict(table.loc["site file: grid.kind"]) == {"A": "not given", "B": "none"}
    assert dict(table.loc["site file: controller.count"]) == {"A": "not given", "B": "1"}
    keys = table[table.index.str.startswith("site file: ")]
    assert len(keys) == 2


def test_a_list_emptied_is_told_as_empty_and_no_row_is_alike_throughout() -> None:
    """A generator taken out of [[existing]] left a row of "not given" in every column."""
    own = open_design("harmattan-clinic")
    table = compare([own, own.changed({"existing": [], "generator": {"power_w": 0.0}})])
    assert dict(table.loc["site file: existing"]) == {"A": "not given", "B": "[]"}
    for name, row in table.iterrows():
        if str(name).startswith("site file: "):
            assert len(set(map(str, row))) > 1, name
            assert "" not in set(row), name
