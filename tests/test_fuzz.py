"""Damaged files in every reader: a result or a fault in our own words, and soon.

The sound files are those of the demo sites, of pvlib and of our own blank forms; the damage is
drawn (`tests/mutations.py`), the same at each run. The long test reads ten thousand of them.
"""

from __future__ import annotations

import io
import runpy
import tempfile
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pvlib
import pytest
from hypothesis import HealthCheck, given, settings
from openpyxl import Workbook
from PIL import Image

from solarcalc.basis import files
from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.basis.sealed import sealed
from solarcalc.batch.folders import read_record
from solarcalc.batch.listed import finished_record
from solarcalc.batch.unchanged import RECORD, note_made, standing_sites
from solarcalc.checking import kept
from solarcalc.circuit.strings import Strung, along_row
from solarcalc.circuit.table import _path, keep_table, kept_table, made_table
from solarcalc.commissioning.results import read_results
from solarcalc.design import open_design
from solarcalc.followup.logger import read_logger
from solarcalc.quote.price_file import read_rows
from solarcalc.report.letterhead import read_logo
from solarcalc.sitefile.load_profile import read_profile_w
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.survey_fields import by_key
from solarcalc.sitefile.survey_text import new_answers, short_text
from solarcalc.sitefile.weather import WeatherChoice
from solarcalc.stages.serials import positions_of, read_serials
from solarcalc.survey.reading import read_survey, surveyed_files
from solarcalc.survey.workbook import survey_xlsx
from solarcalc.views.commissioning import blank_bytes, sheet_of_site
from solarcalc.weather.read import read_weather_file
from solarcalc.weather.records import Place

_MUTATIONS = runpy.run_path(str(Path(__file__).with_name("mutations.py")))
any_of, damaged, damaged_package = (
    _MUTATIONS[name] for name in ("any_of", "damaged", "damaged_package"))
LIMIT_S = 20.0


@dataclass(frozen=True, kw_only=True)
class Reader:
    """A reader of files that people give.

    Parameters
    ----------
    name : str
        Of the file.
    read : function
        Of a path.
    bases : function
        Sound files.
    packed : bool
        Whether they are packed workbooks.
    weight : float
        How often it is tried, where 1 is usual: big files are slow.
    """

    name: str
    read: Callable[[Path], Any]
    bases: Callable[[], list[bytes]]
    packed: bool = False
    weight: float = 1.0


def _site_texts() -> list[bytes]:
    text = short_text(new_answers("Hill Shop").values).encode()
    return [path.read_bytes() for path in demo_sites().values()] + [
        text, (data_folder() / "templates" / "site.toml").read_bytes()]  # fmt: skip


def _surveys() -> list[bytes]:
    one = {"name": "A", "latitude_deg": 25.8, "longitude_deg": -80.3,
           "weather": "library:12839.tm2", "loads": ("Lamp 9 W, 4, 18:00-23:00, essential",)}
    known = [{key: value for key, value in one.items() if key in by_key()}]
    return [survey_xlsx(known, rows=False), survey_xlsx(known * 1, rows=True)]


def _read_survey(path: Path) -> Any:
    read_survey(path)
    return surveyed_files(path)


def _price_xlsx() -> list[bytes]:
    book, out = Workbook(), io.BytesIO()
    for row in (["# currency: USD"], ["item", "unit", "price", "date"],
                ["module/half144-517", "piece", 120.5, "2026-01-02"], ["rail", "m", 7, None]):
        book.active.append(row)
    book.save(out)
    return [out.getvalue()]


def _prices(ending: str) -> list[bytes]:
    rows = "item,unit,price,currency,date\nmodule/half144-517,piece,120.5,,2026-01-02\nrail,m,7,,\n"
    return {
        ".csv": [b"# currency: USD\n" + rows.encode(), rows.replace(",", ";").encode()],
        ".toml": [(data_folder() / "prices" / "invented.toml").read_bytes()],
    }[ending]  # fmt: skip


PLACE = Place(name="the site", latitude_deg=25.8, longitude_deg=-80.3, elevation_m=4.0)


def _weather(path: Path) -> Any:
    choice = WeatherChoice(source=path.name, max_distance_km=20000.0)
    return read_weather_file(path, choice, site=PLACE, offset_h=-5.0, where="site.toml")


