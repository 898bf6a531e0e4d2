"""What tests share: published cases kept as data, and an optional folder of measured weather."""

from __future__ import annotations

import gc
import os
import runpy
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, settings
from pvlib import atmosphere, clearsky, irradiance, solarposition

from solarcalc.basis.files import demo_sites
from solarcalc.checking import kept
from solarcalc.sitefile.weather import WeatherChoice
from solarcalc.weather.read import read_weather_file
from solarcalc.weather.records import Place, WeatherYear

# The same commit draws the same random sites wherever it is tested; SOLARCALC_EXPLORE=1 draws new
# ones at each run, and a case it finds comes back as an @example.
# How long an example may take is no matter: a slow machine is not a fault.
settings.register_profile("repeatable", derandomize=True, database=None, print_blob=True,
                          deadline=None, phases=[Phase.explicit, Phase.generate])  # fmt: skip
settings.register_profile("explore", print_blob=True, deadline=None)
settings.load_profile("explore" if os.environ.get("SOLARCALC_EXPLORE") else "repeatable")

TESTS = Path(__file__).resolve().parent
MEASURED_FILE = runpy.run_path(str(TESTS / "measured_files.py"))["measured_file"]
_FIGURES = runpy.run_path(str(TESTS / "published_figures.py"))
published_cases, cases_as_written = _FIGURES["published_cases"], _FIGURES["cases_as_written"]
_RECORD = SimpleNamespace(**runpy.run_path(str(TESTS / "published_record.py")))
_DOCUMENT_CASES = SimpleNamespace(**runpy.run_path(str(TESTS / "document_cases.py")))


@pytest.fixture(scope="session")
def document_cases():
    """What documents are held to, and those of the demo sites, made once a process."""
    return _DOCUMENT_CASES


@pytest.fixture(autouse=True)
def no_kept_answers(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch):
    """Answers of checks are kept for the test alone: what it stands in for must not outlive it."""
    base = tmp_path_factory.getbasetemp()
    name = f"kept-{abs(hash(os.environ.get('PYTEST_CURRENT_TEST', '')))}"
    monkeypatch.setattr(kept, "user_cache", lambda folder: base / name / folder)


@pytest.fixture(scope="session")
def cases_of(request: pytest.FixtureRequest):
    """Function from the name of a file of ``tests/published`` to its cases."""
    return partial(_cases, request.config)


def _cases(config: pytest.Config, name: str) -> list[dict[str, Any]]:
    cases = published_cases(name)
    return [_RECORD.noting(one) for one in cases] if config.getoption("--published-to") else cases


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's Chromium; skips where it, or the library that drives it, is absent."""
    playwright = pytest.importorskip("playwright.sync_api", reason="the extra 'screen' is missing")
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("Debian's chromium is not installed")
    with playwright.sync_playwright() as running:
        opened = running.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield opened
        opened.close()


FIRST = frozenset({"ridge-clinic", "plateau-school"})
"""Demo sites of the tests of each change; what is held of every one is held of the others by the
long tests."""
DEMOS = frozenset(demo_sites())
LATER = DEMOS - FIRST
CHOSEN = frozenset(os.environ.get("SOLARCALC_SITES", "").split()) or DEMOS
"""Demo sites whose own tests are run; all of them if the environment names none."""


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests of most demo sites, and lessons in kernels, stand with the long tests."""
    kept, left_out = [], []
    for item in items:
        if item.path.suffix == ".ipynb" and item.path.parent.name == "lessons":
            item.add_marker("slow")
        call = getattr(item, "callspec", None)
        named = {one for one in call.params.values() if isinstance(one, str)} if call else set()
        if named & LATER:
            item.add_marker("slow")
        of_others = named & DEMOS and not named & CHOSEN
        (left_out if of_others else kept).append(item)
    if left_out:
        items[0].config.hook.pytest_deselected(items=left_out)
        items[:] = kept


def pytest_collection_finish(session: pytest.Session) -> None:
    """Thousands of collected tests are not looked through again at each collection of garbage."""
    gc.collect()
    gc.freeze()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--published-to", default="", metavar="FILE",
                     help="write what tests marked `published` compare, as JSON")  # fmt: skip


_PUBLISHED: dict[str, tuple[str, list[dict[str, Any]]]] = {}


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    rows = dict(report.user_properties).get("published")
    if report.when == "call" and rows is not None:
        _PUBLISHED[report.nodeid] = (report.outcome, rows)


def pytest_sessionfinish(session: pytest.Session) -> None:
    path = session.config.getoption("--published-to")
    if path and not hasattr(session.config, "workerinput"):
        _RECORD.write_record(Path(path), _PUBLISHED)


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line(
        "markers", "published(name, ...): one test a case of tests/published/<name>, as `case`"
    )


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    mark = metafunc.definition.get_closest_marker("published")
    if mark is not None and "case" in metafunc.fixturenames:
        cases = [case for name in mark.args for case in _cases(metafunc.config, name)]
        metafunc.parametrize("case", cases, ids=[case["id"] for case in cases])


@pytest.fixture(autouse=True)
def compared(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Function from expected and obtained, with abs= or rel=, that notes published figures.

    What a test marked `published` compares by `pytest.approx` or ``==`` is noted without it.
    """
    mark = request.node.get_closest_marker("published")
    if mark is None or not request.config.getoption("--published-to"):
        yield lambda expected, obtained, **within: None
        return
    case = getattr(request.node, "callspec", None) and request.node.callspec.params.get("case")
    cases = [(name, one) for name in mark.args for one in cases_as_written(name)
             if case is None or one["id"] == case["id"]]  # fmt: skip
    rows: list[dict[str, Any]] = []
    request.node.user_properties.append(("published", rows))
    notes = _RECORD.Notes(cases, rows)
    watching = _RECORD.watch(monkeypatch, notes)
    next(watching)
    yield notes.compared
    next(watching, None)


