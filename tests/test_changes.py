"""What changed since the report before, and that the report before is never lost."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as some

from solarcalc.basis.files import demo_sites, keep_folder, whole_folder
from solarcalc.basis.text import DEVICES, safe_file_name
from solarcalc.batch.changes import changes_since, write_changes
from solarcalc.batch.folders import keep_earlier, shared_folders
from solarcalc.batch.summary import job_record
from solarcalc.design import open_design
from solarcalc.sitefile.read import SiteFile, read_site

OF = " (required 2 m)"


def check(key: str, outcome: str, found: str = "1", **more: Any) -> dict[str, Any]:
    return {"key": key, "rule": key.partition(":")[0], "item": f"Thing {key}", "outcome": outcome,
            "found": found, "limit": "2", "unit": "m", "kind": "safety", "accepted": "", **more}


def record(made: str = "2026-11-01T10:00:00+00:00", **changed: Any) -> dict[str, Any]:
    job = {"stage": "design", "revision": "A", "price_status": "example", "array_kwp": 7.2,
           "supplied_kwh": 4863.2, "without_supply_h": 0, "price": 17050.0, "days": 5,
           "bill": [{"key": "module", "name": "module", "quantity": 14, "unit": "each"}],
           "cables": [{"key": "main", "name": "PV DC main cable", "size": "25 mm²",
                       "in_parallel": 1, "length_m": 22.0}], **changed}
    return {"schema": 4, "site": {"made": made, "name": "Hill Shop", "customer": "C",
                                  "file_name": "a.toml"},
            "workbooks": {"yield": {"values": {"loss_frac": 0.125, "kept": 3}}},
            "checks": [], "job": job}


def test_numbers_checks_bill_and_cables_are_told_by_hand() -> None:
    old, new = record(), record(array_kwp=6.2, without_supply_h=3, revision="B",
                                bill=[{"key": "module", "name": "module", "quantity": 12,
                                       "unit": "each"},
                                      {"key": "rod", "name": "earth rod", "quantity": 2,
                                       "unit": "each"}], cables=[])
    old["checks"] = [check("a/mended:x", "failed"), check("a/breaks:x", "passed"),
                     check("a/taken:x", "review"), check("a/moves:x", "passed"),
                     check("a/leaves:x", "passed"), check("a/stays:x", "review")]
    new["checks"] = [check("a/mended:x", "passed"), check("a/breaks:x", "failed", "3"),
                     check("a/taken:x", "review", accepted="A. Lead"),
                     check("a/moves:x", "passed", "1.5"), check("a/comes:x", "review"),
                     check("a/stays:x", "review")]
    new["workbooks"]["yield"]["values"]["loss_frac"] = 0.2
    found = changes_since(old, new)
    told = {(one.kind, one.what, one.old, one.new, one.how) for one in found.rows}
    assert told == {
        ("job", "revision", "A", "B", "changed"),
        ("check", "Thing a/breaks:x", f"passed: 1 m{OF}", f"failed: 3 m{OF}", "now failed"),
        ("check", "Thing a/comes:x", "", f"review: 1 m{OF}", "opened"),
        ("check", "Thing a/moves:x", f"passed: 1 m{OF}", f"passed: 1.5 m{OF}", "changed"),
        ("check", "Thing a/mended:x", f"failed: 1 m{OF}", f"passed: 1 m{OF}", "closed"),
        ("check", "Thing a/taken:x", f"review: 1 m{OF}", f"review, accepted: 1 m{OF}", "closed"),
        ("check", "Thing a/leaves:x", f"passed: 1 m{OF}", "", "gone"),
        ("number", "array [kWp]", "7.20", "6.20", "changed"),
        ("number", "without supply [h]", "0", "3", "changed"),
        ("number", "yield: loss [%]", "12.5", "20.0", "changed"),
        ("bill", "module", "14 each", "12 each", "changed"),
        ("bill", "earth rod", "", "2 each", "new"),
        ("cable", "PV DC main cable", "25 mm², 22 m", "", "gone"),
    }
    assert found.sentence == (
        "Since the report of 2026-11-01, revision A: revision from A to B; 1 check now failed"
        " (1 of safety); 1 check to review anew (1 of safety); 2 checks closed (2 of safety);"
        " 1 check with other values (1 of safety); 1 check gone (1 of safety); 3 numbers changed;"
        " 2 lines of the bill changed; 1 cable changed.")


@given(some.integers(0, 4), some.floats(0.0, 50.0), some.booleans())
def test_a_record_is_like_itself_and_a_change_is_told_both_ways(
    days: int, kwp: float, failed: bool
) -> None:
    old, new = record(), record(days=days, array_kwp=kwp)
    new["checks"] = [check("a/b:x", "failed" if failed else "passed")]
    assert changes_since(new, deepcopy(new)).rows == ()
    assert changes_since(new, new).sentence.endswith("nothing changed.")
    there, back = changes_since(old, new).rows, changes_since(new, old).rows
    assert {(one.what, one.old, one.new) for one in there} == {
        (one.what, one.new, one.old) for one in back}


def test_a_report_of_an_older_form_is_compared_by_what_it_has() -> None:
    old = record()
    del old["job"]
    assert {one.kind for one in changes_since(old, record()).rows} == set()


def test_a_changed_design_is_told_by_its_own_records() -> None:
    design = open_design("orchard-shop")
    other = design.changed({"battery": {"units_in_parallel": 6}})
    old, new = ({**record(), "job": job_record(one)} for one in (design, other))
    rows = {(one.kind, one.what): (one.old, one.new) for one in changes_since(old, new).rows}
    # hand: 25.6 V x 142 Ah is 3.6352 kWh a unit
    assert rows["number", "battery energy, rated [kWh]"] == ("14.5", "21.8")
    assert any(kind == "bill" and pair == ("4 each", "6 each")
               for (kind, _), pair in rows.items())


# The report before ------------------------------------------------------------------------------

def put_report(target: Path, made: str, revision: str, text: str) -> None:
    with whole_folder(target) as folder:
        new = record(made, revision=revision)
        write_changes(target, folder, new)
        (folder / "summary.json").write_text(json.dumps(new), encoding="utf-8")
        (folder / "report.html").write_text(text, encoding="utf-8")


def test_reports_made_again_keep_all_before_them(tmp_path: Path) -> None:
    target = tmp_path / "hill-shop"
    put_report(target, "2026-11-01T10:00:00+00:00", "A", "one")
    assert not (target / "changes.json").exists()
    put_report(target, "2026-11-02T11:30:05+02:00", "A/2", "two")
    put_report(target, "2026-11-02T11:30:05+02:00", "A/2", "three")
    put_report(target, "2026-11-03T00:00:00+00:00", "B", "four")
    kept = {path.name: (path / "report.html").read_text()
            for path in (target / "earlier").iterdir()}
    assert kept == {"2026-11-01t100000-a": "one", "2026-11-02t113005-a-2": "two",
                    "2026-11-02t113005-a-2-2": "three"}
    assert not list((target / "earlier").glob("*/earlier"))
    assert (target / "report.html").read_text() == "four"
    told = json.loads((target / "changes.json").read_text())
    assert told["sentence"] == (
        "Since the report of 2026-11-02, revision A/2: revision from A/2 to B.")
    assert told["rows"][0]["how"] == "changed"
    assert {path.name for path in tmp_path.iterdir()} == {"hill-shop"}


@given(some.lists(some.booleans(), max_size=5))
def test_a_run_that_fails_loses_nothing_and_adds_nothing(fails: list[bool]) -> None:
    target = Path(__import__("tempfile").mkdtemp()) / "site"
    texts = []
    for number, failing in enumerate(fails):
        text = f"report {number}"
        try:
            with whole_folder(target) as folder:
                keep_folder(target, folder, "kept")
                (folder / "report.html").write_text(text)
                if failing:
                    raise KeyboardInterrupt
            texts.append(text)
        except KeyboardInterrupt:
            pass
    found = [path.read_text() for path in target.rglob("report.html")]
    assert sorted(found) == sorted(texts)
    assert not texts or (target / "report.html").read_text() == texts[-1]


def test_a_folder_that_nobody_knows_is_kept_too(tmp_path: Path) -> None:
    target = tmp_path / "site"
    target.mkdir()
    (target / "my notes.txt").write_text("mine")
    with whole_folder(target) as folder:
        kept = keep_earlier(target, folder)
        assert kept is not None
    assert (target / "earlier" / "unknown-none" / "my notes.txt").read_text() == "mine"


@pytest.mark.parametrize("moment", ["filling", "swapping"])
def test_a_killed_run_loses_no_report(moment: str, tmp_path: Path) -> None:
    """Killed while it fills, or between taking the old folder away and putting the new there."""
    target, ready = tmp_path / "site", tmp_path / "ready"
    put_report(target, "2026-11-01T10:00:00+00:00", "A", "one")
    code = f"""
