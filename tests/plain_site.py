"""A demo site before anything was measured for cables, ground and room: usual values there."""

from __future__ import annotations

from pathlib import Path

from solarcalc.sitefile.records import (
    Cables,
    Earthing,
    Pipe,
    Protection,
    Room,
    Runs,
    Site,
    Soil,
)

MEASURED = "# What follows was measured"
"""Line of a demo site file from which on these tables stand."""


def plain(site: Site) -> Site:
    """The same site with cables, pipe, protection, ground and room left to their usual values."""
    return site.model_copy(update={
        "cables": Cables(), "runs": Runs(), "pipe": Pipe(), "places": [],
        "protection": Protection(), "soil": Soil(), "earthing": Earthing(), "room": Room(),
    })  # fmt: skip


def plain_text(path: Path) -> str:
    """Text of a demo site file without those tables."""
    return path.read_text(encoding="utf-8").partition(MEASURED)[0]
