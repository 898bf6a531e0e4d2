"""Kept files with a checksum before them: a damaged one is found when it is read."""

from __future__ import annotations

import hashlib


def sealed(raw: bytes, name: str = "") -> bytes:
    """Content with its checksum before it.

    Parameters
    ----------
    raw : bytes
    name : str
        What it is the content of: under another name it counts as damaged.
    """
    return _seal(raw, name) + b"\n" + raw


def unsealed(content: bytes, name: str = "") -> bytes:
    """The content of `sealed`.

    Raises
    ------
    ValueError
        When it is not whole, or of another name.
    """
    seal, _, raw = content.partition(b"\n")
    if seal != _seal(raw, name):
        raise ValueError("not whole")
    return raw


def _seal(raw: bytes, name: str) -> bytes:
    return hashlib.sha256(name.encode() + b"\0" + raw if name else raw).hexdigest().encode()
