"""[[variants]] and ``base`` in site files: what is wrong is named with variant, key and file."""

from __future__ import annotations

import contextlib
import itertools
import json
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.batch.compared import text_lines
from solarcalc.batch.run import report_sites
from solarcalc.batch.site import _keep_files
from solarcalc.checking.lines import check_lines
from solarcalc.cli import main
from solarcalc.design import open_design
from solarcalc.sitefile.changes import put_in
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.sitefile.named import read_named
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.room import Room
from solarcalc.sitefile.toml import toml_text, write_new_site
from solarcalc.sitefile.variants import MOST_FILES
from solarcalc.variants import compare, variants_of


@pytest.fixture
def site(tmp_path: Path) -> Path:
    return write_new_site("Shop", tmp_path)


def add(path: Path, text: str) -> Path:
    path.write_text(f"{path.read_text('utf-8')}\n{text}\n", "utf-8")
    return path


def child(folder: Path, base: str, text: str = "", name: str = "child") -> Path:
    path = folder / f"{name}.toml"
    path.write_text(f"base = {toml_text(base)}\n{text}\n", "utf-8")
    return path


def faults_of(path: Path) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        read_site(path)
    return caught.value.faults


def variant(name: str, *keys: str) -> str:
    return "\n".join(["[[variants]]", f"name = {toml_text(name)}", *keys])


@pytest.mark.parametrize(("text", "where", "given", "allowed"), [
    (variant("Odd", "array.module_count = 13"), 'shop.toml, variant "Odd": array.module_count',
     "module_count = 13", "multiple of modules_in_series"),
    (variant("High", "array.tilt_deg = 95.0"), 'shop.toml, variant "High": array.tilt_deg',
     "95.0", "a number from 0"),
    (variant("Typed", "array.tilt = 5.0"), 'shop.toml, variant "Typed": array.tilt',
     "the key tilt = 5.0", "tilt_deg"),
    (variant("Typed", "arry.tilt_deg = 5.0"), 'shop.toml, variant "Typed": arry',
     "the key arry", "array"),
    (variant("Old", "protection.thunder_days = 5.0"),
     'shop.toml, variant "Old": protection.thunder_days', "thunder_days", "thunderstorm_days"),
    (variant("Flat", "tilt_deg = 5.0"), 'shop.toml, variant "Flat": changes: tilt_deg', "5.0",
     "tables with their keys"),
    (variant("Same"), "shop.toml: variants[1].name", "Same", "one or more keys that differ"),
    (variant("As  Designed", "array.tilt_deg = 5.0"), "shop.toml: variants[1].name", "As  Designed",
     "another name"),
    (variant("In one", "array.tilt_deg = 5.0", 'base = "x.toml"'), "shop.toml: variants[1].base",
     "x.toml", "tables of the site file"),
    (variant("In one", "array.tilt_deg = 5.0", "variants = []"), "shop.toml: variants[1].variants",
     "[]", "tables of the site file"),
    (variant("A b", "array.tilt_deg = 5.0") + "\n" + variant("a  B", "array.tilt_deg = 6.0"),
     "shop.toml: variants[2].name", "a  B", "a different name"),
    ("[[variants]]\narray.tilt_deg = 5.0", "shop.toml: variants[1].name", "nothing", "text"),
    ('[[variants]]\nname = 5\narray.tilt_deg = 5.0', "shop.toml: variants[1].name", "5", "text"),
])  # fmt: skip
def test_what_is_wrong_with_a_variant_is_named(
    site: Path, text: str, where: str, given: str, allowed: str
) -> None:
    (fault,) = faults_of(add(site, text))
    assert fault.where.startswith(where)
    assert given in fault.given
    assert allowed in fault.allowed


