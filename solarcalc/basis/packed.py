"""Spreadsheets as the packed files they are: looked at before they are opened, written alike."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path
from typing import BinaryIO

MOST_UNPACKED_BYTES = 60_000_000
_STAMP = (2001, 1, 1, 0, 0, 0)
"""Written as the time of every part, so that the same tables are the same file."""
_MADE = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*(<)")


def packed_fault(file: Path | BinaryIO) -> str:
    """Why a file is no workbook to open, in words; empty where it may be.

    It would fill the memory once unpacked, or brings a document type of its own.
    """
    try:
        with zipfile.ZipFile(file) as packed:
            parts = packed.infolist()
            if sum(part.file_size for part in parts) > MOST_UNPACKED_BYTES:
                return "more than 60 MB once unpacked"
            for part in parts:
                with packed.open(part) as content:
                    if part.filename.endswith((".xml", ".rels")) and b"<!DOCTYPE" in \
                            content.read(4096):  # fmt: skip
                        return "a workbook with a document type of its own"
    except Exception as error:  # the library raises many kinds for a file that is damaged
        return f"no workbook: {type(error).__name__}"
    return ""


def same_every_time(raw: bytes) -> bytes:
    """The same workbook with the time of writing taken out of it."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            part = old.read(name)
            if name == "docProps/core.xml":
                part = _MADE.sub(rb"\g<1>2001-01-01T00:00:00Z\g<2>", part)
            info = zipfile.ZipInfo(name, date_time=_STAMP)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o600 << 16
            new.writestr(info, part)
    return out.getvalue()
