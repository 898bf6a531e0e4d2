"""A report is of the user's own place and loads, never of the template's."""

from __future__ import annotations

import tempfile
import tomllib
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.batch.run import report_sites
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.template import (
    as_template,
    refuse_template,
    template_faults,
    template_lines,
    template_tables,
)
from solarcalc.sitefile.toml import write_new_site

ASKED = ("site.latitude_deg", "site.longitude_deg", "site.time_zone", "loads.essential",
         "loads.nonessential")  # fmt: skip
OWN_LOADS = {"essential": [{"name": "Radio", "power_w": 10.0, "use": ["08:00-10:00"]}],
             "nonessential": [{"name": "Saw", "power_w": 700.0, "use": ["08:00-09:00"]}]}


def test_a_fresh_file_is_sound_told_and_given_no_report(tmp_path: Path) -> None:
    path = write_new_site("Shop", tmp_path)
    sitefile = read_site(path)
    kept, refused = template_lines(sitefile)
    for place in (*ASKED[:3], "roof.length_m = 12.0", "loads.essential[1] = 'Fridge'"):
        assert place in kept
    assert all(place in refused for place in ASKED)
    with pytest.raises(InputError) as caught:
        refuse_template(sitefile)
    assert [fault.where for fault in caught.value.faults] == [f"shop.toml: {p}" for p in ASKED]
    assert all(fault.given and fault.remedy for fault in caught.value.faults)


def test_the_batch_refuses_it_before_anything_runs(tmp_path: Path) -> None:
    path = write_new_site("Shop", tmp_path)
    result = report_sites([path], tmp_path / "out", warm=False)
    ((failed, reason),) = result.failed
    assert failed == path
    assert "shop.toml: site.latitude_deg\n    given:   36.12" in reason
    assert not (tmp_path / "out" / "shop").exists()


@settings(deadline=None, max_examples=25)
@given(own=some.sets(some.sampled_from(["place", "essential", "nonessential"])))
def test_a_report_is_given_exactly_when_place_and_loads_are_own(own: set[str]) -> None:
    sitefile = read_site(_fresh())
    changes: dict[str, dict[str, object]] = {
        "loads": {board: OWN_LOADS[board] for board in own & OWN_LOADS.keys()}}
    if "place" in own:
        changes["site"] = {"latitude_deg": 36.3, "longitude_deg": -79.5}
    found = template_faults(with_changes(sitefile, changes))
    assert bool(found) == (len(own) < 3)
    assert [f for f in found if "loads" in f.where] == found[3 * ("place" not in own):]


@cache
def _fresh() -> Path:
    """One file for all examples."""
    return write_new_site("Shop", Path(tempfile.mkdtemp()))


@pytest.mark.parametrize("stem", demo_sites())
def test_demo_sites_are_nobodys_template(stem: str) -> None:
    assert template_faults(read_site(demo_sites()[stem])) == []


def test_each_value_of_the_template_is_found_again(tmp_path: Path) -> None:
    text = write_new_site("Shop", tmp_path).read_text(encoding="utf-8")
    written = tomllib.loads(text)
    places = {loc for loc, _ in as_template(written)}
    wanted = {(name, key) for name, table in template_tables().items()
              for key, value in table.items() if not isinstance(value, dict | list)}
    assert wanted - places == {("site", "name")}
    written["array"]["tilt_deg"] = 21.0
    assert ("array", "tilt_deg") not in {loc for loc, _ in as_template(written)}
