"""Weather that is fetched once: faked reader, kept years, no network, broken answers."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import requests
from pvlib.iotools.nasa_power import VARIABLE_MAP

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.weather import MonthlyMeans
from solarcalc.weather.download import SITE_OF_DATASET, cache_folder
from solarcalc.weather.monthly import content_from_means
from solarcalc.weather.read import read_weather
from solarcalc.weather.records import Place

LATITUDE, LONGITUDE = 36.12, -79.93


def sound_year() -> pd.DataFrame:
    """A made year in the clothes of the dataset: at UTC, under its own names."""
    site = Place(name="", latitude_deg=LATITUDE, longitude_deg=LONGITUDE, elevation_m=273.0)
    means = MonthlyMeans(
        ghi_kwh_m2_day=[2.5, 3.3, 4.4, 5.4, 6.0, 6.3, 6.1, 5.5, 4.7, 3.8, 2.8, 2.3],
        temp_air_c=[4.0, 5, 10, 15, 19, 23, 25, 25, 21, 15, 10, 5],
        rain_mm=[85.0] * 12,
    )
    hours = content_from_means(means, site=site, offset_h=0.0).hours
    hours.index = hours.index.tz_convert("UTC").map(lambda stamp: stamp.replace(year=2019))
    return hours.rename(columns={
        "precipitation": "PRECTOTCORR", **{ours: theirs for theirs, ours in VARIABLE_MAP.items()},
    })  # fmt: skip


class Response:
    """What the server of the dataset sends: its JSON, as its documentation describes it."""

    def __init__(self, hours: pd.DataFrame, *, ok: bool = True) -> None:
        self.ok, self.hours = ok, hours

    def json(self) -> dict[str, Any]:
        if not self.ok:
            return {"message": "busy"}
        stamps = self.hours.index.strftime("%Y%m%d%H")
        return {
            "properties": {"parameter": {
                name: dict(zip(stamps, values.fillna(-999.0), strict=True))
                for name, values in self.hours.items()
            }},
            "geometry": {"coordinates": [LONGITUDE, LATITUDE, 273.0]},
            "header": {"fill_value": -999.0}, "times": {}, "parameters": {},
        }  # fmt: skip


class Server:
    """Stands in for the network before the library's reader, and counts how often it is asked."""

    def __init__(self, answer: Any) -> None:
        self.answer, self.asked = answer, []

    def __call__(self, url: str, params: dict[str, Any]) -> Response:
        assert url.startswith(SITE_OF_DATASET)
        self.asked.append(params)
        if isinstance(self.answer, Exception):
            raise self.answer
        return self.answer if isinstance(self.answer, Response) else Response(self.answer)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    """Function that puts an answer in the server's place; the cache is in a fresh folder."""
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))

    def answering(answer: Any) -> Server:
        stand_in = Server(answer)
        monkeypatch.setattr(requests, "get", stand_in)
        return stand_in

    return answering


def site_file(folder: Path, source: str = 'source = "download"\nyear = 2019') -> Path:
    text = (data_folder() / "templates" / "site.toml").read_text(encoding="utf-8")
    text = text.replace("@NAME@", "Far").replace('source = "library:723170TYA.CSV"', source)
    path = folder / "far.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_year_is_fetched_once_and_then_read_from_the_disk(server, tmp_path: Path) -> None:
    stand_in = server(sound_year())
    sitefile = read_site(site_file(tmp_path))
    assert stand_in.asked == []
    first = read_weather(sitefile)
    (what,) = stand_in.asked
    assert (what["latitude"], what["longitude"]) == (LATITUDE, LONGITUDE)
    assert (what["start"], what["end"]) == ("20190101", "20191231")
    assert what["time-standard"] == "utc"
    kept = list(cache_folder().iterdir())
    assert [path.name for path in kept] == ["power_36.1200_-79.9300_2019.csv"]
    stand_in.answer = requests.ConnectionError("no network")
    second = read_weather(sitefile)
    assert len(stand_in.asked) == 1
    pd.testing.assert_frame_equal(first.hours, second.hours)
    assert first.has_rain
    assert first.rain_mm_year == pytest.approx(12 * 85.0)
    assert first.station_offset_h == 0.0
    assert str(first.hours.index.tz) == "UTC-05:00"


