"""A check for each column of ``data/tables`` against something outside the project.

Each check takes the loaded table and says in its decorator which columns it holds: a figure that is
15 % off must make it fail (``test_published_tables.py`` tries). Columns without a figure outside
stand in `HELD_BY_CHECKSUM_ALONE` with the reason; the header of such a table says so too.
"""

from __future__ import annotations

import math
import runpy
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import pytest

from solarcalc.basis.published import Published

FIGURES = runpy.run_path(str(Path(__file__).with_name("published_figures.py")))
Check = Callable[[Published], None]

CHECKS: dict[str, list[tuple[tuple[str, ...], Check]]] = {}
HELD_BY_CHECKSUM_ALONE = {
    ("battery_fuse_classes", "largest_a"): "from memory",
    ("battery_fuse_classes", "rated_v"): "from memory",
    ("battery_fuse_classes", "breaking_ka"): "from memory",
    ("busbar_ratings", "rating_a"): "from memory",
    ("busbar_ratings", "width_mm"): "from memory",
    ("busbar_ratings", "thickness_mm"): "from memory",
    ("rated_voltages", "rated_v"): "from memory",
    ("breaker_let_through", "breaking_ka"): "from memory",
    ("breaker_let_through", "up_to_a"): "from memory",
    ("breaker_let_through", "b_a2_s"): "from memory",
    ("breaker_let_through", "c_a2_s"): "from memory",
    ("room_absorptance", "absorptance"): "from memory",
    ("season_factors", "deep"): "from memory",
    **{("roof_suction", f"{zone}_{size}"): "from memory"
       for zone in ("interior", "edge", "corner") for size in (1, 10)},
    ("roof_suction", "slope_deg"): "from memory",
}
OUTSIDE = (
    "tables/outside.toml", "wiring/cables.toml", "wiring/cables_american.toml",
    "wiring/cables_solar.toml", "wiring/ducts-nec-chapter-9.toml",
)  # fmt: skip
"""Files of figures that columns are held to."""


def holds(table: str, *columns: str) -> Callable[[Check], Check]:
    """Enter a check of those columns of a table."""

    def enter(check: Check) -> Check:
        CHECKS.setdefault(table, []).append((columns, check))
        return check

    return enter


def _case(file: str, name: str) -> dict:
    (found,) = (case for case in FIGURES["published_cases"](file) if case["id"] == name)
    return found


def _outside(name: str) -> dict:
    return _case("tables/outside.toml", name)


def _column(table: Published, column: str, **where: str) -> list[float]:
    """Figures of a column, blanks left out, in the rows that hold those texts."""
    return [
        float(row[column]) for row in table.rows
        if row[column] and all(row[key] == text for key, text in where.items())
    ]  # fmt: skip


def _texts(table: Published, column: str, **where: str) -> list[str]:
    return [
        row[column] for row in table.rows
        if all(row[key] == text for key, text in where.items())
    ]  # fmt: skip


def _same(found: Iterable[float], expected: Iterable[float], *, within: float = 1e-9) -> None:
    """Figure for figure, each within a share."""
    assert list(found) == pytest.approx(list(expected), rel=within, abs=0.0)


def _rounds_to(found: Iterable[float], exact: Iterable[float], *, step: float) -> None:
    """Each figure is the exact one rounded, or the neighbour where half a step decides."""
    assert list(found) == pytest.approx(list(exact), rel=0.0, abs=0.51 * step)


# Conductors: resistance and current.
_RESISTANCES = (
    "copper_class_2_plain", "copper_class_2_tinned", "copper_class_5_plain",
    "copper_class_5_tinned", "aluminium",
)  # fmt: skip


@holds("cable_resistance", "size_mm2", *_RESISTANCES)
def _resistance_as_printed(table: Published) -> None:
    for column in _RESISTANCES:
        case = _case("wiring/cables.toml", "resistance-" + column.replace("_", "-"))
        sizes = [row["size_mm2"] for row in table.rows if row[column]]
        _same(map(float, sizes), case["size_mm2"])
        _same(_column(table, column), case["ohm_per_km"])


