"""A site file with changes: judged by what differs, with the same answer as when all is judged."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.sitefile.read import SiteFile, read_site, with_changes
from solarcalc.sitefile.site import Site

SITE_FILES = runpy.run_path(str(Path(__file__).parent / "site_files.py"))
WRONG: list[dict[str, Any]] = [
    {"battery": {"units_in_parallel": True}}, {"array": {"rows": 1.0}},
    {"array": {"tilt_deg": 95.0}}, {"supply": {"one_inverter": "yes"}},
    {"controller": {"count": 0}}, {"array": {"module_count": 13}}, {"module": {"use": "none"}},
    {"array": {"tilt": 5.0}}, {"grid": {"limit_w": -1.0}},
]


def judged(sitefile: SiteFile, changes: dict[str, Any]) -> tuple[Any, ...]:
    """What a change comes to: the site with what was written of it, or its faults."""
    try:
        found = with_changes(sitefile, changes)
    except InputError as error:
        return tuple(map(str, error.faults))
    return found.site, found.written, given_keys(found.site), found.equipment_keys, found.slug


def given_keys(site: Site) -> dict[str, Any]:
    """What of each table was written."""
    return {name: getattr(getattr(site, name), "model_fields_set", None)
            for name in Site.model_fields}  # fmt: skip


def whole(sitefile: SiteFile) -> SiteFile:
    """The same, of which no table is taken as judged."""
    return replace(sitefile, as_written=None)


@given(SITE_FILES["site_changes"]() | SITE_FILES["two_plane_changes"](), some.sampled_from(WRONG))
@settings(deadline=None, max_examples=40)
def test_a_change_is_judged_as_if_all_were(changes: dict[str, Any], wrong: dict[str, Any]) -> None:
    base = SITE_FILES["_base"]()
    assert judged(base, changes) == judged(whole(base), changes)
    once = with_changes(base, changes)
    for then in (wrong, {"array": {"tilt_deg": 12.5}}, {"runs": {"dc_main": {"length_m": 9.0}}}):
        assert judged(once, then) == judged(whole(once), then)


@pytest.mark.parametrize("name", sorted(demo_sites()))
@pytest.mark.parametrize("wrong", WRONG, ids=str)
def test_no_value_passes_because_it_equals_another(name: str, wrong: dict[str, Any]) -> None:
    """True equals 1 and 1 equals 1.0, and a key takes only one of them."""
    site = read_site(demo_sites()[name])
    assert judged(site, wrong) == judged(whole(site), wrong)


@given(SITE_FILES["two_plane_changes"](), some.integers(0, 359))
@settings(deadline=None, max_examples=20)
def test_a_copy_of_a_site_has_its_own_roof_planes(changes: dict[str, Any], facing: int) -> None:
    site = with_changes(SITE_FILES["_base"](), changes).site
    assert len(site.sites) == 1 + len(site.planes)
    assert site.sites is site.sites
    array = site.array.model_copy(update={"azimuth_deg": float(facing)})
    turned = site.model_copy(update={"array": array})
    assert turned.sites[0].array.azimuth_deg == facing
    assert turned.sites[1] == site.sites[1]
    assert site.model_copy(update={"planes": []}).sites[0].array == site.array
    assert site == with_changes(SITE_FILES["_base"](), changes).site
