"""What is dug: every trench with its depth, bedding, ducts, tape and what lies in it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from solarcalc.basis.errors import InputError
from solarcalc.basis.sourced import constant
from solarcalc.installation.records import Conductor, Installation, Route
from solarcalc.installation.routes import sets_of

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
    "safety",
)  # fmt: skip
"""Of the trench plan, that fit a page; the file holds the rest."""
UNLISTED_M = 0.06
"""Taken for a cable larger than those of the table [m]."""
BACKFILL = "sand, then what was dug out without stones in layers of 0.15 m, each rammed"
ELECTRODE_BACKFILL = "fine soil without stones, rammed; no sand around the conductor"


@dataclass(frozen=True, kw_only=True)
class Trench:
    """A trench as it is dug and filled.

    Parameters
    ----------
    number : int
    name, start, end : str
        What it is for, and from where to where.
    tags : tuple of str
        Of the conductors in it.
    current : str
    length_m, cover_m, dig_m, wide_m : float
        To dig; above what lies in it; to the bottom; at the bottom [m].
    lying_m : tuple of float
        Outer diameter of each duct, or of each cable straight in the ground [m].
    duct : str
        In words; "" where cables or the electrode lie straight in the ground.
    duct_m : float
        To lay [m].
    bends_deg : float or None
        Together, of one duct [deg].
    bedding_m, sand_m : float
        Of sand under and over what lies in it [m].
    apart_m : float
        From other ways in the ground [m].
    electrode : bool
        Dug for the earth electrode, filled with the ground's own fine soil.
    """

    number: int
    name: str
    start: str
    end: str
    tags: tuple[str, ...]
    current: str
    length_m: float
    cover_m: float
    dig_m: float
    wide_m: float
    lying_m: tuple[float, ...]
    duct: str = ""
    duct_m: float = 0.0
    bends_deg: float | None = None
    bedding_m: float = 0.0
    sand_m: float = 0.0
    apart_m: float = 0.0
    electrode: bool = False

    @property
    def tape_m(self) -> float | None:
        """Depth of the warning tape [m]; None where it would lie too shallow."""
        tape_m = self.cover_m - float(TAPE_ABOVE_M)
        return tape_m if tape_m > 0.0 else None

    @property
    def fill_sand_m3(self) -> float:
        """Sand under, beside and over its ducts or cables [m3]; none around an electrode."""
        if self.electrode:
            return 0.0
        high_m = self.bedding_m + max(self.lying_m) + self.sand_m
        lying_m2 = sum(math.pi * outer_m**2 / 4.0 for outer_m in self.lying_m)
        return self.length_m * (self.wide_m * high_m - lying_m2)

    @property
    def backfill(self) -> str:
        """What it is filled with."""
        return ELECTRODE_BACKFILL if self.electrode else BACKFILL

    @property
    def kept_apart(self) -> str:
        """What it keeps away from."""
        if self.electrode:
            return "2 m from other earths, and never in one trench with cables"
        return (f"{float(APART_M):g} m from water, gas, signal; {self.apart_m:g} m from other ways"
                " in the ground")  # fmt: skip

    @property
    def safety(self) -> str:
        """Before and while it is dug."""
        return _safety(self.dig_m)


def trenches_of(built: Installation) -> tuple[Trench, ...]:
    """Every trench of the routes, then that of the electrode; none where nothing is dug."""
    by_key = {one.key: one for one in built.conductors}
    dug = [route for route in built.routes if route.trench_m > 0.0]
    found = [_of_route(built, route, [by_key[key] for key in route.conductors]) for route in dug]
    found += [_of_electrode(built, one) for one in built.earths if one.trench_m > 0.0]
    return tuple(replace(one, number=number) for number, one in enumerate(found, start=1))


def trench_rows(built: Installation) -> list[Row]:
    """The trenches as a schedule; empty without any."""
    return [_row(trench) for trench in trenches_of(built)]


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
        f"Direct and alternating current in ducts of their own, each with its protective conductor;"
        f" {float(APART_M):g} m from water, gas and signal lines, or what local code asks for.",
        "Draw a rope in with each duct, close its ends, photograph the open trench with a rule in"
        " it, and write the lengths from two fixed corners into the drawing before it is filled.",
    ]  # fmt: skip
    if deepest_m >= float(LADDER_FROM_M):
        steps.insert(0, f"These trenches go down to {deepest_m:.2f} m: a competent person looks at"
                        " the walls each morning and after rain.")  # fmt: skip
    return tuple(steps)


def _row(one: Trench) -> Row:
    straight = "none: straight in the ground"
    return {
        "trench": one.number, "for": one.name, "length [m]": f"{one.length_m:g}",
        "cover [m]": f"{one.cover_m:g}", "dig [m]": f"{one.dig_m:.2f}",
        "wide [m]": f"{one.wide_m:.2f}", "in it": ", ".join(one.tags), "current": one.current,
        "duct": f"{len(one.lying_m)} × {one.duct}" if one.duct else straight,
        "duct to lay [m]": f"{one.duct_m:g}" if one.duct else "",
        "bends, together [deg]": "" if one.bends_deg is None else f"{one.bends_deg:g}",
        "rope in each duct": "yes" if one.duct else "", "bedding [m of sand]": f"{one.bedding_m:g}",
        "sand over it [m]": f"{one.sand_m:g}",
        "tape at [m]": "none: too shallow" if one.tape_m is None else f"{one.tape_m:.2f}",
        "kept apart": one.kept_apart, "backfill": one.backfill,
        "dug as": "electrode" if one.electrode else "trench", "safety": one.safety,
    }  # fmt: skip


def _of_route(built: Installation, route: Route, here: list[Conductor]) -> Trench:
    lying_m, live = _lying_m(built, route), [one for one in here if one.current != "earth"]
    wide_m = sum(lying_m) + (len(lying_m) + 1) * float(SIDE_BY_SIDE_M)
    kinds = {"dc": "direct current", "ac": "alternating current", "earth": "earth"}
    return Trench(
        number=0, name=route.name, start=" and ".join(dict.fromkeys(o.start_words for o in live)),
        end=" and ".join(dict.fromkeys(one.end_words for one in live)),
        tags=tuple(one.tag for one in here),
        current=" and ".join(sorted({kinds[one.current] for one in here})),
        length_m=route.trench_m, cover_m=route.depth_m, dig_m=_dig_m(built, route),
        wide_m=max(wide_m, float(LEAST_WIDTH_M)), lying_m=tuple(lying_m),
        duct=route.duct.words if route.duct else "", duct_m=route.duct_m,
        bends_deg=route.fill.bends_deg if route.fill else None,
        bedding_m=float(BEDDING_M), sand_m=float(COVER_SAND_M), apart_m=route.apart_m,
    )  # fmt: skip


def _of_electrode(built: Installation, one: Conductor) -> Trench:
    """The trench of a strip, a ring or what joins rods: filled with the ground's own soil.

    What leads from the main earthing terminal to the electrode comes in at its end.
    """
    tags = tuple(other.tag for other in built.earths if other.route == one.route)
    depth_m = built.site.earthing.conductor_depth_m
    return Trench(
        number=0, name=one.name, start=one.start_words, end=one.end_words, tags=tags,
        current="earth", length_m=one.trench_m, cover_m=depth_m, dig_m=depth_m,
        wide_m=float(LEAST_WIDTH_M), lying_m=(0.0,), electrode=True,
    )  # fmt: skip


def _lying_m(built: Installation, route: Route) -> list[float]:
    """Outer diameter of each duct side by side, or of each cable straight in the ground [m]."""
    if route.duct is not None:
        return [route.duct.outer_mm / 1000.0] * max(route.duct_count, 1)
    here = [one for one in built.conductors if one.key in route.conductors]
    try:
        cables = [cable for one in here for cable in sets_of(one)]
    except InputError:  # larger than any cable of the table
        return [UNLISTED_M] * len(here)
    return [cable.outer_mm / 1000.0 for cable in cables for _ in range(cable.count)]


def _dig_m(built: Installation, route: Route) -> float:
    """From the ground to the bottom [m]: cover, duct, bedding."""
    return route.depth_m + max(_lying_m(built, route)) + float(BEDDING_M)


def _safety(dig_m: float) -> str:
    deep = dig_m >= float(SHORED_FROM_M)
    return "locate services first" + ("; walls held or sloped, ladder" if deep else (
        "; ladder" if dig_m >= float(LADDER_FROM_M) else ""))  # fmt: skip
