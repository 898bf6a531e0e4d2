"""What learners write is read as people write it; nothing they write ends in a traceback."""

from __future__ import annotations

import json
import os
import re
import runpy
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

import solarcalc
from solarcalc.basis.errors import InputError
from solarcalc.basis.text import short_name
from solarcalc.lessons import progress as kept
from solarcalc.lessons.classroom import _together, read_class, site_for, write_class_page
from solarcalc.lessons.marking import Mark, marked
from solarcalc.lessons.progress import Progress, progress_file, read_progress
from solarcalc.lessons.session import open_lesson
from solarcalc.lessons.source import PLACE, Asked, filled, lesson_keys
from solarcalc.lessons.tasks import Worked, worked
from solarcalc.lessons.units import AnswerError, _units, in_words, is_counted, read_number

CASES = runpy.run_path(str(Path(__file__).with_name("lesson_cases.py")))
SHEET = "01_module_sheet"


@pytest.mark.parametrize(("said", "unit", "value"), [
    ("3 m", "m", 3.0), ("3,0 m", "m", 3.0), ("300 cm", "m", 3.0), ("3", "m", 3.0), (3, "m", 3.0),
    ("3.0 metres", "m", 3.0), ("= 3 m.", "m", 3.0), ("about 3m", "m", 3.0), ("−8 °C", "°C", -8.0),
    ("-8 C", "°C", -8.0), ("33", "K", 33.0), ("33 °C", "K", 33.0),
    ("31 degrees", "K", 31.0), ("−6°", "°C", -6.0), ("20 deg", "°", 20.0),
    ("1 250,5 W", "kW", 1.2505),
    ("1.250,5 W", "W", 1250.5), ("1,250.5 W", "W", 1250.5), ("12'500", "W", 12500.0),
    ("4 sq mm", "mm²", 4.0), ("4mm2", "mm²", 4.0), ("4 mm^2", "mm²", 4.0),
    ("2.5 kwh", "Wh", 2500.0),
    ("5 kWh per day", "kWh/day", 5.0), ("5 kWh a day", "kWh/day", 5.0), ("50 ohm", "Ω", 50.0),
    ("50 Ω", "Ω", 50.0), ("1 Mohm", "Ω", 1e6), ("1 mohm", "Ω", 1e-3),
    ("7 panels", "modules", 7.0), ("1 string", "strings", 1.0),
    ("20 percent", "%", 20.0), ("2 days", "h", 48.0), ("0,123 V", "V", 0.123), ("1e3 W", "kW", 1.0),
    ("17 units", "batteries", 17.0), ("18 solar panels", "modules", 18.0), ("18 nos", "rods", 18.0),
    ("223 Vdc", "V", 223.0), ("12.8 A DC", "A", 12.8), ("0,4 kW peak", "W", 400.0),
    ("397 watts peak", "W", 397.0), ("26.9 milli ohm", "mΩ", 26.9), ("3 mtr", "m", 3.0),
    ("1,8 yrs", "years", 1.8), ("77.3 pct", "%", 77.3), ("194 ohm.m", "Ω·m", 194.0),
    ("1402 kWh for each kWp", "kWh/kWp", 1402.0),
    ("2,07 mΩ/m", "Ω/km", 2.07), ("2.07 mohm/m", "Ω/km", 2.07), ("47 degrees C", "K", 47.0),
    ("137 sq cm", "cm²", 137.0), ("5.3 peak sun hours", "h", 5.3), ("53 l/min", "m³/h", 3.18),
    ("3,2 kilowatt peak", "kWp", 3.2),
    ("120 mV/K", "V/K", 0.12), ("100 Ωm", "Ω·m", 100.0), ("100 ohm m", "Ω·m", 100.0),
])  # fmt: skip
def test_a_number_is_read_as_people_write_it(said: object, unit: str, value: float) -> None:
    assert read_number(said, unit) == pytest.approx(value)