@holds("cable_resistance", *_RESISTANCES)
def _resistance_by_the_metal(table: Published) -> None:
    """Resistivity of the metal (IEC 60028, IEC 60889) over the size, up to 10 % more by IEC 60228.

    The size is nominal: the standard fixes the resistance, so a conductor may hold a little less
    metal, and strands that lie aslant are longer than the cable.
    """
    for column in _RESISTANCES:
        rho = 28.264 if column == "aluminium" else 17.241
        for row in table.rows:
            if row[column] and float(row["size_mm2"]) > 0.9:
                ratio = float(row[column]) * float(row["size_mm2"]) / rho
                assert 0.99 < ratio < 1.195, (column, row["size_mm2"], ratio)


_METHODS = ("A1", "A2", "B1", "B2", "C", "D1", "D2")
_KINDS = [("pvc", "2"), ("pvc", "3"), ("xlpe", "2"), ("xlpe", "3")]


def _capacity(table: Published, case_of: Callable[[str, str], dict]) -> None:
    for insulation, loaded in _KINDS:
        case, where = case_of(insulation, loaded), {"insulation": insulation, "loaded": loaded}
        _same(_column(table, "size_mm2", **where), case["size_mm2"])
        for method in _METHODS:
            _same(_column(table, method, **where), case[method])


@holds("cable_capacity", "loaded", "size_mm2", *_METHODS)
def _capacity_small(table: Published) -> None:
    _capacity(table, lambda kind, n: _case("wiring/cables.toml", f"capacity-{kind}-{n}"))


@holds("cable_capacity_large", "loaded", "size_mm2", *_METHODS)
def _capacity_large(table: Published) -> None:
    _capacity(table, lambda kind, n: _outside(f"capacity-large-{kind}-{n}"))


_SOLAR = ("solar-free", "solar-surface", "solar-touching")


@holds("cable_capacity_solar", "size_mm2", *_SOLAR)
def _capacity_of_cable_for_modules(table: Published) -> None:
    case = _case("wiring/cables_solar.toml", "capacity")
    for column in ("size_mm2", *_SOLAR):
        _same(_column(table, column), case[column])


def _by_heat(table: Published, column: str, hottest_c: float, reference_c: float) -> None:
    """sqrt of what is left of the rise, rounded: how IEC 60364-5-52 makes its factors."""
    temperatures = [float(row["ambient_c"]) for row in table.rows if row[column]]
    exact = [math.sqrt(max(hottest_c - t, 0.0) / (hottest_c - reference_c)) for t in temperatures]
    _rounds_to(_column(table, column), exact, step=0.0201)


@holds("cable_air_factor", "ambient_c", "pvc", "xlpe")
def _factor_of_air(table: Published) -> None:
    _by_heat(table, "pvc", 70.0, 30.0)
    _by_heat(table, "xlpe", 90.0, 30.0)


@holds("cable_ground_factor", "ambient_c", "pvc", "xlpe")
def _factor_of_ground(table: Published) -> None:
    _by_heat(table, "pvc", 70.0, 20.0)
    _by_heat(table, "xlpe", 90.0, 20.0)


@holds("cable_air_factor_solar", "ambient_c", "factor")
def _factor_of_air_around_cable_for_modules(table: Published) -> None:
    case = _case("wiring/cables_solar.toml", "air")
    _same(_column(table, "ambient_c"), case["ambient_c"][1:])
    _same(_column(table, "factor"), case["factor"][1:])


@holds("cable_soil_factor", "soil_k_m_per_w", "D1", "D2")
def _factor_of_soil(table: Published) -> None:
    case = _case("wiring/cables.toml", "soil-factor")
    for column in ("soil_k_m_per_w", "D1", "D2"):
        _same(_column(table, column), case[column])


