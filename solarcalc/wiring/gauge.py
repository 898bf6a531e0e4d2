"""American sizes of copper: which stands for which metric size, and what they carry.

In duct and cable (A1 to C) by NEC table 310.16, 75 degC column, with its factors. That table has
no cable made for modules, and its earth is another than that of IEC 60364: there a gauge carries
what the next metric size below carries, and a factor of 1 says so. Aluminium is not held.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.wiring.capacity import Capacity, capacity
from solarcalc.wiring.conductors import (
    OHM_MM2_PER_KM,
    field_of,
    resistance_column,
    resistances,
    sizes_mm2,
)
from solarcalc.wiring.runs import Run

MM2_PER_CIRCULAR_MIL = math.pi / 4.0 * 0.0254**2  # a circle of 0.001 inch
GAUGE_HOTTEST_C = float(constant("wiring.gauge_hottest_c"))
STRANDING = constant("wiring.stranding")


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """An American size of copper: its name, area [mm2], 75 degC current and largest device [A]."""

    name: str
    size_mm2: float
    table_a: float
    largest_device_a: float | None


@cache
def gauges() -> tuple[Gauge, ...]:
    """Every gauge of the table, rising."""
    return tuple(
        Gauge(
            name=f"{row['gauge']} kcmil" if row["gauge"] in _KCMIL else f"AWG {row['gauge']}",
            size_mm2=float(row["circular_mils"]) * MM2_PER_CIRCULAR_MIL,
            table_a=float(row["c75"]),
            largest_device_a=float(row["largest_device_a"]) if row["largest_device_a"] else None,
        )
        for row in published("gauge_capacity").rows
    )


_KCMIL = {"250", "300", "350", "400", "500"}


def gauge_for(size_mm2: float) -> Gauge | None:
    """Nearest gauge whose area and current are at least those of a metric size; None above all.

    Parameters
    ----------
    size_mm2 : float
        A metric size of copper [mm2].

    Notes
    -----
    The current compared is that of three loaded conductors in a duct, air at 30 degC: method B1
    with PVC (70 degC) against the 75 degC column.
    """
    table = published("cable_capacity").rows + published("cable_capacity_large").rows
    (metric_a,) = [
        float(row["B1"])
        for row in table
        if (row["insulation"], row["loaded"]) == ("pvc", "3")
        and math.isclose(float(row["size_mm2"]), size_mm2)
    ]
    for gauge in gauges():
        if gauge.size_mm2 >= size_mm2 and gauge.table_a >= metric_a:
            return gauge
    return None


def gauge_rows() -> list[dict[str, str]]:
    """Metric sizes and the American ones that may stand for them, for a schedule."""
    rows = []
    for size in sizes_mm2("copper"):
        gauge = gauge_for(size)
        rows.append({
            "Metric": f"{size:g} mm²",
            "American": gauge.name if gauge else "two or more in parallel",
            "Its area, mm²": f"{gauge.size_mm2:.1f}" if gauge else "",
            "Its current in duct at 75 °C, A": f"{gauge.table_a:g}" if gauge else "",
        })  # fmt: skip
    return rows


def checked_gauge(run: Run, size_mm2: float) -> Gauge:
    """The gauge that has that area, within 2 %.

    Raises
    ------
    InputError
        When none has.
    """
    near = min(gauges(), key=lambda gauge: abs(math.log(gauge.size_mm2 / max(size_mm2, 1e-3))))
    if math.isclose(near.size_mm2, size_mm2, rel_tol=0.02):
        return near
    made = ", ".join(f"{gauge.size_mm2:.3g} ({gauge.name})" for gauge in gauges())
    raise InputError(Fault(
        where=field_of(run, "size_mm2"), given=f"{size_mm2:g} mm²",
        allowed=f"with cables.sizes = \"awg\" the area of a gauge, mm²: {made}",
        why=published("gauge_capacity").source,
        remedy=f"the nearest is {near.size_mm2:.3g} mm² ({near.name})",
    ))  # fmt: skip


def gauge_capacity(run: Run, gauge: Gauge, in_parallel: int = 1) -> Capacity:
    """What the run carries with conductors of that gauge.

    Raises
    ------
    InputError
        Aluminium; air hotter than the table goes; what `capacity` refuses.
    """
    _refuse_aluminium(run)
    if run.lies.for_modules or run.lies.in_ground:
        below_mm2 = metric_below_mm2(gauge)
        carries = capacity(run, below_mm2, in_parallel)
        note = {f"taken as {below_mm2:g} mm², the metric size below": 1.0}
        return Capacity(
            table_a=carries.table_a, factors=note | carries.factors, hottest_c=carries.hottest_c
        )
    loaded = run.circuits_with(in_parallel) * run.loaded
    return Capacity(
        table_a=gauge.table_a * in_parallel,
        factors={
            f"air at {run.ambient_c:.0f} °C": _air_factor(run),
            f"{loaded} loaded conductors together": _group_factor(loaded),
        },
        hottest_c=GAUGE_HOTTEST_C,
        largest_device_a=gauge.largest_device_a,
    )


def gauge_resistance_ohm_per_km(run: Run, gauge: Gauge) -> float:
    """Resistance of one conductor at 20 degC [ohm/km]; finer wires as the metric size below."""
    plain = float(OHM_MM2_PER_KM["copper"]) * float(STRANDING) / gauge.size_mm2
    below_mm2 = metric_below_mm2(gauge)
    of_kind = resistances(resistance_column(run))[below_mm2]
    return plain * of_kind / resistances("copper_class_2_plain")[below_mm2]


def metric_below_mm2(gauge: Gauge) -> float:
    """Largest metric size that is not larger than the gauge [mm2]."""
    return max(size for size in sizes_mm2("copper") if size <= gauge.size_mm2)


def _refuse_aluminium(run: Run) -> None:
    if run.material == "aluminium":
        raise InputError(Fault(
            **worded("wiring", "refuse-aluminium"), where=field_of(run, "material"),
        ))  # fmt: skip


def _air_factor(run: Run) -> float:
    """Of the first row at or above the temperature: a row holds up to its own."""
    table = published("gauge_air_factor")
    pairs = zip(table.numbers("ambient_c"), table.numbers("c75"), strict=True)
    held = [(top, factor) for top, factor in pairs if top is not None and factor is not None]
    for top_c, factor in held:
        if run.ambient_c <= top_c:
            return factor
    raise InputError(Fault(
        where=field_of(run, "ambient_c"), given=f"{run.ambient_c:g} °C around {run.name}",
        allowed=f"at most {held[-1][0]:g} °C for a conductor at {GAUGE_HOTTEST_C:g} °C",
        why=table.clause, remedy="shade the cable, let air pass or part it from what heats it",
    ))  # fmt: skip


def _group_factor(loaded: int) -> float:
    table = published("gauge_group_factor")
    pairs = list(zip(table.numbers("conductors"), table.numbers("factor"), strict=True))
    for number, factor in pairs:
        if number is not None and factor is not None and loaded <= number:
            return factor
    return float(table.rows[-1]["factor"])
