"""Tables of ours with a mark, without a line, in another encoding."""

from __future__ import annotations

from pathlib import Path

import pytest

from solarcalc.basis.files import csv_lines


def test_a_byte_order_mark_is_no_part_of_the_first_name(tmp_path: Path) -> None:
    path = tmp_path / "marked.csv"
    path.write_bytes("\ufeffname,value\nlength,3 m\n".encode())
    assert csv_lines(path) == ["name,value", "length,3 m"]


@pytest.mark.parametrize(("content", "complaint"), [
    (b"", "no line but notes"), (b"# title: nothing\n\n", "no line but notes"),
    ("name\nLänge\n".encode("latin-1"), "save it as UTF-8"),
])  # fmt: skip
def test_a_file_that_cannot_be_read_is_named(
    tmp_path: Path, content: bytes, complaint: str
) -> None:
    path = tmp_path / "odd.csv"
    path.write_bytes(content)
    with pytest.raises(ValueError, match=rf"odd\.csv: .*{complaint}"):
        csv_lines(path)