@pytest.mark.parametrize(("said", "unit", "told"), [
    ("12 V", "A", "V is the unit of a voltage: here a current is asked, in A"),
    ("12 Ah", "Wh", "a charge: here an energy"), ("12,345", "V", "12345 or 12.345"),
    ("three", "m", "one number"), ("3 or 4", "m", "one number"), ("3-4 m", "m", "one number"),
    ("12 mw", "W", "not known"), ("5 modules", "strings", "a number of modules"),
    ("3 m", "", "plain number"), (True, "m", "one number"), ([3], "m", "one number"),
    ("nan", "V", "one number"), (float("inf"), "V", "one number"), ("1,2,3.4.5", "V", "one number"),
    ("٣" * 200, "V", "one number"),
])  # fmt: skip
def test_what_cannot_be_read_is_told_in_a_sentence(said: object, unit: str, told: str) -> None:
    with pytest.raises(AnswerError, match=told):
        read_number(said, unit)


@given(right=st.floats(1.001, 999.0), thousands=st.booleans())
def test_a_comma_before_three_figures_is_read_as_what_is_right(
    right: float, thousands: bool
) -> None:
    """Where neither way is right it is asked about, and is no try."""
    asked = Asked(key="any", ask="Any?")
    written = f"{right:.3f}".replace(".", ",")
    value = float(written.replace(",", "" if thousands else "."))
    assert marked(asked, Worked(right=value, unit="V"), f"{written} V").verdict == "right"
    other = marked(asked, Worked(right=3.0 * value, unit="V"), f"{written} V")
    assert other.verdict == "unread"
    assert "two ways" in other.words


anything = st.one_of(
    st.text(max_size=40), st.none(), st.booleans(), st.integers(), st.floats(),
    st.lists(st.integers(), max_size=2), st.binary(max_size=4),
    st.dictionaries(st.text(), st.none()),
    st.text(alphabet="0123456789.,-+eE' mVWΩ²°%/", max_size=20),
)  # fmt: skip


@settings(deadline=None)
@given(said=anything, unit=st.sampled_from([*_units(), ""]))
@example(said="³", unit="m")
@example(said="1" * 99, unit="m")
@example(said=10**400, unit="m")
def test_no_answer_ends_in_a_traceback(said: object, unit: str) -> None:
    asked = Asked(key="any", ask="Any?", mistakes={"slip": "A slip."})
    number = Worked(right=3.0, unit=unit, wrong={"slip": 5.0})
    choice = Worked(right="S1", items=("S1", "S2"))
    for found in (number, choice):
        mark = marked(asked, found, said)
        assert mark.words
        assert mark.verdict in ("none", "unread", "right", "wrong")


@given(value=st.floats(0.01, 9999.0), unit=st.sampled_from(sorted(_units())))
def test_a_number_in_any_unit_of_its_kind_is_the_same(value: float, unit: str) -> None:
    words, factor = _units()[unit]
    for other, (kind, its) in _units().items():
        if kind == words:
            assert read_number(f"{value * factor / its:.12g} {other}", unit) == pytest.approx(value)


def run(capsys: pytest.CaptureFixture[str], call, *said: object) -> str:
    call(*said)
    return capsys.readouterr().out


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(kept.FOLDER, str(tmp_path))
    return tmp_path


