"""Schedules and quantities of work, read off the graph."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from solarcalc.basis.check import Check, Outcome, checked
from solarcalc.basis.files import data_rows
from solarcalc.basis.quantity import MINUS
from solarcalc.basis.worded import worded
from solarcalc.installation.records import Conductor, Installation, Part, Route
from solarcalc.wiring.runs import stem_of
from solarcalc.wiring.switching import inlet_of

Row = dict[str, object]
CABLE_COLUMNS = (
    "tag", "run", "count", "cores", "size", "material", "insulation", "how it lies", "length [m]",
    "core in all [m]", "device [A]",
)
"""Of the cable schedule: what fits a page and is bought from; the file holds the rest."""


def cable_rows(built: Installation) -> list[Row]:
    """What is bought and laid, a line a conductor, protective cores among them."""
    routes = {route.key: route for route in built.routes}
    return [
        {
            "tag": one.tag,
            "run": one.name,
            "from": f"{one.start_words} ({_tag(built, one.start)})",
            "to": f"{one.end_words} ({_tag(built, one.end)})",
            "count": one.count,
            "cores": _cores(one),
            "size": one.size_name,
            "material": one.material,
            "insulation": one.insulation,
            "rated [V]": f"{one.rated_v:g} {'DC' if '+' in one.functions else 'AC'}",
            "how it lies": routes[one.route].method if one.route else "short and straight",
            "circuits on its way": one.grouped,
            "length [m]": f"{one.length_m:g}",
            "core in all [m]": round(one.core_m, 0 if one.core_m >= 10.0 else 1),
            "design current [A]": f"{one.sized.run.design_a:.1f}" if one.sized else "",
            "device": _tag(built, one.device) or one.why_no_device,
            "device [A]": "" if one.device_a is None else f"{one.device_a:g}",
            "capacity [A]": "" if one.capacity_a is None else f"{one.capacity_a:.0f}",
            "drop [%]": f"{100.0 * one.sized.drop_frac:.2f}" if one.sized else "",
            "highest voltage [V]": f"{one.highest_v:.0f}",
            "pressed lugs": one.lug_count,
            "length measured": "yes" if one.length_given else "no, measure it",
        }
        for one in (*built.cables, *built.leads)
    ]


def earth_rows(built: Installation) -> list[Row]:
    """Earthing, protective and bonding conductors outside cables; lengths of one in m."""
    routes = {route.key: route for route in built.routes}
    return [
        {
            "tag": counted_tag(one),
            "from": _end(built, one.start_words, one.start),
            "to": _end(built, one.end_words, one.end),
            "length [m]": f"{one.length_m:g}",
            "length measured": "yes" if one.length_given else "no, measure it",
            "method": routes[one.route].lies.drawn if one.route else "–",
            "size": one.size_name,
        }
        for one in built.earths
    ]  # fmt: skip


def laid_words(built: Installation) -> list[tuple[str, str]]:
    """What each method of laying that stands by its letters in the schedules is, in words."""
    found = {route.lies.drawn: route.lies.words for route in built.routes}
    return sorted((drawn, words) for drawn, words in found.items() if drawn[-1].isdigit()
                  or drawn.isupper())  # fmt: skip


def ground_and_rest(built: Installation) -> list[tuple[str, float, float]]:
    """Tags of cables longer than their trench, what lies in it and what lies elsewhere [m].

    The way of the rest, over roof and walls, is in no plan: it is found on site.
    """
    found = []
    for route in built.routes:
        here = [one for one in built.cables if one.route == route.key]
        rest_m = max((one.length_m for one in here), default=0.0) - route.trench_m
        if route.trench_m > 0.0 and rest_m >= 0.5:
            found.append((", ".join(one.tag for one in here), route.trench_m, rest_m))
    return found


def source_terminals(built: Installation) -> tuple[str, str]:
    """Tags of the output board that grid and generator come to, and of their cables at it.

    Empty where they come to an inverter or a switch. In that board they meet on terminals of
    their own: on its bars they would be in parallel with the outputs of the inverters.
    """
    board = built.by_key[inlet_of(built.site)] if built.site.sources else None
    if board is None or board.kind != "board":
        return "", ""
    here = [one.tag for one in built.cables if board.key in (one.start, one.end)
            and not one.key.startswith(("inverter_output", "inverter_board"))]  # fmt: skip
    return board.tag, ", ".join(here)


def _end(built: Installation, words: str, key: str) -> str:
    tag = _tag(built, key)
    return f"{words} ({tag})" if tag else words


def _cores(one: Conductor) -> str:
    beside = "" if one.in_parallel == 1 else f", {one.in_parallel} of each but PE"
    own = f", PE {one.protective_mm2:g} mm²" if one.own_size else ""
    return f"{one.cores}: {' '.join(one.functions).replace('-', MINUS)}{beside}{own}"


def route_rows(built: Installation) -> list[Row]:
    """Every way with what lies in it: pipe, trench, cover, and how far from other ways."""
    tags = {one.key: one.tag for one in built.conductors}
    return [
        {
            "way": route.key.replace("_", " "),
            "cables": ", ".join(tags[key] for key in route.conductors),
            "how it lies": f"{route.method}: {route.lies.words}",
            "circuits": route.circuits,
            "pipe": "" if route.duct is None else f"{route.duct_count} × {route.duct.words}",
            "pipe [m]": round(route.duct_m, 1),
            "trench [m]": round(route.trench_m, 1),
            "cover [m]": f"{route.depth_m:g}" if route.trench_m else "",
            "from other ways in the ground [m]": f"{route.apart_m:g} or more"
            if route.apart_m else "",
        }
        for route in built.routes
    ]  # fmt: skip


def _tag(built: Installation, key: str) -> str:
    return built.by_key[key].tag if key in built.by_key else ""


def device_rows(built: Installation) -> list[Row]:
    """The protection schedule: one line a device."""
    return [_device_row(part) for part in built.devices]


def _device_row(part: Part) -> Row:
    device = part.device
    assert device is not None
    return {
        "tag": part.tag,
        "device": part.name,
        "where": part.where,
        "count": f"{part.count}",
        "poles": f"{part.poles}",
        "rated": "" if part.rated_a is None else f"{part.rated_a:g} A",
        "voltage": f"{device.rated_v:g} V {device.current.upper()}",
        "needed [V]": f"{device.least_v or device.rated_v:g}",
        "breaking": "" if device.breaking_ka is None else f"{device.breaking_ka:g} kA",
        "what else": device.extra + ("" if part.bought else f"; not bought apart: {part.why_not}"),
        "rule": device.clause,
    }


COMBINED_COLUMNS = (
    "tag", "from", "to", "length [m]", "method", "size [mm²]", "I_b [A]", "I_n [A]", "I_z [A]",
    "drop [%]", "device", "type", "breaking [kA]",
)
"""Of the cable and protection schedule of the site pack."""
REDUCED_COLUMNS = (
    "tag", "length [m]", "method", "size [mm²]", "I_b [A]", "I_n [A]", "I_z [A]", "drop [%]",
    "device", "breaking [kA]",
)
"""The same for a design report."""


def cable_and_protection_rows(built: Installation) -> list[Row]:
    """One table of cables with what protects them, then the devices that protect no cable alone.

    Lengths in m, sizes in mm², currents in A, voltage drop in % of the nominal voltage, breaking
    capacity in kA: each as the cable schedule and the protection schedule have it.
    """
    routes = {route.key: route for route in built.routes}
    protecting = {one.device for one in built.conductors if one.device}
    rows = [_combined_row(built, one, routes) for one in (*built.cables, *built.leads)]
    return rows + [
        {**dict.fromkeys(COMBINED_COLUMNS, ""), "from": part.where,
         "I_n [A]": "" if part.rated_a is None else f"{part.rated_a:g}",
         **_protecting(part)}
        for part in built.devices if part.key not in protecting
    ]  # fmt: skip


def _combined_row(built: Installation, one: Conductor, routes: Mapping[str, Route]) -> Row:
    part = built.by_key.get(one.device)
    return {
        "tag": counted_tag(one),
        "from": f"{one.start_words} ({_tag(built, one.start)})",
        "to": f"{one.end_words} ({_tag(built, one.end)})",
        "length [m]": f"{one.length_m:g}",
        "method": routes[one.route].lies.drawn if one.route else "short and straight",
        "size [mm²]": one.size_name.removesuffix(" mm²")
        if one.in_parallel == 1 else f"{one.in_parallel} × {one.size_name.removesuffix(' mm²')}",
        "I_b [A]": f"{one.sized.run.design_a:.3g}" if one.sized else "",
        "I_n [A]": "" if one.device_a is None else f"{one.device_a:g}",
        "I_z [A]": "" if one.capacity_a is None else f"{one.capacity_a:.3g}",
        "drop [%]": f"{100.0 * one.sized.drop_frac:.2g}" if one.sized else "",
        **(_protecting(part) if part else {"device": "–", "type": one.why_no_device,
                                           "breaking [kA]": ""}),
    }  # fmt: skip


def _protecting(part: Part) -> Row:
    """Columns of a device: tag, type, breaking capacity [kA]."""
    device = part.device
    breaking = None if device is None else device.breaking_ka
    return {"device": counted_tag(part), "type": device_type(part),
            "breaking [kA]": "" if breaking is None else f"{breaking:g}"}  # fmt: skip


def counted_tag(one: Part | Conductor) -> str:
    """A tag, and how many it stands for.

    Examples
    --------
    ``"F1 × 3"`` for three string fuses, ``"Q1"`` for one isolator.
    """
    return one.tag if one.count == 1 else f"{one.tag} × {one.count}"


def device_name(part: Part) -> str:
    """What a device is, in the words of the trade.

    The longest stem of ``data/device_types.csv`` that the part's key begins with.

    Raises
    ------
    LookupError
        For a part that no row is for.
    """
    mine = [row for row in data_rows("device_types") if part.key.startswith(row["stem"])]
    if not mine:
        raise LookupError(f"data/device_types.csv has no row for {part.key}")
    return max(mine, key=lambda row: len(row["stem"]))["type"]


def device_type(part: Part) -> str:
    """The same with what its kind is ordered by, such as a curve, a class or its voltages."""
    kind = device_name(part)
    asked = () if part.device is None else part.device.asked
    return ", ".join((kind, *(words for words in asked if words not in kind)))


def part_rows(built: Installation) -> list[Row]:
    """Every part with its tag: how many, where, and why it is not bought where it is not."""
    return [
        {"tag": part.tag, "item": part.name, "count": part.count, "place": part.place,
         "where": part.where, "bought": "yes" if part.bought else f"no: {part.why_not}"}
        for part in built.parts
    ]  # fmt: skip


def label_rows(built: Installation) -> list[Row]:
    """The label schedule: alike ones in one line."""
    found: dict[tuple[str, str, str], int] = {}
    rules: dict[tuple[str, str, str], tuple[list[str], str]] = {}
    for label in built.labels:
        key = (label.label, label.words, label.rule)
        found[key] = found.get(key, 0) + label.count
        places, _ = rules.setdefault(key, ([], label.rule))
        if label.where not in places:
            places.append(label.where)
    return [
        {"label": label, "words on it": words, "where": "; ".join(rules[label, words, rule][0]),
         "count": count, "rule": rule}
        for (label, words, rule), count in found.items()
    ]  # fmt: skip


def label_count(built: Installation) -> int:
    """Labels to order, all lines together."""
    return sum(label.count for label in built.labels)


def work_of(built: Installation) -> dict[str, float]:
    """Quantities of work of an installation, by unit of ``data/task_hours.csv``.

    Each in that unit, such as modules or metres of trench.

    Civil works and the lines of the test sheet are counted elsewhere.
    """
    found: Counter[str] = Counter()
    for part in built.parts:
        if part.work:
            found[part.work] += part.count
    cables = (*built.cables, *built.leads)
    held = [(one, one.hardware) for one in built.planes if one.hardware]
    return {
        **found,
        "row": sum(one.site.array.rows for one, _ in held),
        "rail_m": sum(hardware.rail_m for _, hardware in held),
        "cable_m": sum(one.core_m for one in cables),
        "termination": sum(2 * one.cores * one.count for one in cables)
        + sum(2 * one.count for one in built.earths),
        "earth_m": sum(one.core_m for one in built.earths),
        "duct_m": sum(route.duct_m for route in built.routes),
        "trench_m": built.trench_m,
        "label": label_count(built),
    }


def route_checks(built: Installation) -> Iterator[Check]:
    """Whether a conduit of the table holds what is drawn into it, on each way but the own duct."""
    for route in built.routes:
        if route.lies.in_conduit and not (
                stem_of(route.key) == "dc_main" and route.lies.in_duct):
            yield _held_check(route)


def _held_check(route: Route) -> Check:
    fill, words = route.fill, worded("wiring", "conduit", route_name=route.name)
    if route.duct is None or fill is None or fill.fill_frac > fill.limit_frac:
        found = "no size in the table is large enough"  # in a room a trunking is made to measure
        outcome: Outcome = "failed" if route.lies.in_ground else "review"
        return checked(False, outcome, **words, found=found)
    return checked(route.duct_count == 1, **words,
                   found=f"{route.duct_count} conduits: {fill.words}")  # fmt: skip