def test_faults_of_the_site_and_of_its_variants_are_told_at_once_and_once(site: Path) -> None:
    text = site.read_text("utf-8").replace("latitude_deg = 36.12", "latitude_deg = 136.12")
    site.write_text(text, "utf-8")
    found = faults_of(add(site, variant("One", "array.tilt_deg = 95.0") + "\n"
                          + variant("Two", "soil.kind = 'cheese'")))  # fmt: skip
    assert [one.where for one in found] == [
        "shop.toml: site.latitude_deg", 'shop.toml, variant "One": array.tilt_deg',
        'shop.toml, variant "Two": soil.kind',
    ]  # fmt: skip


def test_a_change_that_a_variant_does_not_allow_is_told_where_the_variant_is_asked_for(
    site: Path,
) -> None:
    """A slider goes on: only who asks for the variant hears of it."""
    design = open_design(add(site, variant("Odd", "array.module_count = 12")))
    series = design.site.array.modules_in_series
    assert 12 % series == 0
    other = design.changed({"array": {"modules_in_series": 5, "module_count": 10}})
    with pytest.raises(InputError, match=r'variant "Odd": array\.module_count'):
        other.variant("Odd")
    with pytest.raises(InputError, match=r"array\.tilt_deg"):
        design.changed({"variants": [{"name": "Odd", "array": {"tilt_deg": 95.0}}]})


def test_a_name_that_is_no_variant_is_refused_with_those_there_are(site: Path) -> None:
    add(site, variant("More: sun", "array.tilt_deg = 5.0"))
    assert open_design(f"{site}:more:  SUN").site.array.tilt_deg == 5.0
    for word, said in (("More sum", "did you mean More: sun"), ("x", "one of More: sun")):
        with pytest.raises(InputError, match=said):
            open_design(f"{site}:{word}")
    with pytest.raises(InputError, match=r"no .*variants"):
        open_design("cove-cannery:x")
    for word in ("nowhere:x", "C:\\x.toml:y", ":", "a\0:b", "x" * 5000, "a:" * 300):
        with pytest.raises(InputError, match="a site file, or a demo site"):
            open_design(word)
    for word, said in ((f"{site.parent}", "the folder"), ("C:\\x.toml", "which does not exist")):
        with pytest.raises(InputError, match=said):
            open_design(word)


def test_another_battery_has_no_figure_of_the_sheet_of_the_one_before_it(site: Path) -> None:
    text = site.read_text("utf-8")
    for table, line in (("protection", "battery_fault_a = 3000.0"),
                        ("room", "unit_mass_kg = 45.0\nunit_depth_m = 0.44")):  # fmt: skip
        text = text.replace(f"\n[{table}]\n", f"\n[{table}]\n{line}\n")
    site.write_text(text, "utf-8")
    more = "battery = { units_in_parallel = 3, min_soc_frac = 0.25 }"
    other = 'battery = { use = "gel-12v-137ah", units_in_series = 4 }'
    own = other + "\nprotection.battery_fault_a = 2000.0"
    add(site, "\n".join([variant("More", more), variant("Other", other), variant("Own", own),
                         variant("Same", 'battery.use = "lithium-51v-93ah"')]))
    known = {name: open_design(f"{site}:{name}" if name else site).site
             for name in ("", "More", "Other", "Own", "Same")}  # fmt: skip
    assert {name: one.protection.battery_fault_a for name, one in known.items()} == {
        "": 3000.0, "More": 3000.0, "Other": None, "Own": 2000.0, "Same": 3000.0}
    assert known["More"].room.unit_mass_kg == 45.0
    assert known["More"].room.unit_depth_m == 0.44
    assert known["Other"].room.unit_mass_kg is None
    assert known["Other"].room.unit_depth_m == Room.model_fields["unit_depth_m"].default
    assert known["Other"].room.length_m == known[""].room.length_m


