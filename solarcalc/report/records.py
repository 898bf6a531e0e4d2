"""What a report is made of: the site in a few words, and what each workbook found."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from solarcalc.basis.sourced import Sourced
from solarcalc.basis.verdict import Verdict


class ReportError(RuntimeError):
    """An executed workbook that may not become a report; the text says which cell and why."""


@dataclass(frozen=True, kw_only=True)
class Letterhead:
    """The firm as its papers show it.

    Parameters
    ----------
    name, contact, licence : str
        As the site file has them; each may be empty.
    logo : str
        The picture as a data address, made by `read_logo`; empty for none.
    """

    name: str = ""
    contact: str = ""
    licence: str = ""
    logo: str = ""


@dataclass(frozen=True, kw_only=True)
class SiteSummary:
    """The words of the title block.

    Parameters
    ----------
    name, customer, note : str
        As the site file has them; shown escaped wherever they appear.
    slug : str
        File name made from the site's name.
    latitude_deg, longitude_deg, elevation_m : float
        North, east and up positive [deg, deg, m].
    file_name : str
        Name of the site file.
    file_sha256 : str
        Checksum of the site file, so that a report can be matched to its input.
    made : datetime
        When the report was made, with its zone.
    version : str
        Version of solarcalc.
    """

    name: str
    customer: str
    note: str
    slug: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    file_name: str
    file_sha256: str
    made: datetime
    version: str

    @property
    def place(self) -> str:
        """Latitude, longitude and height in words."""
        north = f"{abs(self.latitude_deg):.3f}° {'S' if self.latitude_deg < 0 else 'N'}"
        east = f"{abs(self.longitude_deg):.3f}° {'W' if self.longitude_deg < 0 else 'E'}"
        return f"{north}, {east}, {self.elevation_m:.0f} m above sea level"


@dataclass(frozen=True, kw_only=True)
class Findings:
    """What one executed workbook found.

    Parameters
    ----------
    workbook : str
        File name of the workbook without its ending.
    title : str
        Its first heading.
    answer : str
        One sentence.
    values : dict of str to float, int or str
        Named values in the workbook's own order, unit last in the name.
    verdicts : tuple of Verdict
    assumptions : tuple of Sourced
    """

    workbook: str
    title: str
    answer: str
    values: dict[str, float | int | str]
    verdicts: tuple[Verdict, ...]
    assumptions: tuple[Sourced, ...]
