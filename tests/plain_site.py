"""A demo site before anything was measured for cables, ground and room: usual values there."""

from __future__ import annotations

import runpy
import tempfile
from functools import cache
from pathlib import Path

from solarcalc.basis.files import demo_sites
from solarcalc.sitefile.earthing import Earthing, Protection, Soil
from solarcalc.sitefile.programme import Commissioning, Logger, Programme
from solarcalc.sitefile.quote import Firm, Quote
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.room import Room
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wiring import Cables, Duct, Runs

priced = runpy.run_path(str(Path(__file__).with_name("priced_site.py")))["priced"]
MEASURED = "# What follows was measured"
"""Line of a demo site file from which on these tables stand."""
FROZEN = Path(__file__).with_name("frozen")
"""Copies of sites that no change of a demo or of the equipment moves."""


def plain(site: Site) -> Site:
    """The same site with everything from the cables on left to its usual values."""
    return priced(site).model_copy(update={
        "cables": Cables(), "runs": Runs(), "duct": Duct(), "places": [],
        "protection": Protection(), "soil": Soil(), "earthing": Earthing(), "room": Room(),
        "firm": Firm(), "quote": Quote(), "programme": Programme(), "logger": Logger(),
        "commissioning": Commissioning(),
    })  # fmt: skip


def frozen(stem: str) -> Site:
    """A frozen site with everything from the cables on left to its usual values."""
    return plain(read_site(FROZEN / f"{stem}.toml").site)


def plain_text(path: Path) -> str:
    """Text of a demo site file without those tables."""
    return path.read_text(encoding="utf-8").partition(MEASURED)[0]


@cache
def plain_file(stem: str) -> str:
    """Path of a file with that text; the demo's weather must be one that comes with pvlib."""
    path = Path(tempfile.mkdtemp()) / f"{stem}.toml"
    path.write_text(plain_text(demo_sites()[stem]), encoding="utf-8")
    return str(path)
