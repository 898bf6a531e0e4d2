"""A site file with changes: judged by what differs, with the same answer as when all is judged.

And a site file with odd tables, read or refused with every fault in our own words.
"""

from __future__ import annotations

import math
import runpy
import shutil
import tempfile
import tomllib
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.sitefile.read import SiteFile, read_site, with_changes
from solarcalc.sitefile.site import Site

SITE_FILES = runpy.run_path(str(Path(__file__).parent / "site_files.py"))
_MUTATIONS = runpy.run_path(str(Path(__file__).with_name("mutations.py")))
odd_tables, toml_of = _MUTATIONS["odd_tables"], _MUTATIONS["toml_of"]
BESIDE: dict[str, Any] = {
    "search": {
        "tilt_deg": {"from": 0, "to": 40, "step": 5}, "strings": [1, 2], "generator_w": [0.0, 3e3],
        "inverter": ["as designed", "2 x inverter-2700w"],
        "planes": [{"name": "East", "strings": [0, 2], "controllers": [1]}],
    },
    "variants": [{"name": "Larger battery", "battery": {"units_in_parallel": 8}},
                 {"name": "Bare", "planes": []}],
}  # fmt: skip
"""Tables put beside those of a demo site."""
NAMES = ("valley-workshop", "ridge-clinic", "plateau-school")
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


@cache
def _tables(name: str) -> dict[str, Any]:
    """Tables of a demo site, with a search and variants."""
    tables = tomllib.loads(demo_sites()[name].read_text(encoding="utf-8"))
    return {**tables, **(BESIDE if "planes" in tables else {})}


def _strange(name: str) -> some.SearchStrategy[dict[str, Any]]:
    """A demo site with odd tables: any of them, or those of several planes, search, variants."""
    whole = _tables(name)
    own = {key: whole[key] for key in ("planes", *BESIDE) if key in whole}
    odd: some.SearchStrategy[dict[str, Any]] = odd_tables(whole)
    return odd | odd_tables(own).map(lambda found: {
        **{key: one for key, one in whole.items() if key not in own}, **found}) if own else odd


def told_in_our_words(error: InputError, file: str) -> None:
    """Each fault names its file, what was given and what is allowed."""
    for fault in error.faults:
        assert file in fault.where or ".toml" in fault.where
        assert fault.given
        assert fault.allowed
        said = f"{fault.allowed} {fault.why} {fault.remedy}"
        assert not any(word in said for word in ("cannot convert", "Traceback", "Error", "e+0"))


@example({**_tables("valley-workshop"), "planes": [{"name": "East", "roof": 1}]})
@example({**_tables("ridge-clinic"), "search": {
    "strings": {"from": 10**400, "to": 10**401, "step": 1}}})
@example({**_tables("ridge-clinic"), "search": {
    "tilt_deg": {"from": 0, "to": math.nan, "step": 1}}})
@given(some.sampled_from(NAMES).flatmap(_strange))
@settings(deadline=None, max_examples=150)
def test_odd_tables_are_read_or_refused_with_file_value_and_what_is_allowed(
    tables: dict[str, Any]
) -> None:
    path = _folder() / "odd.toml"
    path.write_text(toml_of(tables), encoding="utf-8")
    try:
        read_site(path)
    except InputError as error:
        told_in_our_words(error, "odd.toml")


@cache
def _folder() -> Path:
    """A folder with what the demo sites name beside it."""
    place = Path(tempfile.mkdtemp())
    for part in ("weather", "tests", "loggers", "handover", "prices"):
        shutil.copytree(data_folder() / part, place / part)
    (place / "sites").mkdir()
    return place / "sites"


@given(some.sampled_from(NAMES).flatmap(lambda name: some.tuples(
    some.just(name), odd_tables(_tables(name)), odd_tables(_tables(name), most=1))))
@settings(deadline=None, max_examples=150)
def test_odd_changes_are_judged_as_if_all_were(
    drawn: tuple[str, dict[str, Any], dict[str, Any]]
) -> None:
    name, first, then = drawn
    site = _site(name)
    for tables in (first, then):
        changes = {key: one for key, one in tables.items()
                   if toml_of({key: one}) != toml_of({key: site.written.get(key, "")})}
        assert judged(site, changes) == judged(whole(site), changes)
        try:
            site = with_changes(site, changes)
        except InputError as error:
            told_in_our_words(error, site.path.name)


@cache
def _site(name: str) -> SiteFile:
    return read_site(demo_sites()[name])
