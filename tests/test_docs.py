"""README and documentation: what they say runs, is complete, and is in the words of the trade."""

from __future__ import annotations

import doctest
import re
import runpy
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.cli import command_parser
from solarcalc.design import open_design
from solarcalc.documents.write import write_design
from solarcalc.lessons.classroom import CLASS_FILE, read_class
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.survey_text import short_text

ROOT = Path(__file__).resolve().parents[1]
DOCS = ROOT / "docs"
_EXAMPLES = runpy.run_path(str(ROOT / "tests" / "doc_examples.py"))
PAGES, blocks = _EXAMPLES["PAGES"], _EXAMPLES["blocks"]
_BANNED = runpy.run_path(str(ROOT / "tests" / "banned.py"))
EXAMPLE = "coral-pharmacy"
MOST_LINES, MOST_KB = 120, 150
SLOW = doctest.register_optionflag("SLOW")


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def made(module: str) -> dict[str, str]:
    """Pages that a generator makes, by their path."""
    sys.path.insert(0, str(DOCS))
    try:
        return dict(__import__(f"generate.{module}", fromlist=["pages"]).pages(DOCS / "made"))
    finally:
        sys.path.remove(str(DOCS))


def test_the_readme_is_short_and_its_picture_small() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES
    pictures = re.findall(r"!\[[^\]]{30,}\]\(([^)]+)\)", text)
    assert pictures
    for name in pictures:
        assert (ROOT / name).stat().st_size < 1000 * MOST_KB
    for name in re.findall(r"\]\((?!https?:)([^)#]+)", text):
        assert (ROOT / name).exists(), name


