"""What a site file answers of the survey already, whether it is a short one or a long one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from solarcalc.basis.errors import InputError
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.read import LIBRARY, SiteFile
from solarcalc.sitefile.supply import Grid
from solarcalc.sitefile.survey_fields import Answers, Value, by_key, fields, read_value
from solarcalc.sitefile.survey_lines import BOX_PARTS, obstacle_line
from solarcalc.sitefile.weather import NO_FILE

_LOAD_KEYS = {"name", "catalogue", "power_w", "count", "use"}
"""Keys of an appliance that a line of the survey holds."""


def known_answers(sitefile: SiteFile) -> tuple[dict[str, Value], list[str]]:
    """What a site file answers of the list, and the tables or keys that the list has not.

    Parameters
    ----------
    sitefile : SiteFile
        A short one, or one of the long form.
    """
    if sitefile.survey is not None:
        return dict(sitefile.survey.answers.values), list(sitefile.survey.own)
    answers = Answers()
    written, held = sitefile.written, set[str]()
    for one in fields():
        if one.kind in ("number", "text", "choice") and len(one.path) == 1:
            value = _at(written, one.path[0])
            _take(answers, one.key, value)
        held |= {path.partition(".")[0] for path in one.path}
    source = str(answers.values.get("weather", ""))
    if source and source not in NO_FILE and not source.startswith(LIBRARY):
        _take(answers, "weather", str((sitefile.folder / source).resolve()))
    _roof(answers, written)
    _grid(answers, written)
    left = _loads(answers, written)
    return answers.values, [*(name for name in written if name not in held), *left]


def _at(tables: Mapping[str, Any], path: str) -> Any:
    found: Any = tables
    for part in path.split("."):
        found = found.get(part) if isinstance(found, Mapping) else None
    return found


def _take(answers: Answers, key: str, value: Any) -> None:
    """Take a value that the list can hold; another stays in the site file."""
    try:
        found = read_value(by_key()[key], value, "")
    except InputError:
        return
    if found is not None:
        answers.values[key] = found


def _roof(answers: Answers, written: Mapping[str, Any]) -> None:
    boxes = _at(written, "roof.obstacles") or []
    _take(answers, "obstacles", [
        obstacle_line([box["name"].replace(":", " "), *(float(box[key]) for key in BOX_PARTS[1:])])
        for box in boxes
    ])  # fmt: skip
    azimuth, height = (_at(written, f"horizon.{key}_deg") or [] for key in ("azimuth", "height"))
    _take(answers, "horizon", ", ".join(f"{east:g}:{high:g}" for east, high in
                                        zip(azimuth, height, strict=True)))  # fmt: skip
    sizes = [_at(written, f"room.{key}_m") for key in ("length", "depth", "height")]
    if None not in sizes:
        _take(answers, "room_m", " x ".join(f"{size:.12g}" for size in sizes))
    kinds = {"open-frame": "flat slab", "small-gap": "metal sheet", "flush": "metal sheet"}
    _take(answers, "roof_kind", kinds.get(str(_at(written, "array.mounting"))))


def _grid(answers: Answers, written: Mapping[str, Any]) -> None:
    answers.values.pop("grid_h_per_day", None)
    kind, away = _at(written, "grid.kind") or "none", _at(written, "grid.outage_h_per_day")
    hours = {"none": 0.0, "always": 24.0}.get(kind)
    if kind == "random":
        hours = 24.0 - (Grid().outage_h_per_day if away is None else away)
    _take(answers, "grid_h_per_day", hours)


def _loads(answers: Answers, written: Mapping[str, Any]) -> list[str]:
    """The rows of both boards as lines; the keys of theirs that a line has not."""
    lines, left = [], set[str]()
    for board in BOARDS:
        for row in _at(written, f"loads.{board}") or []:
            name = " ".join(str(row["name"]).replace(",", " ").replace(";", " ").split())
            what = row.get("catalogue") if "power_w" not in row else None
            hours = "+".join(span.replace(" ", "") for span in row["use"])
            power = f"{row.get('power_w', 0.0):.12g}"
            lines.append(f"{what or f'{name} {power} W'}, {row.get('count', 1)}, {hours}, {board}")
            left |= {f"loads.{board}.{key}" for key in row.keys() - _LOAD_KEYS}
    _take(answers, "loads", lines)
    return sorted(left)
