"""Files of people: regular ones alone, bounded, in a known encoding; a foreign file is not told.

Devices, pipes and giants are made here: no source.
"""

from __future__ import annotations

import base64
import os
import time
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from PIL import Image

from solarcalc.basis.errors import InputError
from solarcalc.basis.filled_csv import filled_rows
from solarcalc.basis.reading import (
    LONGEST_LINE,
    MOST_CELLS,
    UnreadableError,
    csv_rows,
    file_bytes,
    file_text,
    heads_told,
    quoted_rows,
    text_of,
)
from solarcalc.followup.columns import file_text as logger_text
from solarcalc.followup.columns import text_table, without_far
from solarcalc.quote.price_file import read_rows
from solarcalc.report.letterhead import read_logo
from solarcalc.sitefile.load_profile import read_profile_w
from solarcalc.sitefile.toml import read_toml
from solarcalc.survey.cells import open_book

SECRET = "root:x:0:0:hunter2-of-the-firm"

READERS: dict[str, Callable[[Path], Any]] = {
    "a.toml": lambda path: read_toml(path, quoted=False),
    "a-list.toml": lambda path: read_rows(path.name, path.parent),
    "a.csv": lambda path: read_rows(path.name, path.parent),
    "a.xlsx": lambda path: read_rows(path.name, path.parent),
    "survey.xlsx": open_book,
    "tests.csv": lambda path: filled_rows(path, where="results", a_line="one line a test")[0],
    "load.csv": lambda path: read_profile_w(path, where="site.toml"),
    "logger.csv": lambda path: text_table(
        logger_text(path, where="logger"), {"time": "when", "array_power": "power"},
        where="logger", name=path.name),
    "logo.svg": read_logo,
}  # fmt: skip


@pytest.fixture
def weather(clear_site: Any) -> Callable[[Path], Any]:
    """Reader of a weather file."""
    place = clear_site()
    return lambda path: place.read_path(path)


def refused(read: Callable[[Path], Any], path: Path) -> str:
    began_s = time.monotonic()
    with pytest.raises(InputError) as caught:
        read(path)
    assert time.monotonic() - began_s < 5.0
    assert str(caught.value).strip()
    return str(caught.value)


@pytest.fixture(params=[*READERS, "weather.csv"])
def reader(request: pytest.FixtureRequest, weather: Any) -> tuple[str, Callable[[Path], Any]]:
    return request.param, READERS.get(request.param, weather)


def test_pipes_devices_folders_and_giants_are_refused_at_once(
    reader: tuple[str, Callable[[Path], Any]], tmp_path: Path
) -> None:
    name, read = reader
    path = tmp_path / name
    os.mkfifo(path)
    refused(read, path)
    for target in ("/dev/zero", "/dev/null", "/dev/stdin", str(tmp_path)):
        path.unlink()
        path.symlink_to(target)
        refused(read, path)
    path.unlink()
    refused(read, path)
    with path.open("wb") as file:
        file.truncate(40_000_000_000)
    refused(read, path)


@pytest.mark.parametrize("content", [
    f"{SECRET}\n{SECRET}\n", f"{SECRET},{SECRET},a\n{SECRET},2,3\n", f"key = '{SECRET}'\n",
    f"[{SECRET.replace(':', '-')}]\na = 1\n", f"{SECRET}\t{SECRET}\n" * 30, f"= {SECRET}",
    "x" * (LONGEST_LINE + 1) + SECRET, f'"{SECRET}\n', "\0" + SECRET, f"a,{SECRET}\n" * 24,
    f"<svg>{SECRET}</svg", f"<a href='{SECRET}'/>", f"{SECRET} = '{SECRET}'",
])  # fmt: skip
def test_a_file_of_another_kind_is_refused_and_not_told(
    reader: tuple[str, Callable[[Path], Any]], content: str, tmp_path: Path
) -> None:
    """But where there is nothing to refuse, as in any TOML or any list of rows."""
    name, read = reader
    path = tmp_path / name
    path.write_text(content, encoding="utf-8")
    try:
        read(path)
    except InputError as error:
        said = str(error)
    else:
        assert name in ("a.toml", "tests.csv")
        return
    assert "hunter2" not in said
    assert "root:x" not in said


# The helper -----------------------------------------------------------------------------------

@given(some.binary(max_size=300), some.integers(0, 300))
@settings(max_examples=50, deadline=None)
def test_a_file_is_read_whole_or_refused(content: bytes, most: int) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a"
        path.write_bytes(content)
        if len(content) > most:
            with pytest.raises(UnreadableError, match="bytes, more than"):
                file_bytes(path, most)
        else:
            assert file_bytes(path, most) == content


@given(some.text(max_size=200))
@settings(max_examples=60, deadline=None)
def test_text_comes_back_or_has_a_null(text: str) -> None:
    raw = text.encode("utf-8", "surrogatepass")
    try:
        assert text_of(raw) == text.removeprefix("\ufeff")
    except UnreadableError:
        assert "\0" in text or any("\ud800" <= sign <= "\udfff" for sign in text)


@given(some.lists(some.lists(some.text("ab,;\"'\n ", max_size=6), min_size=1, max_size=4)))
@settings(max_examples=60, deadline=None)
def test_rows_that_a_spreadsheet_writes_come_back(rows: list[list[str]]) -> None:
    import csv
    import io

    out = io.StringIO()
    csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(rows)
    assert [cells for _, cells in quoted_rows(out.getvalue())] == rows