@pytest.fixture(scope="session")
def measured_file():
    """Function from a path of ``tests/measured.toml`` to the file; skips where it is absent."""
    return MEASURED_FILE


@pytest.fixture(scope="session")
def shared_weather():
    """As `measured_file`, for a name in the folder ``weather``."""
    return lambda name: MEASURED_FILE(f"weather/{name}")


@lru_cache(maxsize=32)
def _clear_year(
    latitude_deg: float, longitude_deg: float, elevation_m: float, offset_h: float
) -> pd.DataFrame:
    middles = [
        pd.date_range("2001-01-01", periods=8760, freq="h")
        + pd.Timedelta(minutes=minute)
        - pd.Timedelta(hours=offset_h)
        for minute in (10, 30, 50)
    ]
    parts = []
    for instants in middles:
        utc = instants.tz_localize("UTC")
        sun = solarposition.get_solarposition(
            utc, latitude_deg, longitude_deg, altitude=elevation_m
        )
        air = atmosphere.get_absolute_airmass(
            atmosphere.get_relative_airmass(sun["apparent_zenith"]),
            atmosphere.alt2pres(elevation_m),
        )
        extra = irradiance.get_extra_radiation(utc.day_of_year.to_numpy())
        sky = clearsky.ineichen(sun["apparent_zenith"], air, 3.0, elevation_m, extra)
        parts.append(sky[["ghi", "dni", "dhi"]].to_numpy())
    hours = pd.date_range("2001-01-01", periods=8760, freq="h")
    year = pd.DataFrame(sum(parts) / 3.0, columns=["ghi", "dni", "dhi"])
    year.insert(0, "time", hours.strftime("%Y-%m-%d %H:%M"))
    year["temp_air"] = 15.0 + 8.0 * np.sin((hours.hour.to_numpy() - 9.0) / 24.0 * 2.0 * np.pi)
    year["wind_speed"] = 2.5
    return year.round(3)


@dataclass
class ClearSite:
    """A made-up place with a cloudless year, and the means to write and read it."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    offset_h: float
    folder: Path

    def year(self) -> pd.DataFrame:
        """A cloudless year: time at the local clock, start of the hour, then our columns."""
        return _clear_year(
            self.latitude_deg, self.longitude_deg, self.elevation_m, self.offset_h
        ).copy()

    def read(self, table: pd.DataFrame, name: str = "year.csv", **choice: Any) -> WeatherYear:
        """Write the table as a CSV file and read it as the weather of this place."""
        path = self.folder / name
        table.to_csv(path, index=False)
        return self.read_path(path, **choice)

    def read_path(self, path: Path, **choice: Any) -> WeatherYear:
        """Read a file as the weather of this place."""
        return read_weather_file(
            path,
            WeatherChoice(source=path.name, **choice),
            site=Place(name="the site", latitude_deg=self.latitude_deg,
                       longitude_deg=self.longitude_deg, elevation_m=self.elevation_m),
            offset_h=self.offset_h,
            where="site.toml",
        )


@pytest.fixture
def clear_site(tmp_path):
    """Function that makes a `ClearSite`; a plain place when called without arguments."""

    def make(
        latitude_deg: float = 15.0,
        longitude_deg: float = 32.0,
        elevation_m: float = 400.0,
        offset_h: float = 2.0,
    ) -> ClearSite:
        return ClearSite(latitude_deg, longitude_deg, elevation_m, offset_h, tmp_path)

    return make
