"""Invented runs and devices of a system, and a reader of drawings, for the tests of diagrams."""

from __future__ import annotations

import itertools
import re
from typing import NamedTuple
from xml.etree import ElementTree as Tree

SVG = "{http://www.w3.org/2000/svg}"


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
        """Size of the letters of each line of words on its paper, A4 or A3 [mm]."""
        paper_mm = 420.0 if self.width == 420.0 else 297.0
        return [float(each.get("font-size")) * paper_mm / self.width
                for each in self.root.iter(f"{SVG}text")
                if each.get("class") != "mark"]  # fmt: skip

    def marks(self) -> list[str]:
        """Pale words across the sheet; they are meant to lie over what is drawn."""
        return [each.text for each in self.root.iter(f"{SVG}text") if each.get("class") == "mark"]

    def spans(self) -> list[Span]:
        """Where each line of words lies, a letter being 0.6 of its size wide."""
        found = []
        for each in self.root.iter(f"{SVG}text"):
            if each.get("class") == "mark":
                continue
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