def test_a_lone_quote_names_the_line_at_which_it_begins(tmp_path: Path) -> None:
    with pytest.raises(UnreadableError, match="line 3, in which a quote stands alone") as caught:
        list(quoted_rows('a,b\n1,2\n"3,4\n5,6\n'))
    assert caught.value.line == 3
    with pytest.raises(UnreadableError, match="line 7 with"):
        list(csv_rows([(7, "," * (MOST_CELLS + 1))]))
    path = tmp_path / "a"
    path.write_text("short\n" + "x" * (LONGEST_LINE + 1))
    with pytest.raises(UnreadableError, match="line 2 of more than"):
        file_text(path, 10**6)


def test_only_near_names_of_columns_are_told() -> None:
    assert heads_told([SECRET], ["time"]) == "another name"
    assert heads_told([SECRET, SECRET], ["time"]) == "2 columns of other names"
    assert heads_told(["tme", SECRET], ["time"]) == "tme and 1 other"
    assert heads_told(["time"] * 24 + [SECRET], ["time"]).endswith("time and 5 others")


# A year far off the rest ----------------------------------------------------------------------

@given(some.lists(some.sampled_from([1970, 1999, 2091, 2205]), min_size=0, max_size=4),
       some.integers(30, 300))
@settings(max_examples=30, deadline=None)
def test_times_years_off_the_others_are_set_aside_and_told(years: list[int], count: int) -> None:
    sound = pd.date_range("2025-06-01", periods=count, freq="15min").to_series()
    far = pd.Series([pd.Timestamp(year, 1, 1) for year in years], dtype=sound.dtype)
    stamps = pd.concat([sound, far], ignore_index=True)
    kept, notes = without_far(stamps, where="logger")
    assert kept.notna().sum() == count
    assert kept[:count].equals(stamps[:count])
    assert bool(notes) == bool(years)
    if years:
        assert f"{len(years)} lines left out" in notes[0].said


def test_a_record_longer_than_any_is_refused() -> None:
    stamps = pd.date_range("1900-01-01", periods=140, freq="YS").to_series().reset_index(drop=True)
    with pytest.raises(InputError, match="at most 30 years"):
        without_far(stamps, where="logger")


# Logos ----------------------------------------------------------------------------------------

SVG = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"' \
      ' width="9" height="9">{}</svg>'


def picture(size: tuple[int, int]) -> str:
    out = BytesIO()
    Image.new("1", size).save(out, "PNG")
    return base64.b64encode(out.getvalue()).decode()


def logo(tmp_path: Path, text: str) -> str:
    path = tmp_path / "logo.svg"
    path.write_text(text, encoding="utf-8")
    return read_logo(path)


def test_a_logo_that_draws_itself_over_and_over_is_refused(tmp_path: Path) -> None:
    """The laughs of entities, told by `use`: each layer draws the one below ten times."""
    layers = '<rect id="l0" width="1" height="1"/>' + "".join(
        f'<g id="l{each}">' + f'<use xlink:href="#l{each - 1}"/>' * 10 + "</g>"
        for each in range(1, 9))  # fmt: skip
    began_s = time.monotonic()
    with pytest.raises(InputError, match=r"e\+08 elements"):
        logo(tmp_path, SVG.format(layers))
    with pytest.raises(InputError, match="draw themselves"):
        logo(tmp_path, SVG.format('<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>'))
    assert time.monotonic() - began_s < 5.0
    assert logo(tmp_path, SVG.format('<g id="a"><rect width="1" height="1"/></g>'
                                     '<use href="#a"/>')).startswith("data:image/svg")


@pytest.mark.parametrize("inside", [
    '<image href="http://a.example/a.png"/>', '<image href="a.png"/>', '<use href="b.svg#a"/>',
    '<image href="data:image/svg+xml;base64,PHN2Zy8+"/>',
    '<image href="data:image/png;base64,AA"/>',
    "<style>@import 'a.css';</style>", "<style>a { src: image-set('a.png' 1x) }</style>",
    "<style>@font-face { src: url(a.woff) }</style>", '<rect fill="url(a.svg#b)"/>',
    '<rect style="fill: image-set(\'a\' 1x)"/>', '<g xml:base="http://a.example/"/>',
    '<feImage xlink:href="file:///etc/passwd"/>', "<script>1</script>", '<rect onload="a()"/>',
])  # fmt: skip
def test_a_logo_points_nowhere(inside: str, tmp_path: Path) -> None:
    with pytest.raises(InputError):
        logo(tmp_path, SVG.format(inside))


def test_what_a_document_type_brings_is_refused_and_a_plain_one_left_out(tmp_path: Path) -> None:
    plain = '<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://a.example/svg11.dtd">'
    whole = logo(tmp_path, plain + SVG.format('<rect width="1" height="1"/>'))
    assert b"DOCTYPE" not in base64.b64decode(whole.partition(",")[2])
    for bad in ('<!DOCTYPE svg [<!ENTITY a "b">]>', "<!DOCTYPE svg [<!ELEMENT a ANY>]>",
                '<!DOCTYPE svg SYSTEM "a" [ %b; ]>'):  # fmt: skip
        with pytest.raises(InputError, match="without it"):
            logo(tmp_path, bad + SVG.format(""))


def test_pictures_inside_a_logo_are_sound_and_of_a_size(tmp_path: Path) -> None:
    one = '<image width="9" height="9" href="data:image/png;base64,{}"/>'
    assert logo(tmp_path, SVG.format(one.format(picture((30, 20)))))
    with pytest.raises(InputError, match="6000 x 1 pixels inside"):
        logo(tmp_path, SVG.format(one.format(picture((6000, 1)))))
    with pytest.raises(InputError, match="damaged picture"):
        logo(tmp_path, SVG.format(one.format(picture((30, 20))[:-40])))