@holds("cable_group_factor", "circuits", "bunched", "layer", "buried")
def _factor_of_groups(table: Published) -> None:
    case = _case("wiring/cables.toml", "group-factor")
    _same(_column(table, "circuits"), case["circuits"])
    _same(_column(table, "bunched"), case["B1"])
    _same(_column(table, "layer"), case["C"])
    buried = _case("wiring/cables.toml", "group-factor-buried")
    _same(_column(table, "buried"), [1.0, *buried["D2"]])


def _adiabatic_k(metal: str, start_c: float, end_c: float) -> float:
    """k of IEC 60364-5-54 annex A and IEC 60949: copper 226, 234.5; aluminium 148, 228."""
    factor, beta = {"copper": (226.0, 234.5), "aluminium": (148.0, 228.0)}[metal]
    return factor * math.sqrt(math.log((beta + end_c) / (beta + start_c)))


@holds("cable_adiabatic_k", "start_c", "end_c", "k")
def _heat_of_a_short_circuit(table: Published) -> None:
    for row in table.rows:
        exact = _adiabatic_k(row["material"], float(row["start_c"]), float(row["end_c"]))
        _rounds_to([float(row["k"])], [exact], step=1.2)


@holds("protective_k", "k")
def _heat_of_a_protective_conductor(table: Published) -> None:
    """Laid alone it starts from the air, 30 degC; in a cable from the heat of the full load."""
    limits = {"separate-pvc": (30, 160), "separate-xlpe": (30, 250),
              "in-cable-pvc": (70, 160), "in-cable-xlpe": (90, 250)}  # fmt: skip
    exact = [_adiabatic_k("copper", *limits[laid]) for laid in _texts(table, "laid")]
    _rounds_to(_column(table, "k"), exact, step=1.0)


# American sizes.
def _gauge_mm2(gauge: str) -> float:
    """Area by ASTM B258, 0.005 inch x 92^((36 - n) / 39), or in thousands of circular mils."""
    mils = float(gauge.split("/")[0])
    if mils >= 250.0:
        return mils * 1000.0
    number = 1.0 - mils if "/" in gauge else mils
    return (5.0 * 92.0 ** ((36.0 - number) / 39.0)) ** 2


@holds("gauge_capacity", "circular_mils")
def _areas_of_gauges(table: Published) -> None:
    _same(_column(table, "circular_mils"), map(_gauge_mm2, _texts(table, "gauge")), within=0.002)


@holds("gauge_capacity", "c75")
def _currents_of_gauges(table: Published) -> None:
    case = _case("wiring/cables_american.toml", "capacity-75")
    found = dict(zip(_texts(table, "gauge"), _column(table, "c75"), strict=True))
    _same([found[name.removeprefix("AWG ")] for name in case["gauge"]], case["table_a"])


@holds("gauge_capacity", "c60", "c90")
def _currents_of_gauges_by_heat(table: Published) -> None:
    """Heat is let go in proportion to the rise over 30 degC, so the current by its root.

    Metal is a better conductor when cooler, which gives up to 4 % more at 60 and less at 90 degC;
    gauges above 8 are printed in whole fives or tens of amperes.
    """
    for row in table.rows[4:]:
        known = float(row["c75"])
        cooler = float(row["c60"]) / known / math.sqrt(30.0 / 45.0)
        hotter = float(row["c90"]) / known / math.sqrt(60.0 / 45.0)
        for ratio in (cooler, 1.0 / hotter):
            assert 1.0 - 2.5 / known < ratio < 1.04 + 2.5 / known


@holds("gauge_capacity", "largest_device_a")
def _largest_devices(table: Published) -> None:
    case = _outside("largest-devices")
    assert [row["gauge"] for row in table.rows if row["largest_device_a"]] == case["gauge"]
    _same(_column(table, "largest_device_a"), case["largest_device_a"])


@holds("gauge_air_factor", "ambient_c", "c60", "c75", "c90")
def _factor_of_air_of_gauges(table: Published) -> None:
    for column, hottest_c in (("c60", 60.0), ("c75", 75.0), ("c90", 90.0)):
        _by_heat(table, column, hottest_c, 30.0)