@pytest.mark.parametrize("kind", ["battery", "module", "controller", "inverter.essential"])
def test_another_entry_of_a_list_is_that_entry(site: Path, kind: str) -> None:
    """Whatever is written of the site's own: by a list's key, beside it, or figure by figure."""
    table, _, board = kind.partition(".")
    name = {"battery": "batteries", "inverter": "inverters"}.get(table, f"{table}s")
    lists = bundled_equipment()[name]
    sheet = dict(list(lists.values())[-1].values)
    for entry, other in itertools.permutations(lists, 2):
        own = {"use": entry, "label": "Own thing"}
        for written in (own, {**sheet, "label": "Own thing"}):
            tables = {table: {board: written} if board else {**written, "units_in_series": 4}}
            changes = {table: {board: {"use": other}} if board else {"use": other}}
            found = put_in(tables, changes)[table]
            found = found[board] if board else found
            assert found.pop("units_in_series", 4) == 4
            assert found == {"use": other}
            assert put_in(tables, {table: {board: {"count": 2}} if board else {"count": 2}})[table]
        assert put_in({table: own}, {table: {"use": entry, "count": 2}})[table] == {
            **own, "count": 2}


@pytest.mark.parametrize("mounting", ["open-frame", "flush"])
def test_a_variant_of_another_mounting_has_no_gap_of_the_first(site: Path, mounting: str) -> None:
    text = site.read_text("utf-8").replace('mounting = "open-frame"',
                                           'mounting = "small-gap"\ngap_under_m = 0.12')
    site.write_text(text, "utf-8")
    add(site, variant("Other", f'array.mounting = "{mounting}"') + "\n"
        + variant("Wider", "array.gap_under_m = 0.2"))
    assert open_design(f"{site}:Other").site.array.gap_under_m is None
    assert open_design(f"{site}:Wider").site.array.gap_under_m == 0.2
    assert open_design(site).site.array.gap_under_m == 0.12


@pytest.mark.parametrize(("keys", "axes"), [
    (('array.mounting = "flush"', "array.tilt_deg = 0.0", "array.azimuth_deg = 180.0"),
     ("tilt_deg", "azimuth_deg")),
    (('supply.layout = "one-inverter"',), ("inverter_nonessential",)),
])  # fmt: skip
def test_a_variant_leaves_out_of_the_search_what_it_settles(
    site: Path, keys: tuple[str, ...], axes: tuple[str, ...]
) -> None:
    """The site tries tilts and inverters; a flush variant has the roof's tilt, and tries the rest.
    """
    tries = {"tilt_deg": [5.0, 10.0], "azimuth_deg": [170.0, 180.0], "strings": [1, 2],
             "inverter_nonessential": ["as designed", "inverter-2700w"]}  # fmt: skip
    searched = "\n".join(f"{key} = {json.dumps(one)}" for key, one in tries.items())
    text = site.read_text("utf-8").replace("[search]", f"[search]\n{searched}", 1)
    site.write_text(text, "utf-8")
    found = read_site(add(site, variant("Other", *keys)))
    search = with_changes(found, found.site.variants[0].tables).site.search
    for key, values in tries.items():
        assert getattr(search, key) == (None if key in axes else values)
    # what the variant itself says to try is not left out without a word
    (fault,) = faults_of(add(site, f"search.{axes[0]} = {json.dumps(tries[axes[0]])}"))
    assert f'variant "Other": search.{axes[0]}' in fault.where


def test_a_variant_that_is_the_site_again_is_told(site: Path) -> None:
    add(site, variant("Again", "array.tilt_deg = 20.0") + "\n"
        + variant("Flat", "array.tilt_deg = 5.0"))
    told = [line for line in check_lines(open_design(site)) if line.startswith("variant ")]
    (again,) = (line for line in told if '"Again"' in line)
    assert "is the same system" in again
    lines = list(text_lines(compare(variants_of(open_design(site))), wide=120))
    assert lines[-1] == "no differences: Again and as designed"


def test_a_based_file_says_what_differs(site: Path) -> None:
    add(site, variant("Flat", "array.tilt_deg = 5.0"))
    own = child(site.parent, "shop.toml", "[site]\nname = 'Mill'\n[array]\ntilt_deg = 7.0")
    last = child(site.parent, "child.toml", "[array]\ntilt_deg = 9.0", "last")
    tilts = [read_site(path).site.array.tilt_deg for path in (own, last)]
    assert tilts == [7.0, 9.0]
    assert (read_site(last).site.site.name, read_site(last).slug) == ("Mill", "mill")
    assert [path.name for path in read_site(last).bases] == ["child.toml", "shop.toml"]
    assert open_design(f"{last}:Flat").site.array.tilt_deg == 5.0
    before = read_site(last).content
    add(site, "# another word")
    assert read_site(last).content != before, "a report tells that its base has changed"


