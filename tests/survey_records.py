"""Records of a survey, drawn: what a person may fill in, each in its one spelling."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as some

from solarcalc.sitefile.survey_fields import Field, fields

WORDS = some.text(
    some.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=30
).map(str.strip).filter(bool)  # fmt: skip
"""Texts in any script, formulas and escapes of XML among them."""
HOSTILE = some.sampled_from(["=1+1", "_x000D_", "<script>", "O'Neill & \"Sons\"", "@home", "3,5",
                             "</script><b>", "\\n", "'", "007", "true"])  # fmt: skip
OWN_NAMES = some.sampled_from(["Kiln", "Presse à huile", "Sägewerk", "Water pump", "Radio 2"])
LEAST_GENERATOR_W = 100.0
HIGHEST_RIDGE_M = 200.0
CENTS = some.integers(1, 4000).map(lambda number: number / 100.0)


def _clock(draw: some.DrawFn) -> str:
    start, length = draw(some.integers(0, 47)), draw(some.integers(1, 47))
    end = (start + length) % 48 or 48
    return "-".join(f"{half // 2:02d}:{'30' if half % 2 else '00'}" for half in (start, end))


@some.composite
def load_lines(draw: some.DrawFn, catalogue: tuple[str, ...]) -> str:
    """One appliance."""
    what = draw(some.sampled_from(catalogue))
    if draw(some.booleans()):
        name, watts = draw(OWN_NAMES), draw(some.integers(1, 3000))
        if name[-1].isdigit() and 100 <= watts <= 999:  # "Radio 2 624 W" is asked about
            watts += 1000
        what = f"{name} {watts} W"
    hours = _clock(draw)
    board = draw(some.sampled_from(["essential", "nonessential"]))
    return f"{what}, {draw(some.integers(1, 40))}, {hours}, {board}"


def _value(draw: some.DrawFn, one: Field) -> Any:
    if one.kind == "number":
        low, high = int(100 * (one.low or 0)), int(100 * (one.high or 0))
        return draw(some.integers(low, high)) / 100.0
    if one.kind == "choice":
        return draw(some.sampled_from(one.choices))
    if one.kind == "sizes":
        return " x ".join(f"{draw(some.integers(60, 900)) / 100.0:g}" for _ in range(3))
    if one.kind == "horizon":
        around = sorted(draw(some.sets(some.integers(0, 359), min_size=1, max_size=4)))
        return ", ".join(f"{east}:{draw(some.integers(0, 60))}" for east in around)
    if one.kind == "loads":
        return tuple(draw(some.lists(load_lines(one.choices), min_size=1, max_size=6)))
    if one.kind == "obstacles":
        return tuple(
            f"Box {number}: {draw(CENTS):g} along, {draw(CENTS):g} up,"
            f" {draw(CENTS):g} x {draw(CENTS):g} x {draw(CENTS):g}"
            for number in range(draw(some.integers(1, 3)))
        )  # fmt: skip
    return draw(some.one_of(WORDS, HOSTILE))


@some.composite
def records(draw: some.DrawFn, *, every: bool = False) -> dict[str, Any]:
    """Answers of one site; each field filled in or not."""
    return {one.key: _value(draw, one) for one in fields()
            if one.key == "name" or every or draw(some.booleans())}  # fmt: skip


@some.composite
def sound_records(draw: some.DrawFn) -> dict[str, Any]:
    """Answers that are a sound site: its place, its clock and its roof go together."""
    found = draw(records())
    for key in ("weather", "currency", "horizon", "obstacles", "time_zone", "room_m"):
        found.pop(key, None)
    found["weather"] = "library:12839.tm2"
    if draw(some.booleans()):
        found |= {"roof_length_m": 14.0, "roof_depth_m": 9.0,
                  "obstacles": ("Tank: 9 along, 5.5 up, 1.2 x 1.2 x 1.5",)}  # fmt: skip
    if found.get("roof_depth_m", 0.0) + found.get("eaves_height_m", 0.0) > HIGHEST_RIDGE_M:
        found.pop("eaves_height_m", None)
    if 0.0 < found.get("generator_w", 0.0) < LEAST_GENERATOR_W:
        found["generator_w"] = LEAST_GENERATOR_W
    if "longitude_deg" not in found and "latitude_deg" in found:
        found["longitude_deg"] = 30.0
    return found