@holds("gauge_group_factor", "conductors", "factor")
def _factor_of_groups_of_gauges(table: Published) -> None:
    case = _outside("group-factors")
    _same(_column(table, "conductors"), [3, *case["conductors"]])
    _same(_column(table, "factor"), [1.0, *(each / 100.0 for each in case["percent"])])


@holds("voltage_factors_690_7", "lowest_c", "up_to_c", "factor")
def _cold_modules(table: Published) -> None:
    case = _case("wiring/strings-nec-iec62548.toml", "table-690-7-bands")
    _same(_column(table, "lowest_c"), reversed(case["lowest_c"]))
    _same(_column(table, "up_to_c"), reversed(case["warmest_c"]))
    _same(_column(table, "factor"), reversed(case["figure"]))


# Ducts and what lies in them.
@holds("conduit_fill", "least_cables", "fill_pct")
def _fill(table: Published) -> None:
    case = _case("wiring/ducts-nec-chapter-9.toml", "limits")
    _same(_column(table, "least_cables"), case["cables"][:3])
    _same(_column(table, "fill_pct"), case["figure"][:3])


@holds("conduit_thhn", "awg", "area_in2")
def _areas_of_american_cables(table: Published) -> None:
    case = _case("wiring/ducts-nec-chapter-9.toml", "thhn-areas")
    _same(_column(table, "awg"), case["awg"])
    _same(_column(table, "area_in2"), case["figure"])


@holds("conduit_thhn", "area_in2")
def _so_many_american_cables_fill_a_duct(table: Published) -> None:
    """NEC annex C counts, from the areas of EMT as printed: 40 % holds so many and not one more."""
    ducts = _case("wiring/ducts-nec-chapter-9.toml", "emt-areas")
    inside = dict(zip(ducts["ducts"], ducts["figure"], strict=True))
    case = _case("wiring/ducts-nec-chapter-9.toml", "equal-cables")
    areas = dict(zip(_texts(table, "awg"), _column(table, "area_in2"), strict=True))
    for duct, awg, most in zip(case["ducts"], case["awg"], case["figure"], strict=True):
        # note 7: 0.8 of a cable and more counts as one
        assert most == math.floor(0.4 * inside[duct] / areas[str(awg)] + 0.2)


@holds("conduit_cables", "cores", "size_mm2", "outer_mm")
def _diameters_of_cables(table: Published) -> None:
    """Built up: strands, insulation, lay of the cores, sheath.

    Strands fill 0.78 of the circle around them up to 10 mm2 (7 in a circle: 7/9) and 0.92 pressed
    together above, as a maker's sheet has them (lsvinacns.vn: 2.01 mm of 2.5, 4.05 of 10, 5.9 of
    25 mm2), not pressed 0.77, and 0.55 in class 5 at its loosest (IEC 60228 annex C, from memory).
    Two cores lie in 2, four in 1 + sqrt 2 of a core's diameter, with 1 mm of filling around them
    (the same sheet); a sheath has 0.035 D + 1, at the least 1.4 mm on one core, 1.8 mm on more (IEC
    60502-1, the sum at armoured-cable.net). Single cores are the largest a standard lets through,
    which is up to a sixth more than this.
    """
    for kind, walls, least, most in (
        ("solar", "walls-of-solar-cable", 1.05, 1.155),
        ("pvc", "insulation-of-pvc-singles", 1.07, 1.145),
        ("sheathed", "insulation-of-sheathed-cables", 0.98, 1.055),
    ):
        case = _outside(walls)
        thick = dict(zip(case["size_mm2"], next(iter(case["figure"].values())), strict=True))
        for row in table.rows:
            if row["kind"] == kind:
                built = _built_mm(kind, float(row["size_mm2"]), float(row["cores"]), thick)
                ratio = float(row["outer_mm"]) / built
                assert least < ratio < most, f"{kind} {row['cores']} x {row['size_mm2']}: {ratio}"


