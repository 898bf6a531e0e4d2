"""Stages that a changed design keeps: in every stage it is the design of the changed file."""

from __future__ import annotations

import os
import runpy
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.design import Design, open_design
from solarcalc.sitefile.guessed import is_given
from solarcalc.sitefile.planes import plane_change
from solarcalc.sitefile.read import SiteFile, with_changes
from solarcalc.sitefile.site import Site
from solarcalc.stages.kept import stage

HERE = Path(__file__).parent
SITES = runpy.run_path(str(HERE / "site_files.py"))
CHANGES = runpy.run_path(str(HERE / "test_design.py"))["CHANGES"]
STAGES = [name for name, each in vars(Design).items() if isinstance(each, stage)]
EXAMPLES = int(os.environ.get("SOLARCALC_RANDOM_SITES", "15"))


def found_of(design: Design, name: str) -> object:
    """What a stage comes to; where it cannot be worked out, why."""
    try:
        return getattr(design, name)
    except (InputError, NoAnswer) as why:
        return str(why)


def alike(one: Any, other: Any) -> bool:
    """Whether two results are the same to the last figure; a site in them is told by its stages."""
    if one is other or isinstance(one, Site):
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray):
        return np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
    if isinstance(one, pd.DataFrame | pd.Series | pd.Index):
        return one.equals(other)
    if callable(one):  # what is told when it is asked for
        return alike(one(), other())
    if is_dataclass(one):
        return all(alike(getattr(one, each.name), getattr(other, each.name))
                   for each in fields(one))  # fmt: skip
    if isinstance(one, dict):
        return list(one) == list(other) and all(alike(one[key], other[key]) for key in one)
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(map(alike, one, other))
    return bool(one == other) or (one != one and other != other)


def unlike_stages(changed: Design, anew: Design) -> list[str]:
    """Stages that are not those of the design opened anew, of the whole and of each roof plane."""
    return [f"{each.plane} {name}".strip()
            for each, other in zip((changed, *changed.planes), (anew, *anew.planes), strict=True)
            for name in STAGES
            if not alike(found_of(each, name), found_of(other, name))]  # fmt: skip


@some.composite
def one_after_another(draw: some.DrawFn) -> list[tuple[dict[str, Any] | str, list[str]]]:
    """Changes, each with the stages that somebody asks for before the next one."""
    names = draw(some.lists(some.sampled_from([*sorted(CHANGES), *OF_A_PLANE]), min_size=1,
                            max_size=3, unique=True))  # fmt: skip
    asked = some.one_of(some.just(STAGES), some.lists(some.sampled_from(STAGES), max_size=3))
    return [(CHANGES.get(name, name), draw(asked)) for name in names]


OF_A_PLANE: dict[str, dict[str, Any] | None] = {
    "its name": {"name": "Shed roof"},
    "its array": {"array": {"azimuth_deg": 123.0}},
    "its roof": {"roof": {"slope_deg": 21.0}},
    "its cable": {"runs": {"dc_main": {"length_m": 26.0}}},
    "its rails": {"rails": {"foot_spacing_m": 0.8}},
    "its structure": {"structure": {"height_m": 6.5}},
    "its horizon": {"horizon": {"azimuth_deg": [90.0, 270.0], "height_deg": [9.0, 4.0]}},
    "its controller": {"controller": {"efficiency_frac": 0.94}},
    "another beside it": {},
    "one less": None,
}
"""Changes of the second roof plane."""


def on_its_planes(file: SiteFile, change: dict[str, Any] | str) -> dict[str, Any]:
    """The change of a site file; one that is named is of its last roof plane beside the first."""
    if not isinstance(change, str):
        return change
    rows = list(file.written.get("planes", []))
    if not rows:
        return {"quote": {"margin_frac": 0.31}}
    of_plane = OF_A_PLANE[change]
    if of_plane is None:
        return {"planes": rows[:-1]}
    if not of_plane:
        return {"planes": [*rows, {**rows[-1], "name": f"Beside {len(rows)}"}]}
    return plane_change(file.written, len(rows), of_plane, file.site.sites)


@settings(max_examples=max(5, EXAMPLES // 8), deadline=None,
          suppress_health_check=[HealthCheck.too_slow])  # fmt: skip
@given(base=some.one_of(SITES["site_changes"](), SITES["two_plane_changes"]()),
       steps=one_after_another())  # fmt: skip
def test_every_stage_of_a_changed_site_is_that_of_the_file_so_written(
    base: dict[str, Any], steps: list[tuple[dict[str, Any] | str, list[str]]]
) -> None:
    """Whatever was asked for between the changes, and whatever has come to the same again."""
    file = with_changes(SITES["_base"](), base)
    changed = open_design(file)
    for name in STAGES:
        found_of(changed, name)
    for named, asked in steps:
        change = on_its_planes(file, named)
        try:
            file = with_changes(file, change)
        except InputError:  # what does not go together: the design before it stands
            continue
        changed = changed.changed(change)
        for name in asked:
            found_of(changed, name)
    assert not unlike_stages(changed, open_design(file))


@pytest.mark.parametrize("site", ["ridge-clinic", "orchard-shop", "valley-workshop"])
def test_a_longer_cable_leaves_what_does_not_hang_on_its_length(site: str) -> None:
    """On one roof plane or on several, which have their cables in their own table."""
    own = open_design(site)
    assert own.checks
    length_m = own.electrical.run("dc_main").run.length_m
    longer = own.changed({"runs": {"dc_main": {"length_m": length_m + 0.01}}})
    assert longer.checks
    kept = ["layout", "room", "hardware", "supply", "run_loads"]
    if is_given(own.site, "earthing.bar_to_modules_m"):  # else they go beside that cable
        kept += ["earth", "test_lines"]
    for name in kept:
        assert getattr(longer, name) is getattr(own, name), name
    assert longer.electrical is not own.electrical
    assert not longer.earlier.keys() & set(STAGES)


def test_what_was_before_is_held_for_one_change_alone() -> None:
    """However many changes follow one another, no design holds those before the last."""
    design = open_design("ridge-clinic")
    first = design.supply
    for number in range(1, 4):
        design = design.changed({"battery": {"units_in_parallel": number}})
        if number > 1:
            assert all(one.value is not first for one in design.earlier.values())
        assert design.supply is not first
    assert "supply" not in design.earlier


def test_nothing_that_is_shared_is_changed() -> None:
    """What a design has worked out is the same after designs changed from it were asked for all."""
    own, same = open_design("ridge-clinic"), open_design("ridge-clinic")
    for name in STAGES:
        found_of(own, name)
    for change in CHANGES.values():
        try:
            changed = own.changed(change)
        except InputError:
            continue
        for name in STAGES:
            found_of(changed, name)
    assert not unlike_stages(own, same)
