"""Odd folders, files, names and sites: refused by name or told, and no run is lost over them.

The sites are invented and broken on purpose: no source.
"""

from __future__ import annotations

import json
import os
import platform
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites, whole_folder
from solarcalc.basis.messages import languages, messages
from solarcalc.basis.quantity import with_unit
from solarcalc.basis.text import initials, short_name
from solarcalc.batch.folders import keep_earlier, read_record, shared_folders
from solarcalc.design import open_design
from solarcalc.documents import quote
from solarcalc.documents.booklet import hours_words, unsupplied_words
from solarcalc.documents.making import Making, document_number, file_stem
from solarcalc.documents.quote import why_no_quote
from solarcalc.sitefile.read import read_site
from solarcalc.stages.said import odd_days
from solarcalc.stages.serials import Position, read_serials
from solarcalc.views.handover import customer_facts


def test_a_file_where_the_folder_of_a_site_goes_is_kept_and_told(tmp_path: Path) -> None:
    site = read_site(demo_sites()["ridge-clinic"])
    (tmp_path / site.slug).write_text("a letter of mine")
    assert "a file is in the way" in shared_folders([site], tmp_path)[site.path]
    with pytest.raises(FileExistsError), whole_folder(tmp_path / site.slug):
        pass
    with pytest.raises(FileExistsError), whole_folder(tmp_path / "late"):
        (tmp_path / "late").write_text("came while it was filled")
    assert (tmp_path / site.slug).read_text() == "a letter of mine"
    assert (tmp_path / "late").read_text() == "came while it was filled"


@pytest.mark.parametrize("record", [
    {"site": [], "job": "x"}, {"site": "x"}, {"site": {"name": "a"}, "job": [1]}, [], "x",
])
def test_an_odd_summary_counts_as_unreadable(tmp_path: Path, record: object) -> None:
    site = read_site(demo_sites()["ridge-clinic"])
    target = tmp_path / site.slug
    target.mkdir()
    (target / "summary.json").write_text(json.dumps(record))
    assert shared_folders([site], tmp_path) == {}
    assert read_record(target) is None
    (tmp_path / "new").mkdir()
    assert keep_earlier(target, tmp_path / "new") is not None


def test_what_a_killed_run_left_is_cleared_and_a_live_one_is_not(tmp_path: Path) -> None:
    def left(name: str, run: str | None, *, days: int = 0) -> Path:
        folder = tmp_path / f".site.partial-{name}"
        folder.mkdir()
        if run is not None:
            (folder / ".run").write_text(run)
        return folder

    here = platform.node()
    gone = left("gone", f"{here} 999999999")
    live = left("live", f"{here} {os.getpid()}")
    elsewhere = left("elsewhere", "another-machine 1")
    nobody = left("nobody", None)
    other = tmp_path / ".other.partial-x"
    other.mkdir()
    with whole_folder(tmp_path / "site") as folder:
        (folder / "a").write_text("")
    assert not gone.exists()
    assert live.is_dir()
    assert elsewhere.is_dir()
    assert nobody.is_dir()
    assert other.is_dir()
    assert [path.name for path in (tmp_path / "site").iterdir()] == ["a"]


@pytest.mark.parametrize("name", ["太陽光発電所", "😀🌞", "مدرسة السطح", "..", "Łódź"])
def test_numbers_of_names_in_other_letters_differ_and_name_their_files(name: str) -> None:
    number = document_number(name, "DS")
    assert number.isascii()
    assert len(number) <= 16
    assert not number.startswith("SITE")
    assert file_stem(number, "A").startswith(number.lower())
    assert initials("太陽") != initials("陽太")


def test_the_head_has_room_for_any_name() -> None:
    assert short_name("Ridge Road Clinic") == "Ridge Road Clinic"
    for name in ("W" * 120, "Lange Wörter sehr " * 6, "太" * 80, "a" * 41):
        assert len(short_name(name)) <= 42
        assert short_name(name).endswith("…")


def test_several_conductors_have_their_unit_behind() -> None:
    assert with_unit("3 × 95", "mm²") == "3 × 95 mm²"


@pytest.mark.parametrize("language", languages())
def test_hours_that_are_no_time_and_hours_of_the_whole_year(language: str) -> None:
    words, design = messages(language), open_design("ridge-clinic")
    facts = customer_facts(design)

    class Given:
        unsupplied_h = (0.0,) * 12

    assert facts.fills
    assert hours_words(float("nan"), words) == "−"
    given = Given()
    given.unsupplied_h = (730.0,) * 12
    assert unsupplied_words(given, words) == words.text("unsupplied_all")  # type: ignore[arg-type]
    given.unsupplied_h = (100.0,) * 12
    said = unsupplied_words(given, words)  # type: ignore[arg-type]
    assert words.month(1) not in said
    assert "1200" in "".join(filter(str.isdigit, said))


@pytest.mark.slow
@pytest.mark.parametrize("language", languages())
def test_a_quote_with_five_long_conditions_has_two_pages(
    document_cases: Any, language: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = messages(language)
    told = {"condition_roof": {"mass": "1 000"}, "condition_room": {"room": "18"}}
    lengths = {key: len(words.text(key, **told.get(key, {})))
               for key in set(quote._CONDITIONS.values())}  # fmt: skip
    longest = tuple(sorted(lengths, key=lengths.__getitem__)[-4:])
    monkeypatch.setattr(
        quote, "_open_conditions", lambda quoted: (("condition_roof", *longest), 7))
    design = document_cases.demo("orchard-shop").changed({"firm": {"language": language}})
    (document,) = quote.documents(Making(design=design))
    _, pages = document_cases.hold_to_rules(document, pages=2)
    assert len(pages) == 2


def test_an_array_that_yields_nothing_is_not_offered() -> None:
    design = open_design(
        "plateau-school", {"array": {"modules_in_series": 1, "module_count": 1}})
    assert design.energy.ac_kwh == 0.0
    assert "stages/array-without-energy" in {one.rule for one in design.blocking}
    assert "Energy from the array" in why_no_quote(design)


def test_days_and_claims_that_cannot_be_so_are_told() -> None:
    claim = {"position": "S99/3", "date": "2026-01-02", "fault": "glass broken"}
    design = open_design("ridge-clinic", {
        "handover": {"claims": [claim, claim]},
        "status": {"stage": "visit", "revision": "B", "date": "2026-01-10",
                   "issued": [{"document": "DS", "revision": "B", "date": "2026-01-02", "to": "A"},
                              {"document": "DS", "revision": "Z", "date": "2026-01-12", "to": "A"}],
                   "signed": [{"what": "QU", "name": "A", "date": "2026-03-01"}]},
    })  # fmt: skip
    said = "\n".join(odd_days(design, date(2026, 2, 1)))
    assert said.count("no position S99/3") == 2
    assert said.count("a second time") == 1
    assert "status.signed[1].date: 2026-03-01 is later than today" in said
    assert "before that revision's day" in said
    assert "revision Z" in said
    assert said.count("later than today") == 1


def test_serial_numbers_by_tabs_and_under_words_with_semicolons(tmp_path: Path) -> None:
    path = tmp_path / "serials.csv"
    places = [Position(name="S1/1", kind="module", designed_as="a")]
    path.write_text('"# a; b; c"\nposition,model,serial,warranty_until\nS1/1,m,7,\n')
    assert read_serials(path, places)["S1/1"].serial == "7"
    path.write_text("position\tmodel\tserial\twarranty_until\nS1/1\tm\t7\t\n")
    with pytest.raises(InputError, match="separated by tabs"):
        read_serials(path, places)