def _built_mm(kind: str, size: float, cores: float, thick: dict[float, float]) -> float:
    full = {"solar": 0.55, "pvc": 0.77, "sheathed": 0.78 if size <= 10.0 else 0.92}[kind]
    core = math.sqrt(4.0 * size / (math.pi * full)) + 2.0 * thick[size]
    bundle = core * {1.0: 1.0, 2.0: 2.0, 4.0: 1.0 + math.sqrt(2.0)}[cores]
    bundle += 2.0 if cores > 1.0 else 0.0
    sheath = max(1.4 if cores == 1.0 else 1.8, 0.035 * bundle + 1.0)
    return bundle + (2.0 * sheath if kind == "sheathed" else 0.0)


@holds("ducts", "outer_mm", "inner_mm")
def _ducts(table: Published) -> None:
    found = {row["key"]: (float(row["outer_mm"]), float(row["inner_mm"])) for row in table.rows}
    emt, waste, duct = _outside("emt"), _outside("ducts-of-pvc"), _outside("cable-ducts")
    for key, outer, wall in zip(emt["key"], emt["outer_mm"], emt["wall_mm"], strict=True):
        assert abs(found[key][0] - outer) < 0.051
        assert abs(found[key][1] - (outer - 2.0 * wall)) < 0.11
    for key, wall in zip(waste["key"], waste["wall_mm"], strict=True):
        assert abs(found[key][0] - found[key][1] - 2.0 * wall) < 0.051
    for key, sold in zip(duct["key"], duct["sold_inner_mm"], strict=True):
        outer, least = found[key]
        assert 0.85 * sold < least < sold, "the least is three quarters of the outside, rounded"
        assert abs(least - 0.75 * outer) < 1.0
    for key, (outer, inner) in found.items():
        kind, size = key.split("-", 1)
        if kind != "emt":
            assert outer == float(size)
        if kind not in ("emt", "duct"):
            assert 1.2 < (outer - inner) / 2.0 < 5.0


# Devices.
def _preferred(values: Iterable[float], *, within: float = 0.06) -> None:
    """Near a number of the series R10, or R20 for 35, whose exact members are powers of ten."""
    for value in values:
        step = 20.0 if value == 35.0 else 10.0
        nearest = 10.0 ** (round(step * math.log10(value)) / step)
        assert abs(value / nearest - 1.0) < within, f"{value:g} is not near {nearest:.4g}"


@holds("device_ratings", "rating_a")
def _ratings(table: Published) -> None:
    """ISO 3 and IEC 60059: members of R10; a tenth is more than half of their distance."""
    _preferred(_column(table, "rating_a"))


@holds("protection_ratings", "rating_a")
def _ratings_of_other_devices(table: Published) -> None:
    _preferred(_column(table, "rating_a"))
    residual = _column(table, "rating_a", kind="residual")
    assert set(residual) <= set(_outside("residual-device-ratings")["rating_a"])


@holds("breaking_capacities", "breaking_ka")
def _breaking(table: Published) -> None:
    cases = ("breaking-up-to-6-ka", "breaking-above-6-ka")
    expected = [each for name in cases for each in _outside(name)["breaking_ka"]]
    _same(_column(table, "breaking_ka"), expected)


@holds("breaker_curves", "low", "high")
def _curves(table: Published) -> None:
    case = _case("protection/overcurrent.toml", "bands")
    assert _texts(table, "curve") == case["curves"]
    _same(_column(table, "low"), case["low"])
    _same(_column(table, "high"), case["high"])


@holds("disconnection_times", "up_to_v", "tn_s", "tt_s")
def _times(table: Published) -> None:
    case = _case("protection/overcurrent.toml", "times")
    _same(_column(table, "up_to_v"), [120, 230, 400, 1000])
    _same(_column(table, "tn_s"), case["tn_s"])
    _same(_column(table, "tt_s"), case["tt_s"])


@holds("residual_trip_times", "times_rated", "longest_ms")
def _trip_times(table: Published) -> None:
    case = _case("commissioning/limits.toml", "residual-device")
    _same(_column(table, "times_rated"), case["times"])
    _same(_column(table, "longest_ms"), case["longest_ms"])