def test_a_learner_goes_through_a_task(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Prediction kept, slip named, a hint a wrong try, then the solution, then right."""
    lesson = open_lesson(SHEET, "Ama Mensah")
    assert list(folder.iterdir()) == [], "nothing is written before the first answer"
    assert "not predicted yet" in run(capsys, lesson.compare)
    assert "Kept: a)" in run(capsys, lesson.predict, "a")
    assert "The first one stands" in run(capsys, lesson.predict, "b")
    assert "other than you predicted" in run(capsys, lesson.compare)
    asked, found = lesson.text.task("hot_power"), lesson.worked("hot_power")
    first = run(capsys, lesson.ask, "hot_power", found.wrong["forgot_the_heat"])
    assert asked.mistakes["forgot_the_heat"] in first
    assert "Hint 1 of 2" in first
    assert "Worked solution" not in first
    again = run(capsys, lesson.ask, "hot_power", found.wrong["forgot_the_heat"])
    assert "Hint 1 of 2" in again, "the same cell run twice is one try"
    assert "This was no try" in run(capsys, lesson.ask, "hot_power", "12 V")
    second = run(capsys, lesson.ask, "hot_power", "1 W")
    assert "too small" in second
    assert "Hint 2 of 2" in second
    assert "Worked solution" not in second
    third = run(capsys, lesson.ask, "hot_power", "2 W")
    assert "Worked solution" in third
    assert "Hint" not in third
    other_unit = f"{found.right / 1000.0:.5f} kW".replace(".", ",")
    if other_unit.startswith("0,"):
        assert "Correct" in run(capsys, lesson.ask, "hot_power", other_unit)
    again = open_lesson(SHEET, " ama  mensah")
    assert again.progress.is_done("hot_power")
    assert again.progress.wrong_tries("hot_power") == 3
    assert again.given == lesson.given
    assert "a thousand times too large" in run(capsys, again.ask, "hot_power", 1000.0 * found.right)


def test_the_solution_is_shown_when_asked_for_after_both_hints(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lesson = open_lesson(SHEET, "Ama")
    assert "comes after 2 tries more" in run(capsys, lesson.ask, "hot_power", "solution")
    run(capsys, lesson.ask, "hot_power", "1 W")
    assert "comes after one try more" in run(capsys, lesson.ask, "hot_power", "Solution!")
    assert 'write "solution"' in run(capsys, lesson.ask, "hot_power", "2 W")
    told = run(capsys, lesson.ask, "hot_power", "please show the solution")
    assert "Worked solution" in told
    assert "Hint" not in told
    assert "Correct" in run(capsys, lesson.ask, "hot_power", lesson.worked("hot_power").right)
    assert lesson.progress.wrong_tries("hot_power") == 2
    assert "Predict first" in run(capsys, lesson.predict, "solution")


@pytest.mark.parametrize("key", lesson_keys())
def test_all_that_a_learner_meets_has_its_numbers_in_place(
    key: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Questions with captions and pictures, hints, solutions: no name stands where a value does."""
    lesson = open_lesson(key)
    lesson.predict("a")
    for asked in lesson.text.tasks:
        found = lesson.worked(asked.key)
        wrong = next(iter(found.wrong.values()), None)
        for said in (None, *[wrong] * (1 + len(asked.hints)), "solution", found.right):
            lesson.ask(asked.key, said)
    lesson.compare()
    lesson.finish()
    assert not (left := PLACE.findall(capsys.readouterr().out)), left


@pytest.mark.parametrize("key", lesson_keys())
def test_a_wrong_item_is_told_why_it_is_not_the_one(
    key: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """An item that is no named slip has a sentence too, and none names the right one."""
    lesson = open_lesson(key)
    for asked in lesson.text.tasks:
        found = lesson.worked(asked.key)
        for item in set(found.items) - {found.right, *found.wrong.values()}:
            lesson.progress.tries(asked.key).clear()
            if asked.after:
                lesson.progress.keep_try(asked.after, Mark(verdict="right", said="", words=""))
            words = run(capsys, lesson.ask, asked.key, item).partition("Not yet: ")[2]
            said, _, why = words.partition("Hint 1")[0].partition(".")
            assert said.casefold() == item.casefold()
            assert item.casefold() in why.casefold(), (asked.key, item)
            assert not re.search(rf"\b{re.escape(str(found.right))}\b", why), (asked.key, why)


def test_counts_are_few_or_many_and_a_right_answer_is_praised_in_its_own_words(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lesson = open_lesson("12_earthing_residual_current", "Kofi")
    assert "900 rods are too many." in run(capsys, lesson.ask, "rods_for_target", "900")
    assert "here a number of rods is asked." in run(capsys, lesson.ask, "rods_for_target", "3 m")
    leaked = lesson.worked("leaked")
    told = run(capsys, lesson.ask, "leaked", leaked.right)
    assert f"a device of 30 mA {leaked.steps['said']}." in told
    year = open_lesson("16_year_of_data", "Kofi")
    right = float(year.worked("yield_of_year").right)
    said = f"{right / 1000.0:.4f} MWh/kWp".replace(".", ",")
    assert "Correct" in run(capsys, year.ask, "yield_of_year", said)


def test_a_task_that_another_gives_away_waits_for_it(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lesson = open_lesson("07_strings_cold_morning", "Ama")
    assert "Do task 6 first" in run(capsys, lesson.ask, "kind_of_fault", None)
    run(capsys, lesson.ask, "faulty_string", lesson.worked("faulty_string").right)
    assert lesson.given.faulty in run(capsys, lesson.ask, "kind_of_fault", None)


@pytest.mark.parametrize("key", lesson_keys())
def test_a_choice_is_known_by_its_line_its_letter_or_its_words(key: str) -> None:
    """A way of a board by its number too; two that begin alike, or two at once, are asked about."""
    lesson = open_lesson(key)
    for asked in (lesson.text.predict, *lesson.text.tasks):
        asked, found = lesson._asked(asked.key)
        plain = {letter: re.sub(r"\W", "", words) for letter, words in asked.choices.items()}
        for letter, words in asked.choices.items():
            said = [letter, letter.upper(), f"{letter}) {words}", words, words.rstrip(".")]
            begun = " ".join(words.split()[:2])
            alike = [one for one in plain.values()
                     if one.casefold().startswith(re.sub(r"\W", "", begun).casefold())]
            if len(alike) == 1 and len(begun) > 2:
                said.append(begun)
            right = marked(asked, found, letter)
            assert all(marked(asked, found, one) == right for one in said), (asked.key, said)
        numbers = [re.sub(r"\D", "", item).lstrip("0") for item in found.items]
        for item, number in zip(found.items, numbers, strict=True):
            said = [item, item.lower(), f"the {item}"]
            if number and numbers.count(number) == 1:
                said += [f"number {number}", re.sub(r"0+(?=\d)", "", item)]
            right = marked(asked, found, item)
            assert all(marked(asked, found, one) == right for one in said), (asked.key, said)
            other = next(one for one in found.items if one != item)
            for both in (f"{item} or {other}", f"{other}, {item}"):
                assert marked(asked, found, both).verdict == "unread", (asked.key, both)


def test_a_choice_is_said_back_with_its_numbers(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lesson = open_lesson("14_building_order", "Ama")
    kept_words = run(capsys, lesson.predict, "a")
    assert f"Kept: a) After {sum(lesson.given.days.values())} days" in kept_words
    assert "<" not in kept_words + run(capsys, lesson.compare)


def test_without_a_name_nothing_is_kept(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lesson = open_lesson(SHEET)
    lesson.predict("b")
    lesson.ask("hot_power", 1.0)
    assert "Nothing is kept" in run(capsys, lesson.finish)
    assert list(folder.iterdir()) == []


def test_a_task_that_is_not_there_is_told() -> None:
    with pytest.raises(InputError, match="did you mean hot_power"):
        open_lesson(SHEET).ask("hot_powr", None)
    with pytest.raises(InputError, match="did you mean 01_module_sheet"):
        open_lesson("1_module_sheet")


@pytest.mark.parametrize("content", [
    b"", b"{", b"[]", b"null", b"\xff\xfe\x00", b'{"format": 2, "learner": "Ama", "lessons": {}}',
    b'{"format": 1, "learner": "Ama", "lessons": {"01_module_sheet": []}}',
    b'{"format": 1, "learner": "Ama", "lessons": {"01_module_sheet": {"ridge-clinic": {"predicted":'
    b' null, "tasks": {"hot_power": [{"said": 3}]}}}}}', b"[" * 100_000,
])  # fmt: skip
def test_a_damaged_file_is_set_aside_and_told(
    content: bytes, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = progress_file(folder, "Ama")
    path.write_bytes(content)
    lesson = open_lesson(SHEET, "Ama")
    assert "was damaged: it is set aside" in run(capsys, lesson.predict, "b")
    (aside,) = folder.glob("*.damaged-*")
    assert aside.read_bytes() == content
    assert read_progress(path) is not None


def test_a_folder_that_cannot_be_written_is_told_and_the_lesson_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv(kept.FOLDER, str(tmp_path / "file"))
    lesson = open_lesson(SHEET, "Ama")
    assert "Not kept" in run(capsys, lesson.ask, "hot_power", 1.0)
    assert "Hint 2 of 2" in run(capsys, lesson.ask, "hot_power", 2.0), "it still counts"


def test_two_windows_lose_nothing_of_each_other(folder: Path) -> None:
    one, other = (open_lesson(SHEET, "Ama") for _ in range(2))
    one.ask("hot_power", 1.0)
    other.ask("efficiency", 1.0)
    one.ask("hot_power", 2.0)
    now = Progress(learner="Ama", lesson=SHEET, site="ridge-clinic")
    assert (len(now.tries("hot_power")), len(now.tries("efficiency"))) == (2, 1)


@settings(deadline=None)
@given(first=CASES["names"], second=CASES["names"])
def test_two_names_never_share_a_file_and_stay_in_the_folder(first: str, second: str) -> None:
    folder = Path("there")
    paths = [progress_file(folder, name) for name in (first, second)]
    assert all(path.parent == folder for path in paths)
    assert (paths[0] == paths[1]) == (kept.plain_name(first) == kept.plain_name(second))


CLASS = """title = "Spring & <course>"
sites = ["plateau-school", "ridge-clinic"]
lessons = ["01_module_sheet"]
[[learners]]
name = "Ama"
[[learners]]
name = "Kofi <b>"
site = "coral-pharmacy"
[[learners]]
name = "Esi"
"""


def test_a_trainer_sets_a_class_and_sees_it(folder: Path) -> None:
    (folder / "class.toml").write_text(CLASS)
    assert [site_for(name) for name in ("AMA", "Kofi <b>", "Esi", "Nobody")] == [
        "plateau-school", "coral-pharmacy", "plateau-school", ""]
    lesson = open_lesson(SHEET, "Ama")
    assert lesson.design.site.site.name == "Plateau Boarding School"
    lesson.predict("b")
    for value in lesson.worked("hot_power").wrong.values():
        lesson.ask("hot_power", value)
    lesson.ask("hot_power", lesson.worked("hot_power").right)
    for value in lesson.worked("efficiency").wrong.values():
        lesson.ask("efficiency", value)
    progress_file(folder, "Yaw").write_text("{")
    page = write_class_page(folder).read_text(encoding="utf-8")
    for words in ("Ama", "Kofi &lt;b&gt;", "1 of 6", "0 of 6", "Damaged",
                  "you left the temperature out", "lesson 1, task 2 (efficiency)",
                  "Spring &amp; &lt;course&gt;", "coral-pharmacy"):
        assert words in page, words
    assert "<b>" not in page
    assert "1, task 3" not in page, "done, though after many tries"


TRIES = st.lists(st.builds(
    lambda said, verdict, day: {"said": said, "verdict": verdict, "mistake": "", "day": day},
    st.sampled_from("1234"), st.sampled_from(["wrong", "right", "shown"]),
    st.sampled_from(["2026-05-01", "2026-05-02", "2026-05-03"])), max_size=6)  # fmt: skip
FILES = st.lists(st.dictionaries(st.sampled_from(["hot_power", "efficiency"]), TRIES), max_size=4)


@settings(deadline=None)
@given(files=FILES, name=CASES["names"])
def test_files_of_one_learner_count_together_and_a_copy_counts_once(
    files: list[dict[str, list[dict[str, str]]]], name: str
) -> None:
    """Of two machines, in any order: no try is lost, none of a copy is counted again."""
    records = [{"learner": name, "lessons": {SHEET: {"ridge-clinic": {
        "predicted": None, "tasks": tasks}}}} for tasks in files]
    whole = _together(records)
    assert len(whole) == bool(files)
    assert _together([*whole, *records]) == whole
    for one in whole:
        held = one["lessons"][SHEET]["ridge-clinic"]["tasks"]
        for key in {key for tasks in files for key in tasks}:
            days = [each["day"] for each in held[key]]
            assert days == sorted(days)
            for tasks in files:
                for each in tasks.get(key, []):
                    assert held[key].count(each) >= tasks[key].count(each)
    assert len(short_name(name)) <= 41


def test_a_class_is_in_the_order_of_the_alphabet_and_its_faulty_sites_are_told(
    tmp_path: Path
) -> None:
    names = ["Zoé", "Éloïse", "ama", "Farid", "Ömer", "Olu"]
    (tmp_path / "bad.toml").write_text("[site]\nname = 1,5\n")
    text = "".join(f'[[learners]]\nname = "{name}"\n' for name in names)
    (tmp_path / "class.toml").write_text(f'sites = ["ridge-clinic", "bad.toml"]\n{text}',
                                         encoding="utf-8")
    page = write_class_page(tmp_path).read_text(encoding="utf-8")
    found = [page.index(f">{name}<") for name in ("ama", "Éloïse", "Farid", "Olu", "Ömer", "Zoé")]
    assert found == sorted(found)
    told = page[page.index("input errors"):]
    assert "bad.toml" in told
    assert "ridge-clinic" not in told


@pytest.mark.parametrize("name", ["A" * 200, "W" * 60, "Ama " * 30])
def test_a_long_name_leaves_room_for_the_columns(name: str, tmp_path: Path) -> None:
    found = {"format": 1, "learner": name, "lessons": {SHEET: {"ridge-clinic": {
        "predicted": None, "tasks": {}}}}}
    (tmp_path / "a.json").write_text(json.dumps(found))
    text = write_class_page(tmp_path).read_text(encoding="utf-8")
    assert name not in text
    assert short_name(name) in text


@pytest.mark.slow
@pytest.mark.parametrize(("text", "told"), [
    ('lesons = ["01_module_sheet"]', "lesons"), ('lessons = ["99_none"]', "99_none"),
    ('sites = ["no-site"]', "no-site"), ("[[learners]]", "a name"), ("title = 3", "a text"),
    (f'title = "{"x" * 121}"', "at most 120"), ('title = "a\\u202eb"', "one line"),
    ('[[learners]]\nname = "Ama"\n[[learners]]\nname = "ama "', "each name once"),
    ("learners = 3", "a list"), ("learners = [3]", "a name"), ("sites = [3]", "3"),
    ("=", "class.toml"),
])  # fmt: skip
def test_a_class_file_that_is_not_sound_is_told(text: str, told: str, tmp_path: Path) -> None:
    (tmp_path / "class.toml").write_text(text)
    with pytest.raises(InputError, match=told):
        read_class(tmp_path)


@pytest.mark.slow
def test_the_command_writes_the_page(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, "-m", "solarcalc", "class", "page", str(tmp_path)],
                          capture_output=True, text=True, check=True)  # fmt: skip
    assert done.stdout.strip() == str(tmp_path / "class.html")
    assert "Nobody has begun" in (tmp_path / "class.html").read_text(encoding="utf-8")


def test_a_page_that_cannot_be_written_is_told_by_its_name(tmp_path: Path) -> None:
    (tmp_path / "class.html").mkdir()
    (tmp_path / "ama.json").write_text("[1, 2")
    with pytest.raises(InputError, match="class") as caught:
        write_class_page(tmp_path)
    assert "may be written to" in str(caught.value)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["ama.json", "class.html"]
    (tmp_path / "class.html").rmdir()
    text = write_class_page(tmp_path).read_text(encoding="utf-8")
    assert "no file of progress in this folder can be read" in text
    assert "ama.json" in text


@pytest.mark.slow
def test_all_lessons_run_under_nbval() -> None:
    folder = Path(__file__).resolve().parents[1] / "workbooks" / "lessons"
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-n0", "-q", "--nbval-lax", "-m", "", str(folder)],
        capture_output=True, text=True, cwd=folder.parents[1],
        env=os.environ | {"PYTHONPATH": str(Path(solarcalc.__file__).parents[1])},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-3000:]
    assert not (folder / "progress").exists(), "a run without a name leaves nothing"
    assert json.loads(next(folder.glob("*.ipynb")).read_text())["cells"]


def test_choices_are_told_back_with_the_learner_s_figures(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And what cannot be read is asked for again in plain words."""
    lesson = open_lesson("05_watts_kilowatt_hours", "Ama Mensah")
    assert "Please answer with one of a, b, c, d. This was no prediction." in run(
        capsys, lesson.predict, "z")
    kept_words = run(capsys, lesson.predict, "c")
    told = run(capsys, lesson.compare)
    assert "<" not in kept_words + told
    assert f"About {lesson.worked('good_day').steps['gives']:.0f} kWh" in told


def test_drawings_of_questions_are_drawn_when_they_are_shown(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "[drawing]" in run(capsys, open_lesson("03_portrait_landscape").ask, "open_diode", "A")


WORDS = {"m": "metre", "l": "litre", "g": "gram", "W": "watt", "V": "volt", "A": "ampere",
         "Ω": "ohm", "h": "hour", "s": "second", "Pa": "pascal", "N": "newton", "Hz": "hertz",
         "K": "kelvin", "day": "day", "year": "year", "min": "minute", "t": "tonne"}  # fmt: skip
PREFIXES = {"k": "kilo", "M": "mega", "m": "milli", "c": "centi"}


def spelt_out(sign: str) -> str:
    """A unit in words: kWh/m² is "kilowatt-hours per square metre"; empty where none has them."""
    sides = []
    for side in sign.split("/"):
        power = {"²": "square ", "³": "cubic "}.get(side[-1], "")
        parts = re.findall(r"([kMmc](?=[WVAΩmlgPNH]))?(min|day|year|Pa|Hz|[WVAΩmlgNhsKt])",
                           side.strip("²³"))
        if "".join("".join(one) for one in parts) != side.strip("²³·").replace("·", ""):
            return ""
        sides.append(power + "-".join(PREFIXES.get(prefix, "") + WORDS[name]
                                      for prefix, name in parts))
    return "s per ".join(sides) if len(sides) > 1 else f"{sides[0]}s"


@pytest.mark.parametrize("unit", sorted(unit for unit in _units() if spelt_out(unit)))
def test_a_unit_may_be_written_in_words(unit: str) -> None:
    for words in (spelt_out(unit), spelt_out(unit).replace("-", " "), spelt_out(unit).title()):
        assert read_number(f"3 {words}", unit) == 3.0, words


@pytest.mark.parametrize("said", ["about 3 m", "ca. 3 m", "Approx. 3,0 m", "roughly 300 cm",
                                  "3000 mm approximately", "~3 m", "≈ 3 metres"])  # fmt: skip
def test_a_hedge_is_no_unit(said: str) -> None:
    assert read_number(said, "m") == 3.0
    with pytest.raises(AnswerError):
        read_number(f"{said} or 4", "m")


@pytest.mark.parametrize("unit", [*(thing for thing in _units() if is_counted(thing)), "days"])
def test_one_of_a_thing_is_no_plural(unit: str) -> None:
    one, two = in_words(1.0, unit), in_words(2.0, unit)
    assert one.removeprefix("1") != two.removeprefix("2")
    assert read_number(one, unit) == 1.0


@pytest.mark.parametrize("key", lesson_keys())
@pytest.mark.parametrize("learner", CASES["LEARNERS"][:4])
def test_items_and_choices_are_known_by_what_tells_them_apart(key: str, learner: str) -> None:
    """As people say them: in a sentence, by their last word, by a word that no other choice has."""
    text, numbers = CASES["drawn"](key, learner, CASES["SITES"][0])
    for asked in text.tasks:
        found = worked(text, asked.key, numbers)
        if not isinstance(found.right, str):
            continue
        choices = {letter: filled(words, found.steps, numbers)
                   for letter, words in asked.choices.items()}  # fmt: skip
        asked = replace(asked, choices=choices)
        said: list[tuple[str, str]] = []
        for name in found.items:
            said += [(f"it is {name}", name)] * (len(name) > 1)
            last = name.split()[-1]
            alone = sum(other.split()[-1] == last for other in found.items) == 1
            said += [(last, name), (f"the one at {last}", name)] * (" " in name and alone)
        for letter, words in choices.items():
            said += [(word, letter) for word in re.findall(r"[^\W\d_]{5,}", words)
                     if sum(bool(re.search(rf"(?i)\b{word}\b", other))
                            for other in choices.values()) == 1
                     and word.lower() not in ("nothing", "neither", "without")]
        for answer, meant in said:
            mark = marked(asked, found, answer)
            assert mark.verdict == ("right" if meant == found.right else "wrong"), (answer, meant)


@pytest.mark.parametrize("said", ["not gap A", "all but B2", "none", "A or B2", "neither"])
def test_an_answer_that_denies_is_no_try(said: str) -> None:
    found = Worked(right="gap A", items=("gap A", "gap C", "B2"))
    assert marked(Asked(key="x", ask="Which?"), found, said).verdict == "unread"