def _weather_files() -> list[bytes]:
    folder = Path(pvlib.__file__).parent / "data"
    hours = [f"2019-{1 + day // 31:02d}-{1 + day % 28:02d} {hour:02d}:00,{50 * hour},100,50,20,2"
             for day in range(2) for hour in range(24)]  # fmt: skip
    table = "\n".join(["time,ghi,dni,dhi,temp_air,wind_speed", *hours])
    return [(folder / "12839.tm2").read_bytes(), (folder / "723170TYA.CSV").read_bytes(),
            table.encode(), _whole_table(), _epw()]  # fmt: skip


def _epw() -> bytes:
    """Two days: damage is as likely to be in the head of an EPW file as in its hours."""
    head = ["LOCATION,X,-,XXX,made up,000000,25.80,-80.30,-5.0,4.0", "DESIGN CONDITIONS,0",
            "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0",
            "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0", "COMMENTS 1,", "COMMENTS 2,",
            "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31"]  # fmt: skip
    rest = ("0,?,20.0,10.0,60,101000,0,1400,350,100,50,60,9999,9999,9999,9999,180,2.0,5,5,20.0,"
            "1000,9,999999999,10,0.1,0,88,0.2,0.0,0")
    hours = [f"2019,1,{1 + hour // 24},{1 + hour % 24},{rest}" for hour in range(48)]
    return "\n".join([*head, *hours, ""]).encode()


@cache
def _whole_table() -> bytes:
    import pandas as pd

    hours = pd.date_range("2019-01-01", periods=8760, freq="h")
    light = np.clip(np.sin((hours.hour - 6) / 12 * np.pi), 0.0, None) * 800.0
    frame = pd.DataFrame({"time": hours.strftime("%Y-%m-%d %H:%M"), "ghi": light.round(1),
                          "temp_air": 20.0, "wind_speed": 2.0})  # fmt: skip
    return frame.to_csv(index=False).encode()


@cache
def _clinic() -> Any:
    return open_design("ridge-clinic")


def _logger(path: Path) -> Any:
    logger = _clinic().site.logger.model_copy(update={"file": path.name})
    return read_logger(path.parent, logger, offset_h=-5.0, peak_w=7000.0)


def _logger_files() -> list[bytes]:
    whole = (data_folder() / "loggers" / "ridge-clinic.csv").read_bytes()
    return [whole[:20_000], whole[:4_000]]


def _serials() -> list[bytes]:
    rows = [f"{one.name},m,s-{number},2036-01-02" for number, one in
            enumerate(positions_of(_clinic().installation))]  # fmt: skip
    return ["\n".join(["position,model,serial,warranty_until", *rows]).encode()]


def _logos() -> list[bytes]:
    out = io.BytesIO()
    Image.new("RGB", (40, 20), "red").save(out, "PNG")
    svg = (b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg" width="20" height="9">'
           b'<style>.a { fill: red }</style><g id="a"><rect class="a" width="4" height="4"/></g>'
           b'<use href="#a" x="5"/><text x="1" y="8">A</text></svg>')
    return [out.getvalue(), svg]


def _profiles() -> list[bytes]:
    return [b"power_w\n" + b"120.5\n" * 24,
            b"# a day\ntime;power_w\n" + b"".join(b"%02d:00;%d\n" % (h, h) for h in range(24))]


cells_of = runpy.run_path(str(Path(__file__).with_name("circuit_cases.py")))["cells_of"]
STRUNG = Strung(cells=cells_of("full"), wiring=along_row(2), orientation="landscape")


def _table_file(path: Path) -> Any:
    _path(STRUNG).parent.mkdir(parents=True, exist_ok=True)
    _path(STRUNG).write_bytes(path.read_bytes())
    return kept_table(STRUNG)


def _tables() -> list[bytes]:
    keep_table(STRUNG, made_table(STRUNG))
    return [_path(STRUNG).read_bytes()]


def _answer_file(path: Path) -> Any:
    entry = kept._entry(path)
    entry.parent.mkdir(parents=True, exist_ok=True)
    entry.write_bytes(path.read_bytes())
    return kept.kept_answer(path)


def _answers() -> list[bytes]:
    return [sealed(b'{"basis": [], "files": {}, "text": "a", "status": 0}')]


