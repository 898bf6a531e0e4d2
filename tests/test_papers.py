"""Lists of serial numbers and shared crews, as the command line writes them."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.batch import papers
from solarcalc.cli import main

SITES = demo_sites()


def test_crews_are_shared_and_never_at_two_sites_on_one_day(tmp_path: Path) -> None:
    paths = [SITES["ridge-clinic"], SITES["orchard-shop"]]
    picture, table = papers.write_crews(paths, tmp_path / "days", crews=1).files
    assert picture.read_bytes().startswith(b"\x89PNG")
    rows = list(csv.DictReader(io.StringIO(table.read_text(encoding="utf-8-sig"))))
    worked = [(row["day"], row["site"]) for row in rows if float(row["work [h]"]) > 0.0]
    assert len({day for day, _ in worked}) == len(worked)
    assert {site for _, site in worked} == {"Ridge Road Clinic", "Orchard Farm Shop"}


def test_two_crews_are_done_no_later_than_one(tmp_path: Path) -> None:
    paths = [SITES["ridge-clinic"], SITES["orchard-shop"]]
    last = {}
    for crews in (1, 2):
        _, table = papers.write_crews(paths, tmp_path / str(crews), crews=crews).files
        rows = list(csv.DictReader(io.StringIO(table.read_text(encoding="utf-8-sig"))))
        last[crews] = len({row["day"] for row in rows})
    assert last[2] <= last[1]


def test_two_sites_of_one_name_are_refused(tmp_path: Path) -> None:
    copy = tmp_path / "copy.toml"
    copy.write_bytes(SITES["orchard-shop"].read_bytes())
    with pytest.raises(InputError, match="a different name for each site"):
        papers.write_crews([SITES["orchard-shop"], copy], tmp_path / "out", crews=1)


def test_an_unknown_site_is_said_before_anything_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["serials", "ridge-clinik", "--out", str(tmp_path / "x")]) == 1
    assert "did you mean ridge-clinic?" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