def test_a_report_keeps_the_files_that_a_site_is_based_on(site: Path, tmp_path: Path) -> None:
    own = child(site.parent, "shop.toml", "[array]\ntilt_deg = 7.0")
    place = tmp_path / "report"
    place.mkdir()
    _keep_files(read_site(own), place)
    kept = {path.name: path.read_bytes() for path in place.iterdir()}
    assert kept == {"site.toml": own.read_bytes(), "site-base-1.toml": site.read_bytes()}


def test_faults_name_the_file_that_they_stand_in(site: Path) -> None:
    own = child(site.parent, "shop.toml", "[array]\ntilt_deg = 97.0")
    text = site.read_text("utf-8").replace("latitude_deg = 36.12", "latitude_deg = 136.12")
    site.write_text(text.replace("[roof]", "[roof]\nalbedo_frac = 3.0", 1), "utf-8")
    add(site, variant("Old", "array.tilt_deg = 5.0"))
    assert {one.where for one in faults_of(own)} == {
        "child.toml: array.tilt_deg", "shop.toml: site.latitude_deg", "shop.toml: roof.albedo_frac"}


def test_files_beside_a_base_are_found_from_another_folder(tmp_path: Path) -> None:
    """Tests, logger and weather of a demo site, from a folder that has none of them."""
    for name, demo in demo_sites().items():
        up = Path(os.path.relpath(demo, tmp_path)).as_posix()
        own = child(tmp_path, up, name=name)
        there, here = read_site(demo), read_site(own)
        for site_file in (there, here):
            site = site_file.site
            named = (site.weather.source, site.commissioning.results, site.logger.file,
                     site.handover.serials)  # fmt: skip
            files = [one for one in named if one and ":" not in one and "." in one]
            assert all((site_file.folder / one).is_file() for one in files), (name, files)
        assert open_design(own).weather.hours.equals(open_design(demo).weather.hours)
        assert here.site.quote.price_list == there.site.quote.price_list


BAD = [
    (5, "5"), ("", "''"), ("  \t", "\\t"), ("a\0b.toml", "x00"), ("/etc/passwd", "/etc/passwd"),
    ("C:\\sites\\a.toml", "C:"), ("\\\\host\\a.toml", "host"), ("x" * 1001, "xxx"),
    ("no-such.toml", "no-such.toml"), (".", "."), ("child.toml", "child.toml"),
    ("./sub/../child.toml", "child.toml"), ("a\nb.toml", "\\n"), ("../" * 400 + "x.toml", "../"),
]  # fmt: skip


@pytest.mark.parametrize(("base", "given"), BAD, ids=range(len(BAD)))
def test_a_base_that_is_none_is_refused(site: Path, base: object, given: str) -> None:
    text = toml_text(base) if isinstance(base, str) else str(base)
    path = site.parent / "child.toml"
    path.write_text(f"base = {text}\n", "utf-8")
    (fault,) = faults_of(path)
    assert fault.where == "child.toml: base"
    assert given in fault.given
    assert "site file" in fault.allowed
    assert len(str(fault)) < 1500


def test_bases_in_a_circle_and_too_many_are_refused(tmp_path: Path) -> None:
    child(tmp_path, "b.toml", name="a")
    child(tmp_path, "a.toml", name="b")
    (fault,) = faults_of(tmp_path / "a.toml")
    assert (fault.where, fault.allowed) == (
        "b.toml: base", "a site file that is not based on this one")
    write_new_site("s0", tmp_path)
    for number in range(1, MOST_FILES + 1):
        child(tmp_path, f"s{number - 1}.toml", name=f"s{number}")
    assert read_site(tmp_path / f"s{MOST_FILES - 1}.toml").site.site.name == "s0"
    (fault,) = faults_of(tmp_path / f"s{MOST_FILES}.toml")
    assert fault.allowed == f"at most {MOST_FILES} site files based on one another"


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="no links here")
def test_a_link_to_itself_is_a_circle(site: Path) -> None:
    path = child(site.parent, "link.toml")
    (site.parent / "link.toml").symlink_to(path)
    assert "not based on this one" in faults_of(path)[0].allowed


