"""The shade table: against the circuit in every shaded hour of a real year, wiring, bad input."""

from __future__ import annotations

import runpy
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pvlib
import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.sealed import sealed
from solarcalc.circuit.module import Weather
from solarcalc.circuit.strings import (
    StringWiring,
    Strung,
    across_rows,
    along_row,
    best_points,
    kept_by_circuit_frac,
)
from solarcalc.circuit.table import keep_table, kept_table, made_table, power_kept_frac, shade_table
from solarcalc.roof.rows import Rows
from solarcalc.shading.rows import shaded_fraction, sky_seen_frac
from solarcalc.sitefile.weather import WeatherChoice
from solarcalc.sky import plane_light
from solarcalc.sun import sun_of_hours
from solarcalc.weather.read import read_weather_file
from solarcalc.weather.records import Place

CASES = runpy.run_path(str(Path(__file__).with_name("circuit_cases.py")))
cells_of, plain_module_w = CASES["cells_of"], CASES["plain_module_w"]

LIBRARY_FILE = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
PLACE = {"latitude_deg": 36.1, "longitude_deg": -79.95, "elevation_m": 273.0}
ONE_POINT = 0.01
ONE_OF_THREE = (
    StringWiring(by_tier=(10,)), StringWiring(by_tier=(0,), unshaded=10, strings=2),
)  # fmt: skip
STRINGS = {
    "full portrait": ("full", "portrait", along_row(10)),
    "full landscape": ("full", "landscape", along_row(10)),
    "half-cut portrait": ("half-cut", "portrait", along_row(10)),
    "half-cut landscape": ("half-cut", "landscape", along_row(10)),
    "full landscape two up": ("full", "landscape", along_row(10, modules_high=2)),
    "half-cut portrait across rows": ("half-cut", "portrait", across_rows(10, shaded=5)),
    "full landscape across rows": ("full", "landscape", across_rows(10, shaded=5)),
    "half-cut portrait one string of three": ("half-cut", "portrait", ONE_OF_THREE),
    "full landscape tier by tier": (
        "full", "landscape", along_row(10, modules_high=2, tier_by_tier=True),
    ),
}  # fmt: skip


def _strung(name):
    build, way, wiring = STRINGS[name]
    return Strung(cells=cells_of(build), wiring=wiring, orientation=way)


@pytest.fixture(scope="module")
def year():
    """Greensboro, rows of 30 deg at a ground cover of 0.7: the hours with shade, [n, 4]."""
    hours = read_weather_file(
        LIBRARY_FILE, WeatherChoice(source=LIBRARY_FILE.name), site=Place(name="", **PLACE),
        offset_h=-5.0, where="site.toml",
    ).hours  # fmt: skip
    sun = sun_of_hours(hours.index, **PLACE)
    rows = Rows(
        orientation="portrait", slant_m=1.64, along_m=0.99, gap_m=0.02, modules_high=1,
        tilt_deg=30.0, azimuth_deg=180.0, roof_slope_deg=0.0, roof_azimuth_deg=180.0,
    )  # fmt: skip
    pitch_m = rows.slant_m / 0.7
    light = plane_light(hours, sun, tilt_deg=30.0, azimuth_deg=180.0, albedo_frac=0.2)
    fraction = shaded_fraction(rows, sun, pitch_m=pitch_m).to_numpy()
    left = (light["sky"] * sky_seen_frac(rows, pitch_m=pitch_m) + light["ground"]).to_numpy()
    total = left + (light["beam"] + light["circumsolar"]).to_numpy()
    figures = pvlib.temperature.TEMPERATURE_MODEL_PARAMETERS["sapm"]["open_rack_glass_polymer"]
    cell_c = pvlib.temperature.sapm_cell(
        total, hours["temp_air"].to_numpy(), hours["wind_speed"].to_numpy(), **figures
    )
    shaded = (fraction > 0.0) & (total > 1.0)
    return np.stack([fraction, left / np.maximum(total, 1e-9), total, cell_c], axis=1)[shaded]


def test_the_year_has_enough_shade_to_count(year):
    assert len(year) > 1000
    assert year[:, 0].max() > 0.5
    assert year[:, 1].min() < 0.3


@pytest.mark.slow
@pytest.mark.parametrize("name", STRINGS)
def test_within_a_point_of_the_circuit_in_every_hour_of_a_year(year, name):
    strung = _strung(name)
    straight, simple = kept_by_circuit_frac(*year.T, strung=strung)
    looked_up = power_kept_frac(*year.T, strung=strung)
    assert np.abs(looked_up - straight).max() < ONE_POINT
    assert (simple <= straight + 1e-9).all()


