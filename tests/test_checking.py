"""``check``: what is kept of it, what it tells before a report, and the nearest value that works.

The sites are invented, drawn or broken on purpose: no source.
"""

from __future__ import annotations

import os
import re
import runpy
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.checking import kept, nearest, sites
from solarcalc.checking.lines import NO_REPORT, answer_of, check_lines
from solarcalc.checking.nearest import fitting_series, nearest_working
from solarcalc.cli import main
from solarcalc.design import Design, open_design
from solarcalc.documents.catalogue import documents_of
from solarcalc.documents.making import Making
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.status import document_set
from solarcalc.sitefile.variants import toml_lines
from solarcalc.variants import variants_of

CHECKOUT = Path(__file__).resolve().parent.parent
SITES = runpy.run_path(str(CHECKOUT / "tests" / "site_files.py"))
HEAVY = ("pandas", "numpy", "pvlib", "numba", "pydantic", "scipy")


def own_copy(folder: Path, name: str = "ridge-clinic", **texts: str) -> Path:
    """A demo site of its own folder, with its weather, loads and tests beside it."""
    for part in ("weather", "tests", "loggers", "handover"):
        (folder / part).mkdir(exist_ok=True)
        for path in filter(Path.is_file, (data_folder() / part).iterdir()):
            (folder / part / path.name).write_bytes(path.read_bytes())
    (folder / "sites").mkdir(exist_ok=True)
    text = demo_sites()[name].read_text(encoding="utf-8")
    for old, new in texts.items():
        text = text.replace(old, new)
    path = folder / "sites" / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    earlier(folder)
    return path


def earlier(folder: Path) -> None:
    """All files as of an hour ago: what is written while it is read is not kept."""
    for path in folder.rglob("*"):
        os.utime(path, (path.stat().st_atime, path.stat().st_mtime - 3600.0))


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """The sites whose answer was worked out."""
    found: list[Path] = []

    def noting(path: Path) -> kept.Answer:
        found.append(path)
        return answer_of(path)

    monkeypatch.setattr(sites, "answer_of", noting)
    return found


def test_an_unchanged_site_is_answered_alike_and_imports_nothing_heavy(tmp_path: Path) -> None:
    path = own_copy(tmp_path)
    env = {**os.environ, "XDG_CACHE_HOME": str(tmp_path / "cache"), "PYTHONPATH": str(CHECKOUT),
           "NUMBA_CACHE_DIR": os.environ.get("NUMBA_CACHE_DIR", "")}
    words = [sys.executable, "-X", "importtime", "-m", "solarcalc", "check", str(path)]
    first, second = (subprocess.run(words, capture_output=True, text=True, check=False, env=env)
                     for _ in range(2))  # fmt: skip
    assert first.stdout == second.stdout
    assert first.returncode == second.returncode == 0
    loaded = {line.rpartition("|")[2].strip() for line in second.stderr.splitlines()}
    assert "solarcalc.checking.kept" in loaded
    assert not loaded & set(HEAVY)