import os, time
from pathlib import Path
from solarcalc.basis import files
target, ready, replace = Path({str(target)!r}), Path({str(ready)!r}), os.replace
def wait():
    ready.write_text("x"); time.sleep(60)
def hang(source, goal):
    if Path(goal) == target: wait()
    replace(source, goal)
if {moment!r} == "swapping": os.replace = hang
with files.whole_folder(target) as folder:
    files.keep_folder(target, folder, "kept")
    if {moment!r} == "filling": wait()
"""
    with subprocess.Popen([sys.executable, "-c", code], env=dict(os.environ)) as process:
        end = time.monotonic() + 60.0
        while not ready.exists():
            assert time.monotonic() < end
            time.sleep(0.02)
        process.send_signal(signal.SIGKILL)
        process.wait(20)
    assert target.is_dir() == (moment == "filling")
    put_report(target, "2026-11-02T10:00:00+00:00", "A", "two")
    assert (target / "report.html").read_text() == "two"
    assert (target / "earlier" / "2026-11-01t100000-a" / "report.html").read_text() == "one"


# One folder a site ------------------------------------------------------------------------------

def site_file(folder: Path, stem: str, name: str, customer: str = "C") -> SiteFile:
    text = demo_sites()["coral-pharmacy"].read_text(encoding="utf-8")
    text = re.sub(r'(?m)^name = "Coral.*$', f"name = {json.dumps(name)}", text, count=1)
    text = re.sub(r"(?m)^customer = .*$", f"customer = {json.dumps(customer)}", text, count=1)
    path = folder / f"{stem}.toml"
    path.write_text(text, encoding="utf-8")
    return read_site(path)


def put_record(out: Path, one: SiteFile, **job: Any) -> None:
    (out / one.slug).mkdir(parents=True)
    place = one.site.site
    (out / one.slug / "summary.json").write_text(json.dumps({
        "site": {"name": place.name, "customer": place.customer, "file_name": one.path.name},
        "job": {"file": str(one.path), **job}}))


@pytest.mark.parametrize(("stem", "name", "customer", "refused"), [
    ("first", "Hill shop", "C", False),       # the same file
    ("first", "Hill Shop!", "D", False),      # the same file, its words mended
    ("other", "Hill shop", "C", False),       # moved: the same name and customer
    ("other", "Hill shop", "D", True),
    ("other", "hill-shop", "C", True),
])
def test_over_a_report_of_another_site_nothing_is_written(
    stem: str, name: str, customer: str, refused: bool, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    first = site_file(tmp_path, "first", "Hill shop")
    put_record(out, first)
    later = site_file(tmp_path, stem, name, customer)
    assert later.slug == first.slug
    if not refused:
        assert shared_folders([later], out) == {}
        return
    why = shared_folders([later], out)[later.path]
    for words in (str(first.path), str(later.path), "Hill shop", name):
        assert words in why


def test_two_files_of_one_run_share_no_folder_even_by_the_same_name(tmp_path: Path) -> None:
    one, two = (site_file(tmp_path, stem, "Hill shop") for stem in ("a", "b"))
    other = site_file(tmp_path, "c", "Valley shop")
    assert shared_folders([one, one], tmp_path) == {}
    found = shared_folders([one, other, two], tmp_path)
    assert set(found) == {one.path, two.path}
    assert all("hill-shop" in why for why in found.values())


# Names that every system takes ------------------------------------------------------------------

HARD = some.one_of(
    some.text(max_size=130), some.sampled_from(sorted(DEVICES)).flatmap(lambda name: some.builds(
        "{}{}{}".format, some.sampled_from(["", " ", "-", ".", "_"]),
        some.sampled_from([name, name.upper(), name.title()]),
        some.sampled_from(["", ".", " ", "...", "!"]))),
    some.text("<>:\"/\\|?*\x00. ", max_size=12))


@given(HARD)
def test_a_file_name_is_allowed_on_every_system(text: str) -> None:
    """Reserved names, characters and endings: Windows, "Naming files, paths, and namespaces" at
    learn.microsoft.com (from memory); 60 characters leave room for endings below 255 bytes."""
    name = safe_file_name(text)
    assert re.fullmatch(r"[a-z0-9]([a-z0-9-]{0,63}[a-z0-9])?", name)
    assert len(name) <= 60
    assert not re.fullmatch(r"con|prn|aux|nul|(com|lpt)[0-9]", name)
    assert safe_file_name(name) == name


@pytest.mark.parametrize(("text", "name"), [
    ("CON", "con-site"), ("nul.", "nul-site"), ("COM¹", "com1-site"), ("Console", "console"),
    ("Lpt 1", "lpt-1"), ("AUX-", "aux-site"), ("Hill Shop", "hill-shop"),
])
def test_devices_get_another_name(text: str, name: str) -> None:
    assert safe_file_name(text) == name