@holds("fuse_gates", "rated_a", "most_5_s_a", "least_0_1_s_a", "most_0_1_s_a")
def _gates(table: Published) -> None:
    """A real fuse melts inside its gates, and not at their far end.

    At 5 s by the loop impedances of BS 7671 (230 V); at 0.1 s by the average curves of a power-flow
    library, read off a chart to 5 %.
    """
    rows = {float(row["rated_a"]): row for row in table.rows}
    slow = _outside("fuses-5-s")
    for rated, ohm in zip(slow["rated_a"], slow["zs_ohm"], strict=True):
        assert rated in rows
        assert 1.0 <= float(rows[rated]["most_5_s_a"]) / (230.0 / ohm) < 1.21
    quick = _case("protection/fuse-curves.toml", "nh-at-0.1-s")
    for rated, melts in zip(quick["rated_a"], quick["melts_a"], strict=True):
        assert 0.95 <= float(rows[rated]["most_0_1_s_a"]) / melts < 1.25
        assert 0.52 < float(rows[rated]["least_0_1_s_a"]) / melts < 0.70


@holds("surge_withstand", "up_to_v", "module_kv", "converter_kv")
def _withstand(table: Published) -> None:
    """Converters: category II of IEC 60664-1, 2.5 kV at the least (IEC 62109-1, from memory).

    Modules: reinforced insulation at 1000 V is made for the next step above category II.
    """
    case, rows = _outside("overvoltage-category"), {row["up_to_v"]: row for row in table.rows}
    for volts, second in zip(case["up_to_v"], case["category_2_v"], strict=True):
        assert float(rows[str(volts)]["converter_kv"]) == max(second / 1000.0, 2.5)
    assert set(_column(table, "module_kv")) == {case["category_3_v"][-1] / 1000.0}


@holds("surge_voltages", "rated_v", "protection_kv")
def _surge_devices(table: Published) -> None:
    case = _outside("surge-device-1200")
    found = np.interp(case["rated_v"], _column(table, "rated_v"), _column(table, "protection_kv"))
    _same([float(found)], [case["protection_kv"]], within=case["tolerance_frac"])


# The bank, the room, the ground, the tests.
_LAYERS = ("conductivity_w_per_m_k", "density_kg_per_m3", "specific_heat_j_per_kg_k")


@holds("room_constructions", *_LAYERS)
def _materials(table: Published) -> None:
    case = _outside("materials")
    for i, layer in enumerate(case["layer"]):
        for row in (row for row in table.rows if row["layer"] == layer):
            lambda_, density, heat = (float(row[column]) for column in _LAYERS)
            assert case["conductivity_low"][i] <= lambda_ <= case["conductivity_high"][i]
            assert case["density_low"][i] <= density <= case["density_high"][i]
            assert heat == case["specific_heat"][i]


@holds("room_constructions", "thickness_mm", "conductivity_w_per_m_k")
def _wall_of_brick_and_gap_of_air(table: Published) -> None:
    """2.2 W/m2K of a wall of brick, as printed; 0.18 m2 K/W of a gap (ISO 6946, from memory)."""
    (brick,) = (row for row in table.rows if row["name"] == "brick")
    (gap,) = (row for row in table.rows if row["layer"] == "air gap")

    def resistance(row: dict[str, str]) -> float:
        return float(row["thickness_mm"]) / 1000.0 / float(row["conductivity_w_per_m_k"])

    printed = _case("powerroom/building-heat.toml", "brick-nine-inch")["figure"]
    _rounds_to([printed], [1.0 / (0.13 + resistance(brick) + 0.04)], step=0.1)
    _same([resistance(gap)], [0.18], within=0.005)
    assert float(brick["thickness_mm"]) == 220.0  # the printed wall is 22 cm, nine inches


@holds("soil_kinds", "low", "usual", "high")
def _soils(table: Published) -> None:
    report, standard = _case("earthing/soil.toml", "report-108"), _outside("soils")
    for column in ("low", "usual", "high"):
        found = dict(zip(_texts(table, "kind"), _column(table, column), strict=True))
        expected = dict(zip(standard["kind"], standard[column], strict=True))
        expected |= dict(zip(report["kinds"], report[column], strict=True))
        assert found == expected