def test_a_base_with_broken_syntax_is_named(site: Path) -> None:
    site.write_text("[array\n", "utf-8")
    (fault,) = faults_of(child(site.parent, "shop.toml"))
    assert fault.where == "child.toml: base"
    assert "shop.toml: line 1" in fault.why


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(base=some.text(max_size=40) | some.sampled_from(["..", "~", "con", "aux.toml", "%00"]))
def test_any_text_as_base_is_a_fault_of_its_key(tmp_path: Path, base: str) -> None:
    path = tmp_path / "child.toml"
    try:
        path.write_text(f"base = {toml_text(base)}\n", "utf-8")
    except UnicodeEncodeError:
        return
    with pytest.raises(InputError) as caught:  # no other file is there
        read_site(path)
    assert all(one.where == "child.toml: base" for one in caught.value.faults)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(row=some.recursive(
    some.none() | some.booleans() | some.integers() | some.floats() | some.text(max_size=6),
    lambda inner: some.lists(inner, max_size=2) | some.dictionaries(
        some.sampled_from(["name", "words", "array", "variants", "base", "x"]), inner, max_size=3),
    max_leaves=6))
def test_any_row_as_a_variant_is_a_fault_or_a_site(row: object) -> None:
    design = open_design("orchard-shop")
    for rows in ([row], row):
        with contextlib.suppress(InputError):
            design.changed({"variants": rows})  # type: ignore[dict-item]


def test_the_demo_clinic_has_two_variants_with_words() -> None:
    site = read_site(data_folder() / "sites" / "ridge-clinic.toml").site
    assert [one.name for one in site.variants] == ["One string only", "Larger battery"]
    assert all(one.words and one.tables for one in site.variants)


@pytest.mark.slow
def test_a_variant_is_checked_and_reported_as_a_site_of_its_own(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = read_site(site).site.site.name
    add(site, variant("Flat: 5", "array.tilt_deg = 5.0"))
    for word in (f"{site}:flat: 5", f"{site}: Flat:  5"):
        assert main(["check", "--fresh", word]) in (0, 1)
        said = capsys.readouterr().out
        assert "the variant is valid" in said
        assert f"{name}, Flat: 5:" in said
        assert "tilt 5°" in said
    assert main(["check", f"{site}:Flad: 5"]) == 1
    assert "did you mean Flat: 5?" in capsys.readouterr().err
    own = read_named(f"{site}:Flat: 5")
    assert own.word == f"{site}:Flat: 5"
    assert own.site.variants == []
    assert with_changes(own, {"array": {"row_pitch_m": 2.0}}).variant == "Flat: 5"


@pytest.mark.slow
def test_a_variant_and_its_site_have_a_report_each(tmp_path: Path) -> None:
    path = demo_sites()["ridge-clinic"]
    words = [f"{path}:larger  battery", str(path), f"{path}:none such"]
    own = read_named(words[0])
    for _ in range(2):
        result = report_sites([Path(word) for word in words], tmp_path, documents=["DS"],
                              warm=False)  # fmt: skip
        made = {slug for slug, _ in (*result.done, *result.unchanged)}
        assert made == {own.slug, read_site(path).slug}
        ((failed, why),) = result.failed
        assert str(failed) == words[2]
        assert "one of One string only, Larger battery" in why
    record = json.loads((tmp_path / own.slug / "summary.json").read_text(encoding="utf-8"))
    assert record["site"]["name"] == f"{read_site(path).site.site.name}, Larger battery"
    assert record["job"]["rated_battery_kwh"] > open_design(path).site.battery.rated_wh / 1000.0
