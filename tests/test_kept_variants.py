"""Variants kept from panels: the same for all workbooks of a site, whole or set aside, to copy."""

from __future__ import annotations

import shutil
import threading
import tomllib
from pathlib import Path

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder
from solarcalc.design import Design, open_design
from solarcalc.panels import kept
from solarcalc.panels.controls import setting_of_key
from solarcalc.panels.numbers import Numbers
from solarcalc.panels.panel import Panel
from solarcalc.panels.pictures import months, week

NUMBERS = Numbers(
    demand_kwh=100.0, supplied_kwh=90.0, without_supply_h=3, battery_years=10.0, price=1000.0,
    currency="USD", failed_safety=0, failed_other=1, potential_kwh=[10.0] * 12,
    missing_kwh=[1.0] * 12,
)  # fmt: skip
TILT = {"array": {"tilt_deg": 12.0}}


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(kept.STATE, str(tmp_path / "state"))
    return tmp_path / "state"


@pytest.fixture(scope="module")
def design() -> Design:
    return open_design("ridge-clinic")


def test_what_one_workbook_keeps_another_shows(design: Design) -> None:
    one = Panel(design, [setting_of_key(design.site, "array.tilt_deg")], months)
    other = Panel(open_design("ridge-clinic"),
                  [setting_of_key(design.site, "battery.units_in_parallel")], week)
    assert "No variants kept" in other.kept.value
    one.live.controls["array.tilt_deg"].value = 12.0
    one.name.value = "flatter"
    one.buttons["Keep"].click()
    assert one.told.value == ""
    other.buttons["Refresh"].click()
    assert one.kept.value == other.kept.value
    assert "flatter" in other.kept.value
    assert "<svg" in other.kept.value
    (found,) = kept.read_kept(design.sitefile).variants
    assert found.changes == TILT
    other.name.value = " Flatter "
    other.buttons["Forget"].click()
    assert kept.read_kept(design.sitefile).variants == ()


def test_a_name_that_is_not_kept_is_told_and_all_stays(design: Design) -> None:
    one = Panel(design, [setting_of_key(design.site, "array.tilt_deg")], months)
    one.live.controls["array.tilt_deg"].value = 12.0
    one.buttons["Keep"].click()
    assert [each.name for each in kept.read_kept(design.sitefile).variants] == ["array tilt 12°"]
    one.name.value = "steeper"
    one.buttons["Forget"].click()
    assert "steeper; allowed: the name of a kept variant" in one.told.value
    one.name.value = "s" * 61
    one.buttons["Keep"].click()
    assert "61 letters" in one.told.value
    assert len(kept.read_kept(design.sitefile).variants) == 1


def test_the_entry_makes_the_variant_of_the_site_file(design: Design, tmp_path: Path) -> None:
    rows = [dict(row) for row in design.sitefile.written["loads"]["essential"]]
    rows[0] |= {"power_w": 123.5}
    changes = {**TILT, "loads": {"essential": rows}, "runs": {"dc_main": {"length_m": 30.0}}}
    found = kept.keep(design.sitefile, 'a "b" \\ é', changes, NUMBERS)
    entry = found.variants[0].entry
    (read,) = tomllib.loads(entry)["variants"]
    assert {key: read[key] for key in changes} == changes
    again = open_design("ridge-clinic", {"variants": [read]})
    tried = again.variant('a "b" \\ é')
    assert tried.site.array.tilt_deg == 12.0
    assert tried.site.loads.essential[0].power_w == 123.5
    assert tried.site.runs.dc_main.length_m == 30.0


def test_nothing_moved_is_not_kept(design: Design) -> None:
    panel = Panel(design, [setting_of_key(design.site, "array.tilt_deg")], months)
    panel.buttons["Keep"].click()
    assert "move a control first" in panel.told.value
    assert kept.read_kept(design.sitefile).variants == ()


@pytest.mark.parametrize("name", ["", "x" * 61, "as designed"])
def test_names_that_will_not_do(design: Design, name: str) -> None:
    with pytest.raises(InputError, match="name of the variant"):
        kept.keep(design.sitefile, name, TILT, NUMBERS)


@pytest.mark.parametrize("damage", [b"", b"rubbish", b"0" * 64 + b"\n[]"])
def test_a_damaged_file_is_set_aside_and_told(design: Design, damage: bytes, state: Path) -> None:
    kept.keep(design.sitefile, "flatter", TILT, NUMBERS)
    path = kept.kept_file(design.sitefile)
    path.write_bytes(damage)
    found = kept.read_kept(design.sitefile)
    assert found.variants == ()
    assert "set aside" in found.told
    assert not path.exists()
    (aside,) = state.glob("*.damaged-*")
    assert aside.read_bytes() == damage
    assert kept.read_kept(design.sitefile).told == ""


def test_two_workbooks_at_once_lose_nothing(design: Design) -> None:
    def keep(letter: str) -> None:
        for number in range(5):
            kept.keep(design.sitefile, f"{letter}{number}", TILT, NUMBERS)

    threads = [threading.Thread(target=keep, args=(letter,)) for letter in "abc"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(kept.read_kept(design.sitefile).variants) == 15


def test_what_was_kept_of_another_state_of_the_file_is_marked(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    text = (data_folder() / "sites" / "ridge-clinic.toml").read_text(encoding="utf-8")
    for other in (data_folder() / "sites").iterdir():
        if other.is_file():
            shutil.copy(other, tmp_path)
    path.write_text(text, encoding="utf-8")
    design = open_design(path)
    kept.keep(design.sitefile, "flatter", TILT, NUMBERS)
    path.write_text(text + "\n# looked at again\n", encoding="utf-8")
    again = open_design(path)
    shown = Panel(again, [setting_of_key(again.site, "array.tilt_deg")], months).kept.value
    assert "site file changed since" in shown


def test_a_folder_that_cannot_be_written_to_is_told(
    design: Design, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "a file").write_text("", encoding="utf-8")
    monkeypatch.setenv(kept.STATE, str(tmp_path / "a file" / "below"))
    with pytest.raises(InputError, match=kept.STATE):
        kept.keep(design.sitefile, "flatter", TILT, NUMBERS)


def test_names_are_only_text(design: Design) -> None:
    kept.keep(design.sitefile, "<script>alert(1)</script>", TILT, NUMBERS)
    shown = Panel(design, [setting_of_key(design.site, "array.tilt_deg")], months).kept.value
    assert "<script" not in shown
