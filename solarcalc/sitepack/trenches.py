"""What is dug: every trench with its depth, bedding, ducts, tape and what lies in it."""

from __future__ import annotations

from solarcalc.basis.errors import InputError
from solarcalc.basis.sourced import constant
from solarcalc.installation.records import Conductor, Installation, Route
from solarcalc.wiring.ducts import cables_of_run

BEDDING_M = constant("sitepack.bedding_m")
COVER_SAND_M = constant("sitepack.cover_sand_m")
TAPE_ABOVE_M = constant("sitepack.tape_above_m")
LEAST_WIDTH_M = constant("sitepack.least_width_m")
SIDE_BY_SIDE_M = constant("sitepack.side_by_side_m")
APART_M = constant("sitepack.apart_m")
SHORED_FROM_M = constant("sitepack.shored_from_m")
LADDER_FROM_M = constant("sitepack.ladder_from_m")
SPOIL_AWAY_M = constant("sitepack.spoil_away_m")

Row = dict[str, object]
TRENCH_COLUMNS = (
    "trench", "for", "length [m]", "dig [m]", "wide [m]", "in it", "duct", "tape at [m]",
    "caution",
)  # fmt: skip
"""Of the trench plan, that fit a page; the file holds the rest."""
UNLISTED_M = 0.06
"""Taken for a cable larger than those of the table [m]."""
BACKFILL = "sand, then what was dug out without stones in layers of 0.15 m, each rammed"


def trench_rows(built: Installation) -> list[Row]:
    """Every trench of the routes, then that of the electrode; empty without any."""
    by_key = {one.key: one for one in built.conductors}
    dug = [route for route in built.routes if route.trench_m > 0.0]
    found = [
        _row(built, route, [by_key[key] for key in route.conductors]) for route in dug
    ]  # fmt: skip
    found += [_electrode(built, one) for one in built.earths if one.trench_m > 0.0]
    return [{"trench": number, **row} for number, row in enumerate(found, start=1)]


def digging_steps(built: Installation) -> tuple[str, ...]:
    """What to do before and while a trench is dug, in the order of the work."""
    deepest_m = max((_dig_m(built, route) for route in built.routes if route.trench_m > 0.0),
                    default=0.0)  # fmt: skip
    steps = [
        "Ask the owner and the suppliers what lies in the ground, look for it with a locator, mark"
        " it, and dig by hand beside it; a service that is met stays as it is until its owner has"
        " seen it.",
        f"Keep what was dug out {float(SPOIL_AWAY_M):g} m from the edge; fence the trench off over"
        " night and bridge every way across it.",
        f"From {float(SHORED_FROM_M):g} m of depth, or less in loose or wet ground, nobody enters a"
        " trench whose walls are not held or sloped; from"
        f" {float(LADDER_FROM_M):g} m it has a ladder. Walls fall without warning.",
        f"Direct current, alternating current and earth in ducts of their own;"
        f" {float(APART_M):g} m from water, gas and signal lines, or what local code asks for.",
        "Draw a rope in with each duct, close its ends, photograph the open trench with a rule in"
        " it, and write the lengths from two fixed corners into the drawing before it is filled.",
    ]  # fmt: skip
    if deepest_m >= float(LADDER_FROM_M):
        steps.insert(0, f"These trenches go down to {deepest_m:.2f} m: a competent person looks at"
                        " the walls each morning and after rain.")  # fmt: skip
    return tuple(steps)


def _row(built: Installation, route: Route, here: list[Conductor]) -> Row:
    duct, cover_m = route.duct, route.depth_m
    lying_m = _lying_m(built, route)
    wide_m = sum(lying_m) + (len(lying_m) + 1) * float(SIDE_BY_SIDE_M)
    kinds = {"dc": "direct current", "ac": "alternating current", "earth": "earth"}
    kind = " and ".join(sorted({kinds[one.current] for one in here}))
    dig_m = _dig_m(built, route)
    return {
        "for": route.name, "length [m]": f"{route.trench_m:g}", "cover [m]": f"{cover_m:g}",
        "dig [m]": f"{dig_m:.2f}", "wide [m]": f"{max(wide_m, float(LEAST_WIDTH_M)):.2f}",
        "in it": ", ".join(one.tag for one in here), "current": kind,
        "duct": f"{len(lying_m)} × {duct.words}" if duct else "none: straight in the ground",
        "duct to lay [m]": f"{route.duct_m:g}" if duct else "",
        "bends, together [deg]": f"{route.fill.bends_deg:g}" if route.fill else "",
        "rope in each duct": "yes" if duct else "", "bedding [m of sand]": f"{float(BEDDING_M):g}",
        "sand over it [m]": f"{float(COVER_SAND_M):g}", "tape at [m]": _tape(cover_m),
        "kept apart": f"{float(APART_M):g} m from water, gas, signal; {route.apart_m:g} m from"
        " other ways in the ground",
        "backfill": BACKFILL, "dug as": "trench", "caution": _caution(dig_m),
    }  # fmt: skip


def _electrode(built: Installation, one: Conductor) -> Row:
    """The trench of a strip, a ring or what joins rods: filled with the ground's own soil."""
    depth_m = built.site.earthing.conductor_depth_m
    return {
        "for": one.name, "length [m]": f"{one.trench_m:g}", "cover [m]": f"{depth_m:g}",
        "dig [m]": f"{depth_m:.2f}", "wide [m]": f"{float(LEAST_WIDTH_M):.2f}", "in it": one.tag,
        "current": "earth", "duct": "none: straight in the ground", "duct to lay [m]": "",
        "bends, together [deg]": "", "rope in each duct": "", "bedding [m of sand]": "0",
        "sand over it [m]": "0", "tape at [m]": _tape(depth_m),
        "kept apart": "2 m from other earths, and never in one trench with cables",
        "backfill": "fine soil without stones, rammed; no sand around the conductor",
        "dug as": "electrode", "caution": _caution(depth_m),
    }  # fmt: skip


def _lying_m(built: Installation, route: Route) -> list[float]:
    """Outer diameter of each duct side by side, or of each cable straight in the ground [m]."""
    if route.duct is not None:
        return [route.duct.outer_mm / 1000.0] * max(route.duct_count, 1)
    here = [one.sized for one in built.conductors if one.key in route.conductors and one.sized]
    try:
        cables = [cable for sized in here for cable in cables_of_run(sized)]
    except InputError:  # larger than any cable of the table
        return [UNLISTED_M] * len(here)
    return [cable.outer_mm / 1000.0 for cable in cables for _ in range(cable.count)]


def _dig_m(built: Installation, route: Route) -> float:
    """From the ground to the bottom [m]: cover, duct, bedding."""
    return route.depth_m + max(_lying_m(built, route)) + float(BEDDING_M)


def _tape(cover_m: float) -> str:
    tape_m = cover_m - float(TAPE_ABOVE_M)
    return f"{tape_m:.2f}" if tape_m > 0.0 else "none: too shallow"


def _caution(dig_m: float) -> str:
    deep = dig_m >= float(SHORED_FROM_M)
    return "locate services first" + ("; walls held or sloped, ladder" if deep else (
        "; ladder" if dig_m >= float(LADDER_FROM_M) else ""))  # fmt: skip