def test_it_says_that_it_is_one_year_of_a_dataset(server, tmp_path: Path) -> None:
    server(sound_year())
    made = read_weather(read_site(site_file(tmp_path)))
    (said,) = [check for check in made.checks if check.item == "Weather of the year"]
    assert said.outcome == "review"
    assert "2019" in said.found
    assert "2019" in made.source
    assert {check.outcome for check in made.checks} == {"passed", "review"}
    (rain,) = [check for check in made.checks if check.item == "Rain of the weather file"]
    assert rain.outcome == "passed"  # its unit is the dataset's, mm
    assert "1020 mm/year" in rain.found


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (requests.ConnectionError("Name or service not known"), "reached: ConnectionError"),
        (requests.Timeout("too slow"), "the server cannot be reached: Timeout"),
        (Response(pd.DataFrame(), ok=False), "busy"),
        (ValueError("not JSON"), "no weather: not JSON"),
        (KeyError("properties"), "no weather: 'properties'"),
        (sound_year()[["ALLSKY_SFC_SW_DWN"]], "without dni, dhi, temp_air, wind_speed"),
    ],
)
def test_without_an_answer_the_message_says_what_to_do(
    server, tmp_path: Path, answer: Any, said: str
) -> None:
    server(answer)
    with pytest.raises(InputError) as caught:
        read_weather(read_site(site_file(tmp_path)))
    (fault,) = caught.value.faults
    assert fault.where == "far.toml: weather.source"
    assert said in fault.given
    assert str(cache_folder()) in fault.allowed
    assert "monthly" in fault.remedy
    assert not cache_folder().exists()


def test_a_year_that_is_not_whole_yet_is_not_kept(server, tmp_path: Path) -> None:
    year = sound_year()
    year.iloc[5000:, 0] = float("nan")
    server(year)
    with pytest.raises(InputError, match="without ghi"):
        read_weather(read_site(site_file(tmp_path)))
    assert not cache_folder().exists()


def test_a_broken_kept_year_is_fetched_anew(server, tmp_path: Path) -> None:
    stand_in = server(sound_year())
    sitefile = read_site(site_file(tmp_path))
    read_weather(sitefile)
    (kept,) = cache_folder().iterdir()
    whole = kept.read_bytes()
    lines = whole.splitlines(keepends=True)
    for number, broken in enumerate((
        b"<html>time out</html>\n", b"", b"".join(lines[:-1]), bytes(len(whole)),
        whole.replace(lines[4000], lines[4001]),
    ), start=2):  # fmt: skip
        kept.write_bytes(broken)
        read_weather(sitefile)
        assert len(stand_in.asked) == number
        assert kept.read_bytes() == whole


def test_a_disk_that_cannot_be_written_is_no_fault(server, tmp_path: Path) -> None:
    (tmp_path / "cache").write_text("a file where the folder should be", encoding="utf-8")
    server(sound_year())
    assert len(read_weather(read_site(site_file(tmp_path))).hours) == 8760


@pytest.mark.parametrize(
    ("source", "where"),
    [
        ('source = "download"', "weather.year"),
        ('source = "download"\nyear = 1999', "weather.year"),
        ('source = "library:723170TYA.CSV"\nyear = 2019', "weather.year"),
        ('source = "download"\nyear = 2019\nhour_label = "end"', "weather.hour_label"),
    ],
)
def test_keys_that_do_not_go_together(tmp_path: Path, source: str, where: str) -> None:
    with pytest.raises(InputError) as caught:
        read_site(site_file(tmp_path, source))
    assert [fault.where for fault in caught.value.faults] == [f"far.toml: {where}"]