def test_lookup_of_a_year_is_hour_by_hour_lookup():
    strung = _strung("half-cut landscape")
    depth, share = np.array([0.0, 0.12, 0.5, 1.0]), np.array([0.3, 0.0, 0.9, 1.0])
    together = power_kept_frac(depth, share, 400.0, 30.0, strung=strung)
    single = [
        float(power_kept_frac(*pair, 400.0, 30.0, strung=strung))
        for pair in zip(depth, share, strict=True)
    ]
    assert together.tolist() == pytest.approx(single)
    assert together[0] == pytest.approx(1.0, abs=1e-12)
    assert together[3] == pytest.approx(1.0, abs=1e-12)
    assert power_kept_frac(np.empty(0), 0.5, strung=strung).shape == (0,)


def test_the_table_is_made_once():
    assert shade_table(_strung("full portrait")) is shade_table(_strung("full portrait"))


def test_light_and_heat_beyond_the_table_take_its_edge():
    strung = _strung("full landscape")
    assert power_kept_frac(0.2, 0.2, 1300.0, 90.0, strung=strung) == pytest.approx(
        power_kept_frac(0.2, 0.2, 1000.0, 70.0, strung=strung)
    )
    straight, _ = kept_by_circuit_frac(0.2, 0.2, 1300.0, 90.0, strung=strung)
    assert power_kept_frac(0.2, 0.2, 1300.0, 90.0, strung=strung) == pytest.approx(
        float(straight[0]), abs=0.01
    )
    assert float(power_kept_frac(0.2, 0.2, 0.0, strung=strung)) > 0.0


def test_who_shares_a_string():
    # Half of a string's modules in deep shade take it either to half the voltage or to the
    # diffuse current; on a string of their own they leave the other string whole, at a voltage
    # that is nearly best for both: a little under the mean of the two alone. By hand:
    # (5 of 10 modules lit, 15 diodes conducting) 0.5 - 15 x 0.5 V / 326 V = 0.477 of the power.
    cells = cells_of("full")

    def kept(wiring):
        strung = Strung(cells=cells, wiring=wiring, orientation="portrait")
        return float(kept_by_circuit_frac(0.3, 0.1, strung=strung)[0][0])

    along, across = kept(along_row(10)), kept(across_rows(10, shaded=5))
    apart = kept((StringWiring(by_tier=(10,)), StringWiring(by_tier=(0,), unshaded=10)))
    assert across == pytest.approx(0.5 - 15 * 0.5 / 326.0, abs=0.005)
    assert (1.0 + along) / 2.0 - 0.01 < apart < (1.0 + along) / 2.0
    assert along < across < apart


def test_tiers_of_a_row():
    # Two modules high, the lower tier wholly in shade: as a string half of whose modules are.
    cells = cells_of("full")
    two_high = Strung(cells=cells, wiring=along_row(10, modules_high=2), orientation="portrait")
    half = Strung(cells=cells, wiring=across_rows(10, shaded=5), orientation="portrait")
    assert power_kept_frac(0.5, 0.2, strung=two_high) == pytest.approx(
        power_kept_frac(1.0, 0.2, strung=half), abs=1e-9
    )


def test_a_simple_tracker_misses_the_hump_the_diodes_make():
    # Landscape, two rows of cells of six in shade, little diffuse light: a third of the
    # substrings bypassed is the best (0.65); climbing from the unshaded voltage ends at the
    # diffuse current (0.12). In portrait there is one hump and nothing to miss.
    landscape, portrait = _strung("full landscape"), _strung("full portrait")
    (best,), (sits,) = kept_by_circuit_frac(0.3, 0.1, 1000.0, 25.0, strung=landscape)
    assert best == pytest.approx(0.65, abs=0.01)
    assert sits == pytest.approx(0.12, abs=0.01)
    best, sits = kept_by_circuit_frac(0.3, 0.1, 1000.0, 25.0, strung=portrait)
    assert best == pytest.approx(sits)


