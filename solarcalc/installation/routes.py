"""The ways that conductors lie in together: what warms what, duct, trench; protective ones too."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from solarcalc.basis.errors import InputError
from solarcalc.basis.record import but
from solarcalc.basis.sourced import constant
from solarcalc.installation.records import Chosen, Conductor, Part, Route
from solarcalc.sitefile.site import Site
from solarcalc.wiring.ducts import (
    DuctCable,
    DuctFill,
    DuctSize,
    as_laid,
    cable_outer_mm,
    dealt,
    duct_fill,
    duct_size,
    duct_sizes,
    filled,
    holds,
    sets_of_run,
    together,
)
from solarcalc.wiring.runs import (
    Way,
    by_duct,
    plane_key,
    plane_number,
    sets_on_way,
    trench_m,
    ways_of,
)

TRENCH_APART_M = float(constant("installation.trench_apart_m"))
MOST_DUCTS = 12
ELECTRODE_WAY = "earth_electrode"
"""The way from the main earthing terminal to the electrode, and along it."""
_TOWARDS = {"roof": "dc_main", "house": "board_house", "generator": "generator_in"}
"""Run that a protective conductor of the room goes with, by the place of its far end.

It lies with the live conductors of its circuit, or in their immediate proximity: IEC 60364-5-54
cl. 543.6.1; bonding of the array along its cables: IEC 60364-7-712 cl. 712.54; both from memory.
"""
_ALONG_CABLES = ("house",)
"""Parts at the house that the distribution circuits lead to; other ends have ways of their own."""


def with_way(one: Conductor, ways: Iterable[Way], parts: Mapping[str, Part]) -> Conductor:
    """An earth conductor with its way, where it leaves the room; as it is where it does not.

    Parameters
    ----------
    one : Conductor
        With its ends; no part has the key of an end that is loose in the ground.
    ways : iterable of Way
        Those of the site.
    parts : mapping of str to Part
        By their key.
    """
    if "electrode" in (one.start, one.end):
        return but(one, route=ELECTRODE_WAY)
    far = one.start if one.end == "earth-bar" else one.end
    if "earth-bar" not in (one.start, one.end) or parts[far].place == "power room":
        return one
    run = _TOWARDS.get(parts[far].place, "")
    run = run and plane_key(run, plane_number(far))
    if parts[far].place == "house" and far not in _ALONG_CABLES:
        run = ""
    way = next((way.key for way in ways if any(
        key == run or key.startswith(f"{run}_") for key in way.runs)), "") if run else ""
    return but(one, route=way or one.key.replace("-", "_"))


def routes_of(chosen: Chosen, conductors: Sequence[Conductor]) -> tuple[Route, ...]:
    """Every way with what lies in it: circuits, duct, trench.

    What carries current only in a fault warms nothing and lengthens no way.
    """
    ways = {way.key: way for way in ways_of(chosen.site)}
    found = []
    for key in dict.fromkeys(one.route for one in conductors if one.route):
        here = [one for one in conductors if one.route == key]
        live = [one for one in here if one.current != "earth"]
        way = ways.get(key)
        sets = [(sets_on_way(chosen.site, way, one.key) if way and one.key in way.runs
                 else one.count) * one.in_parallel for one in live]  # fmt: skip
        apart = way is not None and not way.together
        circuits = max(one.in_parallel for one in live) if apart else sum(sets)
        length_m = max(one.length_m for one in live or here)
        method = way.method if way else "D2" if key == ELECTRODE_WAY else "C"
        bare = Route(
            key=key, name="; ".join(one.name for one in live or here), method=method,
            conductors=tuple(one.key for one in here), circuits=circuits
            + (way.beside if way else 0),
        )  # fmt: skip
        dug_m = 0.0 if way is None else trench_m(chosen.site, way)
        ground = bare.lies.in_ground and way is not None
        found.append(_laid(chosen.site, way, but(
            bare, trench_m=dug_m, depth_m=chosen.site.duct.depth_m if ground else 0.0,
            apart_m=TRENCH_APART_M if ground else 0.0,
        ), here, length_m))  # fmt: skip
    return tuple(found)


def sets_of(one: Conductor) -> tuple[DuctCable, ...]:
    """Cables of a conductor by what is never parted in a duct; a protective one is a single core.

    Raises
    ------
    InputError
        When the table of cables has none so large.
    """
    if one.sized is not None:
        return sets_of_run(one.sized)
    alone = DuctCable(outer_mm=cable_outer_mm("pvc", one.size_mm2), count=1, words=one.name,
                      conductor_mm2=one.size_mm2, material=one.material)  # fmt: skip
    return (alone,) * one.count


def _laid(
    site: Site, way: Way | None, route: Route, here: Sequence[Conductor], length_m: float
) -> Route:
    """The route with its duct: one made for cables, whatever the site file has in mind."""
    duct, own = site.duct, way is not None and by_duct(site, way)
    length_m = (duct.length_m or length_m) if own else length_m
    if not route.lies.in_conduit:
        return route
    try:
        sets = [each for one in here for each in sets_of(one)]
    except InputError:  # larger than any cable of the table: a trunking made to measure
        return route
    if own and route.lies.in_duct:
        size, count = as_laid(duct_size(duct.size), together(sets)), 1
        fill = duct_fill(site, together(sets), length_m=length_m, size=size)
    else:
        kind = as_laid(duct_size(duct.size), ()).kind if route.lies.in_duct else "conduit"
        size, count, fill = _chosen_duct(kind, sets, length_m)
    return but(route, duct=size, duct_count=count, duct_m=count * length_m, fill=fill)


def _chosen_duct(
    kind: str, sets: Sequence[DuctCable], length_m: float
) -> tuple[DuctSize, int, DuctFill]:
    """The smallest duct that holds the cables, or as few as do beside one another.

    With the fill of the fullest: what is drawn in together is never parted.
    """
    sizes = sorted(duct_sizes(kind), key=lambda each: each.inner_mm)
    most = min(len(sets), MOST_DUCTS)
    for count in range(1, most + 1):
        shares = dealt(sets, count)
        size = next((each for each in sizes if all(holds(each, one) for one in shares)), None)
        if size is not None:
            break
    size = size or sizes[-1]
    fills = [filled(size, share, length_m) for share in shares]
    return size, count, max(fills, key=lambda fill: fill.fill_frac / fill.limit_frac)