@pytest.mark.parametrize("path", PAGES, ids=named)
def test_pages_say_no_banned_word(path: Path) -> None:
    text = re.sub(r"```.*?```", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    found = [told for line in text.splitlines() for told in
             _BANNED["banned_in"](re.sub(r"`[^`]*`", "", line), "en", where="texts")]  # fmt: skip
    assert found == []


@pytest.mark.parametrize("path", PAGES, ids=named)
def test_each_block_of_a_site_file_is_one(path: Path, tmp_path: Path) -> None:
    own = read_site(demo_sites()[EXAMPLE])
    for block in blocks(path, "toml"):
        written = tomllib.loads(block)
        if "learners" in written:
            (tmp_path / CLASS_FILE).write_text(block, encoding="utf-8")
            assert read_class(tmp_path).names
        elif "survey" not in written:
            assert with_changes(own, written).site


@pytest.mark.parametrize("path", PAGES, ids=named)
def test_each_block_may_stand_below_a_survey(path: Path, tmp_path: Path) -> None:
    """Below one as `new` writes it, with a first size beside the block; files are not there."""
    large = {"name": "Shop", "roof_length_m": 14.0, "roof_depth_m": 9.0}
    for block in blocks(path, "toml"):
        if not {"survey", "planes", "learners"} & set(tomllib.loads(block)):
            site = tmp_path / "site.toml"
            site.write_text(f"{short_text(large)}\n{block}", encoding="utf-8")
            assert read_site(site).site.array.module_count >= 1


@pytest.mark.parametrize("path", PAGES, ids=named)
def test_each_command_is_one(path: Path) -> None:
    for block in blocks(path, "sh"):
        for line in re.split(r"\n|&&", block):
            words = shlex.split(line, comments=True)
            if words and words[0].rpartition("/")[2] == "solarcalc":
                command_parser().parse_args(words[1:])


@pytest.mark.parametrize("slow", [False, pytest.param(True, marks=pytest.mark.slow)])
@pytest.mark.parametrize("path", [one for one in PAGES if any(blocks(one, "python"))], ids=named)
def test_each_python_example_gives_what_it_says(path: Path, slow: bool) -> None:
    text = "\n".join(blocks(path, "python"))
    test = doctest.DocTestParser().get_doctest(text, {}, named(path), str(path), 0)
    assert test.examples
    test.examples = [one for one in test.examples if slow or SLOW not in one.options]
    assert doctest.DocTestRunner().run(test).failed == 0


def test_every_key_of_the_site_file_is_in_the_reference() -> None:
    pages = made("site_file")
    for table, info in Site.model_fields.items():
        page = pages[f"keys/{table}.md"]
        assert f"keys/{table}.md" in pages["site-file.md"]
        for record in records_in(info.annotation):
            for key in record.model_fields:
                assert f"| `{key}` |" in page, f"{table}: {key}"
    assert "to be entered" in pages["keys/array.md"]
    assert "Jordan and Kurtz" in pages["keys/losses.md"], "the source of a default"


def records_in(annotation, seen=()):
    """Every record in an annotation and below, each once."""
    found = [] if annotation in seen else [annotation]
    if not isinstance(annotation, type) or not hasattr(annotation, "model_fields"):
        return [one for part in getattr(annotation, "__args__", ())
                for one in records_in(part, seen)]  # fmt: skip
    below = [one for info in annotation.model_fields.values()
             for one in records_in(info.annotation, (*seen, annotation))]  # fmt: skip
    return found + below


def test_every_command_and_option_is_in_the_reference(capsys: pytest.CaptureFixture) -> None:
    (page,) = made("commands").values()
    names = re.findall(r"^## solarcalc (\w+)", page, re.MULTILINE)
    assert names == re.findall(r"^    (\w+)(?: |$)", command_parser().format_help(), re.MULTILINE)
    for name in names:
        with pytest.raises(SystemExit):
            command_parser().parse_args([name, "--help"])
        said = capsys.readouterr().out
        section = page.partition(f"## solarcalc {name}\n")[2].partition("\n## ")[0]
        for option in re.findall(r"^  (--[\w-]+)", said, re.MULTILINE):
            assert f"`{option}" in section, f"{name} {option}"


@pytest.mark.slow
def test_every_stage_and_document_is_in_the_reference() -> None:
    pages = made("modules")
    for path in (ROOT / "solarcalc").iterdir():
        name = path.stem
        if name.startswith("_") or (path.is_dir() and not (path / "__init__.py").is_file()):
            continue
        assert any(f"## solarcalc.{name}".replace("_", "\\_") in page for page in pages.values()), (
            name)
    assert "open\\_design" in pages["python.md"]
    assert {"workbooks.md", "documents.md"} == set(made("workbooks"))


def test_the_tutorial_says_of_its_checks_what_they_print() -> None:
    made = runpy.run_path(str(ROOT / "docs" / "generate" / "tutorial.py"))
    first, mended = (made["check_of"](files) for files in made["STEPS"].values())
    text = " ".join((ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8").split())

    def printed(pattern: str, check: str) -> str:
        found = re.search(pattern, check)
        assert found is not None, f"{pattern!r} in no line of\n{check}"
        return found[1]

    count = NUMBERS[int(printed(r"(\d+) checks? fail", first))]
    assert f"{count.capitalize()} check{'' if count == 'one' else 's'} fail" in text
    dark_h, spare = printed(r"without supply: (\d+) h", first), printed(
        r"curtailed (\d+) of", mended)
    assert f"without supply for {dark_h} hours" in text
    assert "No check fails" in text
    assert "No check fails" in mended
    assert "nothing open before offer" in mended
    assert f"{spare} kWh curtailed" in text
    more, count_of_all = re.findall(r"(\w+) more modules .*?module_count = (\d+)", text)[0]
    assert int(printed(r"kWp: (\d+) x", mended)) + NUMBERS.index(more) == int(count_of_all)


NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


def test_documents_without_workbooks_are_refused_where_they_need_them(tmp_path: Path) -> None:
    design = open_design(EXAMPLE)
    for code in ("CA", "XX"):
        with pytest.raises(InputError, match=code):
            write_design(design, tmp_path / "out", ["DS", code])
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_the_site_is_built_and_every_link_holds(tmp_path: Path) -> None:
    pytest.importorskip("sphinx", reason="the extra 'docs' is missing")
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", "-W", "--keep-going", "-q", "docs", str(tmp_path)],
        cwd=ROOT, capture_output=True, text=True, check=False)  # fmt: skip
    assert done.returncode == 0, done.stderr
    pages = list(tmp_path.rglob("*.html"))
    assert len(pages) > 60
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert not re.search(r'<(?:script|link|img|iframe)[^>]+(?:src|href)="https?:', text), page
        for target in re.findall(r'(?:href|src)="(?!\w+:|#)([^"#?]+)', text):
            assert (page.parent / target).exists(), f"{page}: {target}"