@pytest.mark.parametrize(
    ("least", "kept"), [(0.0, 0.65), (0.6, 0.65), (0.85, 0.12)]
)
def test_a_hump_under_the_tracker_s_least_voltage_is_lost(least, kept):
    # Two rows of cells of six in shade, little diffuse light: a bypassed third gives 0.65 at two
    # thirds of the voltage. A tracker that ends above their open circuit has the diffuse current.
    strung = _strung("full landscape")
    whole_v = best_points(
        strung, fraction=np.zeros(1), diffuse_share=np.ones(1),
        weather=Weather(light_w_m2=1000.0, cell_c=25.0),
    ).global_v[0]  # fmt: skip
    (best,), _ = kept_by_circuit_frac(
        0.3, 0.1, 1000.0, 25.0, strung=replace(strung, least_v=least * whole_v)
    )
    assert best == pytest.approx(kept, abs=0.01)


def test_no_table_holds_a_least_voltage():
    with pytest.raises(InputError, match="least_v"):
        power_kept_frac(0.3, 0.1, strung=replace(_strung("full landscape"), least_v=100.0))


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        ((1.2, 0.5), "fraction"),
        ((-0.1, 0.5), "fraction"),
        ((float("nan"), 0.5), "fraction"),
        ((0.5, 1.1), "diffuse_share"),
        ((0.5, float("nan")), "any share"),
        ((0.5, 0.5, -1.0), "light_w_m2"),
        ((0.5, 0.5, float("inf")), "light_w_m2"),
        ((0.5, 0.5, 500.0, float("nan")), "cell_c"),
    ],
)
def test_bad_input_is_refused(arguments, match):
    with pytest.raises(InputError, match=match):
        power_kept_frac(*arguments, strung=_strung("full portrait"))


@pytest.fixture
def cache(tmp_path, monkeypatch):
    """A cache folder of its own, whatever the system."""
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    return tmp_path


def _small():
    return Strung(cells=cells_of("full"), wiring=along_row(2), orientation="landscape")


def test_a_table_on_the_disk_is_that_which_was_made(cache):
    assert kept_table(_small()) is None
    made = made_table(_small())
    keep_table(_small(), made)
    kept = kept_table(_small())
    for field in fields(made):
        assert np.array_equal(getattr(kept, field.name), getattr(made, field.name))
    other = Strung(cells=cells_of("full"), wiring=along_row(3), orientation="landscape")
    assert kept_table(other) is None
    assert [path.suffix for path in cache.rglob("*") if path.is_file()] == [".npz"]


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 cut short", b"not a table"])
def test_a_broken_table_on_the_disk_is_made_again(cache, content):
    made = made_table(_small())
    keep_table(_small(), made)
    (path,) = (path for path in cache.rglob("*.npz"))
    whole = path.read_bytes()
    for broken in (content, sealed(content, path.name), whole[:-100], bytes(len(whole)),
                   whole[:5000] + b"\0" + whole[5001:]):  # fmt: skip
        path.write_bytes(broken)
        assert kept_table(_small()) is None
    shade_table.cache_clear()
    assert np.array_equal(shade_table(_small()).kept_frac, made.kept_frac)
    assert kept_table(_small()) is not None


def _other(kept, how):
    """A table that is whole and not the one of these strings."""
    if how == "nan":
        return replace(kept, kept_frac=np.where(kept.kept_frac < 0.5, np.nan, kept.kept_frac))
    if how == "beyond one":
        return replace(kept, kept_frac=kept.kept_frac + 0.5)
    if how == "shape":
        return replace(kept, kept_frac=kept.kept_frac[:-1])
    if how == "knots":
        return replace(kept, fraction=kept.fraction[::-1])
    if how == "text":
        return replace(kept, kept_frac=kept.kept_frac.astype(str))
    return replace(kept, light_w_m2=kept.light_w_m2 * 2.0)


@pytest.mark.parametrize("how", ["nan", "beyond one", "shape", "knots", "text", "light"])
def test_a_table_that_does_not_fit_is_made_again(cache, how):
    keep_table(_small(), _other(made_table(_small()), how))
    assert kept_table(_small()) is None


def test_a_table_of_other_strings_is_not_taken(cache):
    other = Strung(cells=cells_of("full"), wiring=along_row(3), orientation="landscape")
    keep_table(other, made_table(other))
    (path,) = (path for path in cache.rglob("*.npz"))
    content = path.read_bytes()
    keep_table(_small(), made_table(_small()))
    for path in cache.rglob("*.npz"):
        path.write_bytes(content)
    assert kept_table(_small()) is None


def test_a_cache_that_cannot_be_written_does_no_harm(cache):
    (cache / "solarcalc").write_text("a file where the folder should be")
    keep_table(_small(), made_table(_small()))
    assert kept_table(_small()) is None
