"""Invented runs and devices of a system, and a reader of drawings, for the tests of diagrams."""

from __future__ import annotations

import itertools
import re
from typing import NamedTuple
from xml.etree import ElementTree as Tree

import numpy as np

from solarcalc.protection.case import Device
from solarcalc.wiring.runs import Run, SizedRun

SVG = "{http://www.w3.org/2000/svg}"

RUNS = (
    # key, name, count, loaded, DC or AC, A, length m, method, insulation, mm2, in parallel
    ("string", "module string to combiner", 4, 2, "dc", 15.8, 12.0, "solar-free", "xlpe", 4, 1),
    ("main", "combiner to controller", 2, 2, "dc", 31.6, 45.0, "D1", "xlpe", 16, 1),
    ("controller_battery", "controller to bank", 2, 2, "dc", 75.0, 2.0, "B1", "xlpe", 25, 1),
    ("battery_inverter_critical", "bank to inverter", 1, 2, "dc", 52.1, 2.0, "B1", "xlpe", 16, 1),
    ("battery_inverter_heavy", "bank to inverter", 1, 2, "dc", 78.0, 2.0, "B1", "xlpe", 70, 2),
    ("inverter_board_critical", "inverter to board", 1, 2, "ac", 8.7, 3.0, "B1", "pvc", 2.5, 1),
    ("inverter_board_heavy", "inverter to board", 1, 2, "ac", 13.0, 3.0, "B1", "pvc", 2.5, 1),
    ("board_house_critical", "board to house", 1, 2, "ac", 8.7, 15.0, "D1", "xlpe", 2.5, 1),
    ("board_house_heavy", "board to house", 1, 2, "ac", 13.0, 15.0, "D1", "xlpe", 4, 1),
    ("grid_in", "grid to changeover", 1, 2, "ac", 9.0, 10.0, "B1", "pvc", 2.5, 1),
    ("generator_in", "generator to changeover", 1, 2, "ac", 22.0, 15.0, "B1", "pvc", 4, 1),
)
DEVICES = (
    # key, kind, DC or AC, count, poles, A, V, kA, extra
    ("string-fuse", "fuse", "dc", 8, 1, 15.0, 1000.0, 10.0, "gPV"),
    ("array-isolator", "isolator", "dc", 2, 2, 32.0, 600.0, None, "DC-PV2"),
    ("array-surge", "surge", "dc", 2, 3, None, 600.0, None, "type 2, at most 2.5 kV"),
    ("controller-breaker", "breaker", "dc", 2, 2, 80.0, 80.0, 10.0, ""),
    ("array-surge-roof", "surge", "dc", 2, 3, None, 600.0, None, "type 2, at most 2.5 kV"),
    ("battery-isolator", "isolator", "dc", 1, 2, 200.0, 60.0, None, "both poles"),
    ("battery-string-fuse", "fuse", "dc", 3, 1, 100.0, 80.0, 20.0, "class T"),
    ("residual-grid", "residual", "ac", 1, 2, 40.0, 230.0, None, "300 mA, type S"),
    ("battery-fuse", "fuse", "dc", 2, 1, 200.0, 80.0, 20.0, "class T"),
    ("inverter-fuse-critical", "fuse", "dc", 1, 1, 63.0, 80.0, 20.0, ""),
    ("inverter-fuse-heavy", "fuse", "dc", 1, 1, 100.0, 80.0, 20.0, ""),
    ("residual-critical", "residual", "ac", 1, 2, 25.0, 230.0, None, "30 mA, type A"),
    ("residual-heavy", "residual", "ac", 1, 2, 25.0, 230.0, None, "30 mA, type A"),
    ("board-breaker-critical", "breaker", "ac", 1, 2, 10.0, 230.0, 6.0, "curve C"),
    ("house-breaker-critical", "breaker", "ac", 1, 2, 10.0, 230.0, 6.0, "curve B, both poles"),
    ("house-breaker-heavy", "breaker", "ac", 1, 2, 16.0, 230.0, 6.0, "curve B, both poles"),
    ("board-breaker-heavy", "breaker", "ac", 1, 2, 16.0, 230.0, 6.0, "curve C"),
    ("board-surge", "surge", "ac", 1, 2, None, 275.0, None, "type 2"),
    ("changeover", "changeover", "ac", 1, 2, 40.0, 230.0, None, "break before make"),
    ("changeover-sources", "changeover", "ac", 1, 2, 40.0, 230.0, None, "break before make"),
    ("grid-breaker", "breaker", "ac", 1, 2, 10.0, 230.0, 6.0, "curve C"),
    ("generator-breaker", "breaker", "ac", 1, 2, 25.0, 230.0, 6.0, "curve C"),
)


def invented_runs(*leave_out: str, count: int | None = None) -> list[SizedRun]:
    """Every run of a system with invented, plausible figures."""
    return [_sized(row, count) for row in RUNS if row[0] not in leave_out]