@holds("season_factors", "shallow")
def _seasons(table: Published) -> None:
    """A year of readings of one electrode: the worst month over the median one."""
    year = _case("earthing/soil.toml", "a-year")["ohm"]
    (mild,) = _column(table, "shallow", tested="mild")
    _same([mild], [max(year) / float(np.median(year))], within=0.02)


@holds("rod_lambda", "rods", "factor")
def _rods(table: Published) -> None:
    case = _case("earthing/rods.toml", "table-of-factors")
    _same(_column(table, "rods"), case["counts"])
    _same(_column(table, "factor"), case["result"])
    for rods, factor in zip(_column(table, "rods"), _column(table, "factor"), strict=True):
        pairs = sum(1.0 / abs(i - j) for i in range(int(rods)) for j in range(int(rods)) if i != j)
        assert abs(factor - pairs / rods) < 0.05


@holds("buried_earth_sizes", "copper_mm2", "steel_mm2")
def _earth_in_the_ground(table: Published) -> None:
    case = _outside("earth-in-ground")
    for column in ("sheathed", "guarded"):
        assert _texts(table, column) == case[column]
    for column in ("copper_mm2", "steel_mm2"):
        _same(_column(table, column), case[column])


@holds("insulation_tests", "up_to_v", "test_v", "least_megohm")
def _insulation(table: Published) -> None:
    array = _case("commissioning/limits.toml", "array-insulation")
    other = _case("commissioning/limits.toml", "other-insulation")
    assert _texts(table, "up_to_v", circuit="array") == ["120", "500", "1000", ""]
    for column in ("test_v", "least_megohm"):
        printed = array[column]
        _same(_column(table, column, circuit="array"), [printed[i] for i in (0, 2, 5, 7)])
        printed = other[column]
        _same(_column(table, column, circuit="extra-low"), printed[:1])
        _same(_column(table, column, circuit="others"), [printed[1], printed[3]])
    assert _texts(table, "up_to_v", circuit="others") == ["500", ""]


@holds("terrain_categories", "roughness_m", "least_height_m")
def _terrain(table: Published) -> None:
    case = _outside("roughness-of-terrain")
    assert _texts(table, "category") == case["category"]
    _same(_column(table, "roughness_m"), case["roughness_m"])
    _same(_column(table, "least_height_m"), case["least_height_m"])


@holds("wind_exposures", "exponent", "gradient_ft")
def _exposure(table: Published) -> None:
    """K_z = 2.01 (z / z_g)^(2 / alpha) at both heights of the list."""
    case = _outside("exposure-coefficients")
    rows = {row["exposure"]: row for row in table.rows}
    found = [
        2.01 * (feet / float(rows[key]["gradient_ft"])) ** (2.0 / float(rows[key]["exponent"]))
        for key, feet in zip(case["exposure"], case["height_ft"], strict=True)
    ]  # fmt: skip
    _rounds_to(case["coefficient"], found, step=0.01)


@holds("array_uplift", "tilt_deg", "area", "interior", "edge", "corner")
def _uplift_of_arrays(table: Published) -> None:
    case, zones = _outside("uplift-of-small-areas"), ("interior", "edge", "corner")
    for tilt, ends in (("5", case["flat"]), ("15", case["tilted"])):
        first = {float(row["tilt_deg"]): row for row in reversed(table.rows)}[float(tilt)]
        assert float(first["area"]) == 1.0
        _same([float(first[zone]) for zone in zones], ends)


@holds("pad_friction", "fleece", "rubber", "aluminium-mat")
def _friction(table: Published) -> None:
    case = _outside("friction-of-pads")
    assert _texts(table, "skin") == case["skin"]
    for column, figures in (("fleece", case["fleece"]), ("rubber", case["rubber"]),
                            ("aluminium-mat", case["aluminium"])):
        _same(_column(table, column), figures)
