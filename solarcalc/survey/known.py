"""What a site file answers of the survey already, whether it is a short one or a long one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from solarcalc.basis.errors import InputError
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.read import SiteFile
from solarcalc.sitefile.supply import Grid
from solarcalc.sitefile.survey_fields import MOST_LINES, Value, by_key, fields, read_value
from solarcalc.sitefile.survey_lines import BOX_PARTS, LINES, obstacle_line
from solarcalc.sitefile.weather import LIBRARY, NO_FILE

_IN_A_SPREADSHEET = {0xFFFE: "\ufffd", 0xFFFF: "\ufffd"}
_LOAD_KEYS = {"name", "catalogue", "power_w", "count", "use"}
"""Keys of an appliance that a line of the survey holds."""
_DERIVED = ("grid_h_per_day", "weather")
"""Fields whose answer is not the value under their key."""


@dataclass
class _Known:
    """Answers found so far, the keys they are from, and what no answer can hold."""

    written: Mapping[str, Any]
    values: dict[str, Value] = field(default_factory=dict)
    taken: set[str] = field(default_factory=set)
    left: list[str] = field(default_factory=list)

    def at(self, path: str) -> Any:
        """What the file says under a key; None where it is silent."""
        found: Any = self.written
        for part in path.split("."):
            found = found.get(part) if isinstance(found, Mapping) else None
        return found

    def take(self, key: str, value: Any, *paths: str) -> None:
        """Take a value that the list can hold, of some keys; another stays in the site file."""
        if isinstance(value, str):
            value = value.translate(_IN_A_SPREADSHEET)
        try:
            found = read_value(by_key()[key], value, "")
        except InputError:
            return
        if found is not None:
            self.values[key] = found
        self.taken |= set(paths)

    def take_lines(self, key: str, lines: Sequence[tuple[str, str]], *paths: str) -> None:
        """Take those lines that the list can hold, each with its name in the file."""
        kept: list[str] = []
        for name, line in lines:
            try:
                found = read_value(by_key()[key], [line.translate(_IN_A_SPREADSHEET)], "")
            except InputError:
                found = None
            if isinstance(found, tuple) and len(kept) < MOST_LINES:
                kept += found
            else:
                self.left.append(name)
        self.taken |= set(paths)
        if kept:
            self.values[key] = tuple(kept)

    def unheld(self) -> list[str]:
        """Tables and keys of the file that no answer was taken from, and lines of lists."""
        found = []
        for name, table in self.written.items():
            if not any(path.startswith(f"{name}.") for path in self.taken):
                found.append(name)
            elif isinstance(table, Mapping):
                found += [f"{name}.{key}" for key in table if not any(
                    path == f"{name}.{key}" or path.startswith(f"{name}.{key}.")
                    for path in self.taken)]  # fmt: skip
        return [*found, *self.left]


def known_answers(sitefile: SiteFile) -> tuple[dict[str, Value], list[str]]:
    """What a site file answers of the list, and tables, keys and lines that the list has not.

    Parameters
    ----------
    sitefile : SiteFile
        A short one, or one of the long form.
    """
    if sitefile.survey is not None:
        return dict(sitefile.survey.answers.values), list(sitefile.survey.own)
    known = _Known(sitefile.written)
    for one in fields():
        if one.kind in ("number", "text", "choice") and len(one.path) == 1 \
                and one.key not in _DERIVED:  # fmt: skip
            known.take(one.key, known.at(one.path[0]), one.path[0])
    source = known.at("weather.source")
    if source not in NO_FILE and not source.startswith(LIBRARY):
        source = str((sitefile.folder / source).resolve())
    known.take("weather", source, "weather.source")
    _roof(known)
    _grid(known)
    _loads(known)
    return known.values, known.unheld()


def _roof(known: _Known) -> None:
    known.take_lines("obstacles", [
        (f"roof.obstacles: {box['name']}",
         obstacle_line([box["name"].replace(":", " "),
                        *(float(box[key]) for key in BOX_PARTS[1:])]))
        for box in known.at("roof.obstacles") or []
    ], "roof.obstacles")  # fmt: skip
    paths = [f"horizon.{key}_deg" for key in ("azimuth", "height")]
    points = zip(*(known.at(path) or [] for path in paths), strict=True)
    known.take("horizon", ", ".join(f"{east:g}:{high:g}" for east, high in points), *paths)
    paths = [f"room.{key}_m" for key in ("length", "depth", "height")]
    sizes = [known.at(path) for path in paths]
    if None not in sizes:
        known.take("room_m", " x ".join(f"{size:.12g}" for size in sizes), *paths)
    kinds = {"open-frame": "flat slab", "small-gap": "metal sheet"}
    if (kind := kinds.get(str(known.at("array.mounting")))) is not None:
        known.take("roof_kind", kind, "array.mounting")


def _grid(known: _Known) -> None:
    kind, away = known.at("grid.kind") or "none", known.at("grid.outage_h_per_day")
    hours = {"none": 0.0, "always": 24.0}.get(kind)
    if kind == "random":
        hours = 24.0 - (Grid().outage_h_per_day if away is None else away)
    if hours is not None:
        known.take("grid_h_per_day", hours, "grid.kind", "grid.outage_h_per_day")


def _loads(known: _Known) -> None:
    """The rows of both boards as lines; keys of theirs that a line has not stay in the file."""
    lines, left = [], set[str]()
    for board in BOARDS:
        for row in known.at(f"loads.{board}") or []:
            name = " ".join(str(row["name"]).replace(",", " ").replace(";", " ").split())
            what = row.get("catalogue") if "power_w" not in row else None
            hours = "+".join(span.replace(" ", "") for span in row["use"])
            power = f"{row.get('power_w', 0.0):.12g}"
            phases = "" if what else LINES.get(row.get("phase", ""), "")
            lines.append((f"loads.{board}: {row['name']}",
                          f"{what or f'{name} {power} W{phases}'}, {row.get('count', 1)}, {hours},"
                          f" {board}"))  # fmt: skip
            left |= {f"loads.{board}.{key}"
                     for key in row.keys() - _LOAD_KEYS - ({"phase"} if phases else set())}
    known.take_lines("loads", lines, *(f"loads.{board}" for board in BOARDS))
    known.left += sorted(left)