def _sized(row: tuple, count: int | None) -> SizedRun:
    key, name, alike, loaded, current, design_a, length_m, method, insulation, size, beside = row
    run = Run(
        key=key, name=name, start="here", end="there", current=current, loaded=loaded,
        count=alike if count is None or alike == 1 else count, voltage_v=230.0, highest_v=250.0,
        design_a=design_a, device="none", hourly_a=np.zeros(3), power_factor=1.0,
        length_m=length_m, length_given=True, method=method, insulation=insulation,
        material="copper", ambient_c=30.0, soil_k_m_per_w=2.5, circuits_together=1,
        size_mm2=None, in_parallel=beside, drop_limit_frac=0.03,
    )  # fmt: skip
    return SizedRun(
        run=run, size_mm2=size, size_name=f"{size:g} mm²", in_parallel=beside, table_a=80.0,
        capacity_a=60.0, factors={}, device_a=None, drop_v=1.0, drop_frac=0.01, loss_w=10.0,
        loss_kwh_per_year=20.0, cost=1.0, lifetime_cost=2.0, decided_by="capacity",
    )  # fmt: skip


def invented_devices(*leave_out: str) -> list[Device]:
    """Every device of a system with invented, plausible figures."""
    return [
        Device(key=key, name=key.replace("-", " "), kind=kind, run_key="", at="invented place",
               current=current, count=count, poles=poles, rated_a=rated_a, rated_v=rated_v,
               breaking_ka=breaking_ka, extra=extra, clause="invented")
        for key, kind, current, count, poles, rated_a, rated_v, breaking_ka, extra in DEVICES
        if key not in leave_out
    ]  # fmt: skip


class Span(NamedTuple):
    """A rectangle on the sheet [mm]."""

    words: str
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Span, slack: float = 0.05) -> bool:
        """Whether the two have more than a rim in common."""
        across = self.left + slack < other.right and other.left + slack < self.right
        return across and self.top + slack < other.bottom and other.top + slack < self.bottom

    def holds(self, other: Span) -> bool:
        """Whether the middle of the other lies in this."""
        across, down = (other.left + other.right) / 2.0, (other.top + other.bottom) / 2.0
        return self.left <= across <= self.right and self.top <= down <= self.bottom


class Drawing:
    """An SVG read back."""

    def __init__(self, svg: str) -> None:
        self.svg = svg
        self.root = Tree.fromstring(svg)
        self.width, self.height = (float(each) for each in self.root.get("viewBox").split()[2:])

    def texts(self) -> list[str]:
        """Every line of words."""
        return [each.text for each in self.root.iter(f"{SVG}text")]

    def all_words(self) -> str:
        """All of them in one."""
        return " ".join(self.texts())

    def sizes(self) -> list[float]:
        """Size of the letters of each line of words [mm on A4]."""
        return [float(each.get("font-size")) * 297.0 / self.width
                for each in self.root.iter(f"{SVG}text")]  # fmt: skip

    def spans(self) -> list[Span]:
        """Where each line of words lies, a letter being 0.6 of its size wide."""
        found = []
        for each in self.root.iter(f"{SVG}text"):
            x, y, size = (float(each.get(name)) for name in ("x", "y", "font-size"))
            wide = 0.6 * size * len(each.text)
            left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[each.get("text-anchor")] * wide
            found.append(Span(each.text, left, y - 0.75 * size, left + wide, y + 0.2 * size))
        return found

    def strokes(self) -> list[tuple[int, Span]]:
        """Every straight stroke, level, upright or short, by its place in the file."""
        found = []
        for order, each in enumerate(self.root.iter()):
            if each.tag == f"{SVG}rect" and float(each.get("stroke-width", 0.0)) > 0.0:
                left, top, right, foot = _corners(each)
                corners = [(left, top), (right, top), (right, foot), (left, foot), (left, top)]
            elif each.tag == f"{SVG}path" and each.get("fill"):
                places = re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", each.get("d"))
                corners = [(float(x), float(y)) for x, y in places]
                if each.get("d").endswith("Z"):
                    corners.append(corners[0])
            else:
                continue
            for (x, y), (u, v) in itertools.pairwise(corners):
                if abs(x - u) < 1e-6 or abs(y - v) < 1e-6 or abs(x - u) + abs(y - v) < 3.0:
                    found.append((order, Span("", min(x, u), min(y, v), max(x, u), max(y, v))))
        return found

    def covers(self) -> list[tuple[int, Span]]:
        """White fields that hide what was drawn before them, by their place in the file."""
        return [
            (order, Span("", *_corners(each))) for order, each in enumerate(self.root.iter())
            if each.get("fill") == "white" and each.tag in (f"{SVG}rect", f"{SVG}circle")
        ]  # fmt: skip


def _corners(shape: Tree.Element) -> tuple[float, float, float, float]:
    if shape.tag == f"{SVG}circle":
        x, y, r = (float(shape.get(name)) for name in ("cx", "cy", "r"))
        return x - r, y - r, x + r, y + r
    x, y = float(shape.get("x", 0.0)), float(shape.get("y", 0.0))
    return x, y, x + float(shape.get("width")), y + float(shape.get("height"))


def clashes(drawing: Drawing) -> list[str]:
    """Words that lie over other words or a stroke, or that leave the sheet."""
    spans, strokes, covers = drawing.spans(), drawing.strokes(), drawing.covers()
    found = [f"{one.words!r} over {other.words!r}"
             for one, other in itertools.combinations(spans, 2) if one.meets(other)]  # fmt: skip
    for one in spans:
        shown_from = max(order for order, cover in covers if cover.holds(one))
        found += [f"{one.words!r} over a stroke at {line}" for order, line in strokes
                  if order > shown_from and one.meets(line, slack=-0.05)]  # fmt: skip
    found += [f"{one.words!r} leaves the sheet" for one in spans
              if one.left < 0.0 or one.top < 0.0 or one.right > drawing.width
              or one.bottom > drawing.height]  # fmt: skip
    return found