@pytest.mark.slow
def test_each_file_that_was_read_makes_a_new_answer_where_it_changes(
    tmp_path: Path, made: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    path = own_copy(tmp_path)
    main(["check", str(path)])
    main(["check", str(path)])
    assert len(made) == 1
    weather = re.search(r'^source = "library:(.+)"', path.read_text(encoding="utf-8"), re.MULTILINE)
    assert weather is not None
    tests = next(one for one in (tmp_path / "tests").glob("ridge-clinic*"))
    for file in (path, tests):
        file.write_text(file.read_text(encoding="utf-8") + "\n# seen\n", encoding="utf-8")
        earlier(tmp_path)
        before = len(made)
        main(["check", str(path)])
        assert len(made) == before + 1, file
    main(["check", "--fresh", str(path)])
    assert len(made) == 4
    capsys.readouterr()


def test_a_file_that_was_not_there_and_comes_makes_a_new_answer(
    tmp_path: Path, made: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    path = own_copy(tmp_path)
    (tests,) = (tmp_path / "tests").glob("ridge-clinic*.csv")
    there = tests.read_bytes()
    tests.unlink()
    main(["check", str(path)])
    assert "ridge-clinic.csv" in capsys.readouterr().out
    tests.write_bytes(there)
    earlier(tmp_path)
    main(["check", str(path)])
    assert len(made) == 2


def test_an_answer_of_another_day_or_another_package_does_not_hold(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.toml"
    path.write_text("a = 1", encoding="utf-8")
    answer = kept.Answer(text="all said", status=1)
    kept.keep_answer(path, answer, [str(path)], since_s=path.stat().st_mtime + 1.0)
    assert kept.kept_answer(path) == answer
    monkeypatch.setattr(kept, "installed", lambda: "another")
    assert kept.kept_answer(path) is None
    monkeypatch.undo()


@given(some.data())
@settings(max_examples=60, deadline=None)
def test_a_damaged_entry_is_never_an_answer(data: some.DataObject) -> None:
    folder = _folder()
    path = folder / "a.toml"
    path.write_text("a = 1", encoding="utf-8")
    answer = kept.Answer(text="all said\nand more", status=0)
    kept.keep_answer(path, answer, [str(path)], since_s=path.stat().st_mtime + 1.0)
    entry = kept._entry(path)
    whole = entry.read_bytes()
    at = data.draw(some.integers(0, len(whole) - 1))
    other = data.draw(some.binary(min_size=0, max_size=3))
    damaged = whole[:at] + other + (whole[at + 1:] if data.draw(some.booleans()) else b"")
    assume(damaged != whole)
    entry.write_bytes(damaged)
    assert kept.kept_answer(path) is None


@lru_cache(maxsize=1)
def _folder() -> Path:
    import tempfile

    return Path(tempfile.mkdtemp())


def test_an_entry_of_another_site_is_none_and_a_closed_folder_no_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one, other = tmp_path / "one.toml", tmp_path / "other.toml"
    for path in (one, other):
        path.write_text("a = 1", encoding="utf-8")
    answer = kept.Answer(text="one", status=0)
    later = one.stat().st_mtime + 1.0
    kept.keep_answer(one, answer, [], since_s=later)
    kept._entry(other).write_bytes(kept._entry(one).read_bytes())
    assert kept.kept_answer(other) is None
    file = tmp_path / "no-folder"
    file.write_text("in the way", encoding="utf-8")
    monkeypatch.setattr(kept, "user_cache", lambda name: file / name)
    kept.keep_answer(one, answer, [], since_s=later)
    assert kept.kept_answer(one) is None


def test_nothing_is_kept_of_a_file_that_is_written_meanwhile(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text("a = 1", encoding="utf-8")
    kept.keep_answer(path, kept.Answer(text="old", status=0), [str(path)],
                     since_s=path.stat().st_mtime)  # fmt: skip
    assert kept.kept_answer(path) is None


@pytest.mark.slow
def test_many_sites_are_answered_as_each_alone_and_in_order(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    names = [*demo_sites()]
    broken = tmp_path / "broken.toml"
    broken.write_text("[site]\nname = 1\n", encoding="utf-8")
    main(["check", "--fresh", *names[:2], str(broken), *names[2:]])
    many = capsys.readouterr()
    alone = [answer_of(demo_sites()[name]).text.replace("\u202f", " ") for name in names]
    assert many.out == "".join(f"{text}\n" for text in alone)
    assert f"{broken}: not valid" in many.err


@pytest.mark.slow
@pytest.mark.parametrize("logo", [
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M0 0h9v9z"/></svg>',
    '<svg xmlns="http://www.w3.org/2000/svg" width="-5"/>'])
def test_many_sites_of_a_firm_with_a_logo_come_to_an_end(tmp_path: Path, logo: str) -> None:
    (tmp_path / "logo.svg").write_text(logo, encoding="utf-8")
    paths = [tmp_path / f"shop-{number}.toml" for number in range(sites.FEW + 2)]
    for number, path in enumerate(paths):
        path.write_text(f'[survey]\nname = "Shop {number}"\nlatitude_deg = {36.1 + number / 100}\n'
                        'longitude_deg = -79.9\nweather = "library:723170TYA.CSV"\n'
                        '[firm]\nlogo = "logo.svg"\n', encoding="utf-8")
    said = subprocess.run(
        [sys.executable, "-m", "solarcalc", "check", "--fresh", *map(str, paths)], timeout=240.0,
        capture_output=True, text=True, encoding="utf-8", check=False)
    assert [line.partition(":")[0] for line in said.stdout.splitlines() if line[0] != " "] == [
        str(path) for path in paths], said.stderr
    assert said.stdout.count("firm.logo") == ("-5" in logo) * len(paths)


# what is named works, and nothing nearer does


LEVERS: dict[str, tuple[str, dict[str, dict[str, Any]], str]] = {
    "too few in series": ("coral-pharmacy", {"array": {"modules_in_series": 1, "module_count": 3}},
                          "wiring/working-voltage-string"),
    "too many in series": ("coral-pharmacy", {
        "array": {"modules_in_series": 12, "module_count": 12, "rows": 2}},
        "wiring/open-circuit-string"),
    "many strings": ("orchard-shop", {
        "battery": {"units_in_parallel": 9}, "controller": {"count": 2},
        "protection": {"battery_fault_a": 7900.0},
        "array": {"module_count": 16, "modules_in_series": 4, "rows": 2}},
        "protection/breaking-capacity"),
    "too much charge": ("coral-pharmacy", {}, "battery/charge-current-controllers"),
    "thin cable": ("ridge-clinic", {"runs": {"dc_main": {"size_mm2": 2.5, "length_m": 60.0}}},
                   "wiring/voltage-drop-working"),
    "narrow rows": ("coral-pharmacy", {"array": {"row_pitch_m": 1.25}}, "stages/row-pitch"),
    "small roof": ("ridge-clinic", {"array": {"module_count": 70, "modules_in_series": 7}},
                   "stages/modules-on-roof"),
    "small set": ("ridge-clinic", {"generator": {"power_w": 500.0}}, "supply/generator-peak"),
    "small opening": ("plateau-school", {"room": {"vent_low_cm2": 20.0, "fan_m3_per_h": 0.0}},
                      "powerroom/opening-battery-room"),
    "one rod": ("ridge-clinic", {
        "earthing": {"electrode": "rods", "rod_count": 1, "target_ohm": 20.0},
        "soil": {"spacing_m": [2.0], "resistance_ohm": [8.0]}}, "earthing/electrode-limit"),
    "dark board": ("cove-cannery", {}, "stages/essential-board-without"),
    "dark board, few modules": ("plateau-school", {"array": {
        "modules_in_series": 2, "module_count": 2, "rows": 1}}, "stages/essential-board-without"),
    "heavy racks": ("ridge-clinic", {"room": {"floor_kg_per_m2": 300.0}},
                    "powerroom/floor-under-racks"),
}  # fmt: skip
"""Demo site, what is done to it, and the rule that then asks for another value."""


UNBUILT: dict[str, dict[str, Any]] = {
    "commissioning": {"results": ""}, "logger": {"file": ""}, "handover": {"serials": ""}}
"""Nothing was built or tested yet: sheets of another design would not fit."""


def outcome(design: Design, rule: str, about: str, changes: Any) -> bool:
    """Whether a rule passes in a changed design, by the list of all checks."""
    try:
        found = [one for one in design.changed(changes).all_checks if one.rule == rule]
    except InputError:
        return False
    same = [one for one in found if one.key.partition(":")[2] == about] or found
    return all(one.outcome == "passed" for one in same)


def long_last(cases: Iterable[str]) -> list[Any]:
    """Cases by name; a board that stays dark is tried through many years, by the long tests."""
    return [pytest.param(name, marks=[pytest.mark.slow] if name == "dark board" else [])
            for name in cases]


@pytest.mark.slow
@pytest.mark.parametrize("name", long_last(LEVERS))
def test_the_value_named_passes_the_check_in_the_whole_design_and_is_told(name: str) -> None:
    site, changes, rule = LEVERS[name]
    design = open_design(site, {**changes, **UNBUILT})
    check = next(one for one in design.all_checks if one.rule == rule)
    assert check.outcome != "passed"
    found = nearest_working(design, check)
    assert found is not None
    assert outcome(design, rule, check.key.partition(":")[2], found.changes)
    keys = list(toml_lines(found.changes))
    assert tomllib.loads("\n".join(keys)) == found.changes
    told = f"nearest that works: {found.words}" + (
        f" ({', '.join(keys)})" if "planes" not in found.changes else "")
    assert told in "\n".join(check_lines(design))


def between(own: float, found: float, step: float) -> list[float]:
    """Values nearer than the one found, on its side and on the other, four at most."""
    count = round(abs(found - own) / step)
    nearer = [own + sign * step * number for number in range(1, count) for sign in (1, -1)]
    return [one for one in nearer if one > 0.0][-4:]


STEPS: dict[str, tuple[tuple[str, ...], float]] = {
    "too few in series": (("array", "modules_in_series"), 1),
    "too many in series": (("array", "modules_in_series"), 1),
    "too much charge": (("battery", "units_in_parallel"), 1),
    "one rod": (("earthing", "rod_count"), 1),
    "small set": (("generator", "power_w"), nearest.STEP_W),
    "narrow rows": (("array", "row_pitch_m"), 0.01),
    "dark board": (("battery", "units_in_parallel"), 1),
    "heavy racks": (("room", "spread_m2"), 0.1),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", long_last(STEPS))
def test_no_nearer_value_passes(name: str) -> None:
    site, changes, rule = LEVERS[name]
    (table, key), step = STEPS[name]
    design = open_design(site, {**changes, **UNBUILT})
    check = next(one for one in design.all_checks if one.rule == rule)
    found = nearest_working(design, check)
    assert found is not None
    rules = nearest._STRING_VOLTAGE if key == "modules_in_series" else {rule}
    own = getattr(getattr(design.site, table), key)
    for value in between(own, found.changes[table][key], step):
        given: dict[str, Any] = {key: type(own)(round(value, 6))}
        if key == "modules_in_series":
            given["module_count"] = int(value) * design.electrical.strings
        assert not all(outcome(design, one, check.key.partition(":")[2], {table: given})
                       for one in rules), value  # fmt: skip


@pytest.mark.slow
@given(some.integers(0, 40), some.integers(0, 40), some.integers(0, 45))
def test_the_fewest_that_are_enough_are_found_by_halving(above: int, most: int, need: int) -> None:
    wanted = next((count for count in range(above + 1, most + 1) if count >= need), None)
    assert nearest._fewest(above, most, lambda count: count >= need) == wanted


def test_the_invented_house_of_new_fails_nothing_with_the_values_that_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["new", "Hill House", "--folder", str(tmp_path)])
    capsys.readouterr()
    design = open_design(tmp_path / "hill-house.toml")
    changes: dict[str, dict[str, Any]] = {}
    for check in design.failed:
        found = nearest_working(design, check)
        assert found is not None, check.item
        for table, keys in found.changes.items():
            changes.setdefault(table, {}).update(keys)
    assert changes
    changed = design.changed(changes)
    for check in changed.failed:  # more units weigh more
        found = nearest_working(changed, check)
        assert found is not None, check.item
        changed = changed.changed(found.changes)
    assert changed.failed == ()


@pytest.mark.slow
@given(SITES["site_changes"](), some.integers(1, 14))
@settings(max_examples=8, deadline=None)
def test_the_counts_in_series_that_are_named_fit_and_no_others(
    changes: dict[str, Any], series: int
) -> None:
    strings = changes["array"]["module_count"] // changes["array"]["modules_in_series"]
    changes = {**changes, "array": {**changes["array"], "modules_in_series": series,
                                    "module_count": series * strings}}  # fmt: skip
    try:
        design = open_design("ridge-clinic", {**changes, "commissioning": {"results": ""},
                                              "handover": {"serials": ""}})  # fmt: skip
        checks = design.electrical_checks
    except InputError:
        assume(False)
        raise
    voltage = [one for one in checks if one.rule in nearest._STRING_VOLTAGE]
    good = all(one.outcome == "passed" for one in voltage)
    assert (series in fitting_series(design)) == good
    for check in voltage:
        found = nearest_working(design, check) if check.outcome != "passed" else None
        if found is not None:
            assert nearest.passes(design, check, "electrical_checks", found.changes)
            named = found.changes["array"]["modules_in_series"]
            assert all(abs(named - series) <= abs(one - series) for one in fitting_series(design))


@pytest.mark.slow
@given(some.sampled_from(["plateau-school", "ridge-clinic", "orchard-shop"]), some.integers(1, 40))
@settings(max_examples=15, deadline=None)
def test_the_number_of_units_that_a_fault_names_meets_the_plate(name: str, series: int) -> None:
    site = read_site(demo_sites()[name])

    def said(count: int) -> str:
        try:
            with_changes(site, {"battery": {"units_in_series": count}})
        except InputError as error:
            return str(error)
        return ""

    named = re.search(r"change battery.units_in_series to (\d+)", said(series))
    if "rating plate" in said(series):
        assert named is not None
        found = int(named[1])
        assert "rating plate" not in said(found)
        nearer = range(max(series - abs(found - series) + 1, 1), series + abs(found - series))
        assert all("rating plate" in said(count) for count in nearer)
    else:
        assert named is None


# what a report refuses or cannot answer is told before


BROKEN = runpy.run_path(str(CHECKOUT / "tests" / "test_no_answer.py"))["BROKEN"]


def untold(open_it: Callable[[], Design]) -> list[str]:
    """What all documents refuse or cannot answer, and check did not say."""
    try:
        design = open_it()
        said = "\n".join(check_lines(design))
    except InputError:
        return []  # told: the file is not valid
    making = Making(design=design)
    asks = {code: partial(documents_of, code, making) for code in document_set()}
    asks |= {name: partial(getattr, design, name) for name in (
        "energy", "supply", "economics", "worksheet", "offer", "room", "earth")}
    found = []
    for name, ask in asks.items():
        try:
            ask()
        except NoAnswer as why:
            found += [f"{name}: {why}"] if why.check.item not in said else []
        except InputError as error:
            found += [f"{name}: {fault}" for fault in error.faults if fault.given not in said]
    return found


@pytest.mark.slow
@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_site_is_told_before_its_report(name: str) -> None:
    site, changes, _ = BROKEN[name]
    assert not untold(lambda: open_design(site, {
        **changes, "status": {"stage": "visit"}, "commissioning": {"results": ""},
        "logger": {"file": ""}, "handover": {"serials": ""}}))  # fmt: skip


@pytest.mark.slow
@given(SITES["site_changes"]())
@settings(max_examples=5, deadline=None)
def test_a_random_site_is_told_before_its_report(changes: dict[str, Any]) -> None:
    assert not untold(lambda: open_design("ridge-clinic", {
        **changes, "status": {"stage": "visit"}, "commissioning": {"results": ""},
        "logger": {"file": ""}, "handover": {"serials": ""}}))  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(("key", "text"), [
    ("firm", "logo"), ("commissioning", "results"), ("logger", "file")])
def test_a_file_that_only_the_report_reads_is_told(
    key: str, text: str, tmp_path: Path
) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("not,a\nthing\n", encoding="utf-8")
    design = open_design("ridge-clinic", {
        key: {text: os.path.relpath(bad, data_folder() / "sites")}, "status": {"stage": "design"}})
    assert "report    none until this is put right: " in "\n".join(check_lines(design))


ODD_VARIANTS: tuple[dict[str, Any], ...] = (
    {"existing": [{"kind": "part", "item": "bord", "label": "Board", "age_years": 1.0, "count": 1,
                   "used": 1}]},
    {"battery": {"units_in_parallel": 36}}, {"quote": {"price_list": "none.csv"}},
    {"array": {"tilt_deg": 5.0}}, {"battery": {"room_c": -35.0}}, {"quote": {"margin_frac": 0.1}},
    {"existing": [{"kind": "part", "item": "board", "label": "Board", "age_years": 1.0, "count": 1,
                   "used": 1}]},
    {"controller": {"max_pv_voltage_v": 58.0, "min_tracking_voltage_v": 53.0,
                    "max_tracking_voltage_v": 57.0}},
)  # fmt: skip
"""What a variant may change: three that no report can be made with, and others."""


@pytest.mark.slow
@given(some.lists(some.sampled_from(range(len(ODD_VARIANTS))), max_size=3, unique=True),
       some.sampled_from(["ridge-clinic", "coral-pharmacy"]))  # fmt: skip
@settings(max_examples=8, deadline=None)
def test_check_is_without_a_fault_exactly_when_the_variants_of_a_report_are(
    chosen: list[int], name: str
) -> None:
    rows = [{"name": f"Odd {number}", **ODD_VARIANTS[number]} for number in chosen]
    try:
        design = open_design(name, {"variants": rows, **UNBUILT})  # type: ignore[dict-item]
    except InputError:
        return  # told: the file is not valid
    told = [line for line in check_lines(design) if line.startswith(NO_REPORT)]
    faults: Sequence[Fault] = ()
    try:
        variants_of(design)
    except InputError as error:
        faults = error.faults
    assert len(told) == len(faults)
    assert all(fault.given in line for fault, line in zip(faults, told, strict=True))


def test_a_refused_report_is_no_good_answer(tmp_path: Path) -> None:
    path = own_copy(tmp_path, "orchard-shop")
    good = answer_of(path)
    path.write_text(path.read_text(encoding="utf-8") + '\n[[variants]]\nname = "Many"\n'
                    'inverter.essential = {continuous_power_w = 4e4, surge_power_va = 8e4}\n',
                    encoding="utf-8")  # fmt: skip
    found = answer_of(path)
    assert NO_REPORT not in good.text
    said = 'orchard-shop.toml, variant "Many": runs.battery_inverter.in_parallel'
    assert f"{NO_REPORT}{said}" in found.text
    assert found.status == 1


def _said(where: str, error: BaseException) -> str:
    return f"{where}: {error!r}"


def test_sites_of_one_weather_follow_one_another_and_answers_keep_their_order(
    tmp_path: Path,
) -> None:
    names = ["ridge-clinic", "plateau-school", "ridge-clinic", "plateau-school", "no-such"]
    paths = []
    for number, name in enumerate(names):
        folder = tmp_path / str(number)
        folder.mkdir()
        paths.append(folder / "none.toml" if name == "no-such" else own_copy(folder, name))
    keys = [sites._weather_named(path) for path in paths]
    assert keys[0] == keys[2] != keys[1] == keys[3]
    assert keys[4] == ""
    found = list(sites.answers(paths, unexpected=_said))
    assert [("Ridge" in one.text, "Plateau" in one.text) for one in found[:4]
            if isinstance(one, kept.Answer)] == [(True, False), (False, True)] * 2  # fmt: skip
    assert str(found[4]).startswith(str(paths[4]))