def _report_file(path: Path) -> Any:
    folder = path.parent / "a-site"
    folder.mkdir(exist_ok=True)
    (folder / "index.html").write_text("")
    (folder / "summary.json").write_bytes(path.read_bytes())
    (folder / RECORD).write_bytes(path.read_bytes())
    read_record(folder)
    finished_record(path.parent, "a-site")
    return standing_sites([path], path.parent, (), "")


def _reports() -> list[bytes]:
    with tempfile.TemporaryDirectory() as place:
        note_made(Path(place), Path("a.toml"), codes=["DS"], whole=True, books="", opened=[],
                  since_s=0.0)  # fmt: skip
        made = (Path(place) / RECORD).read_bytes()
    return [made, b'{"schema": 5, "site": {"name": "a"}, "job": {"bill": []}, "checks": [{}]}']


def _first_of_firm(path: Path) -> Any:
    return read_results(path, sheet_of_site(_clinic())[1])


READERS = (
    Reader(name="site.toml", read=read_site, bases=_site_texts),
    Reader(name="survey.xlsx", read=_read_survey, bases=_surveys, packed=True, weight=0.25),
    Reader(name="phone.toml", read=_read_survey,
           bases=lambda: [short_text(new_answers("Hill Shop").values).encode()]),
    Reader(name="weather.csv", read=_weather, bases=_weather_files, weight=0.25),
    Reader(name="load.csv", read=lambda path: read_profile_w(path, where="site.toml: loads"),
           bases=_profiles),
    Reader(name="prices.csv", read=lambda path: read_rows(path.name, path.parent),
           bases=lambda: _prices(".csv")),
    Reader(name="prices.toml", read=lambda path: read_rows(path.name, path.parent),
           bases=lambda: _prices(".toml")),
    Reader(name="prices.xlsx", read=lambda path: read_rows(path.name, path.parent),
           bases=_price_xlsx, packed=True, weight=0.5),
    Reader(name="logger.csv", read=_logger, bases=_logger_files, weight=0.125),
    Reader(name="tests.csv", read=_first_of_firm, bases=lambda: [
        blank_bytes(_clinic(), sheet_of_site(_clinic())[1]),
        (data_folder() / "tests" / "ridge-clinic.csv").read_bytes()]),
    Reader(name="serials.csv", bases=_serials, read=lambda path: read_serials(
        path, positions_of(_clinic().installation))),
    Reader(name="logo", read=read_logo, bases=_logos),
    Reader(name="shade.npz", read=_table_file, bases=_tables, weight=0.5),
    Reader(name="answer.json", read=_answer_file, bases=_answers),
    Reader(name="summary.json", read=_report_file, bases=_reports),
)  # fmt: skip


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Caches of the test alone."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr(kept, "user_cache", files.user_cache)


def hold(reader: Reader, count: int) -> None:
    """Read so many damaged files."""
    way = damaged_package if reader.packed else damaged
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # as on the command line
        bases = reader.bases()

        @given(any_of(bases, way))
        @settings(max_examples=count, deadline=None, suppress_health_check=list(HealthCheck))
        def one(content: bytes) -> None:
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / reader.name
                path.write_bytes(content)
                began_s = time.monotonic()
                try:
                    reader.read(path)
                except InputError as error:
                    said = str(error)
                    assert said.strip()
                    assert "Traceback" not in said
                    assert all(len(line) < 2000 for line in said.splitlines())
                assert time.monotonic() - began_s < LIMIT_S

        one()


@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)
def test_a_damaged_file_is_read_or_refused(reader: Reader) -> None:
    hold(reader, max(int(40 * reader.weight), 10))


@pytest.mark.slow
@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)
def test_ten_thousand_damaged_files_are_read_or_refused(reader: Reader) -> None:
    share = reader.weight / sum(one.weight for one in READERS)
    hold(reader, int(10_000 * share) + 1)


@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)
def test_the_sound_files_are_sound(reader: Reader, tmp_path: Path) -> None:
    """Else the damage would be tried on files that are refused at their first line."""
    path = tmp_path / reader.name
    told = []
    for content in reader.bases():
        path.write_bytes(content)
        try:
            reader.read(path)
        except InputError as error:
            told.append(str(error))
    assert len(told) < len(reader.bases()), told
