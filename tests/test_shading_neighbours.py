"""Trees, poles and walls beside a roof: shadows by the sundial's rule, rays, what must hold.

A pole h above the eaves' level throws a shadow of h / tan(elevation) away from the sun: plane
trigonometry, as in any surveying handbook. All sites are invented.
"""

from __future__ import annotations

import math
import runpy
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.design import open_design
from solarcalc.shading.obstacles import obstacle_shade, obstacle_sky_seen_frac
from solarcalc.sitefile.roof import Neighbour, Obstacle, Roof

CASES = runpy.run_path(str(Path(__file__).with_name("test_shading_obstacles.py")))
rows_of, placed, sun_at, WHOLE = (CASES[name] for name in ("_rows", "_placed", "_sun", "WHOLE"))
fractions = CASES["_fractions"]


def roof_with(*things, length=10.0, depth=10.0, slope=0.0, falls=180.0, obstacles=()):
    return Roof(length_m=length, depth_m=depth, slope_deg=slope, azimuth_deg=falls,
                neighbours=list(things), obstacles=list(obstacles))  # fmt: skip


def thing(kind="pole", bearing=180.0, distance=8.0, top=2.0, width=0.4, **more):
    return Neighbour(name="It", kind=kind, bearing_deg=bearing, distance_m=distance, top_m=top,
                     width_m=width, **more)  # fmt: skip


def shaded(roof, sun, *, slope=0.0, falls=180.0, spots=9, size=0.1):
    """Shaded share of small modules flat on a roof, by their middles from its middle [m]."""
    found = {}
    rows = rows_of(slope, falls, slope, falls, up_m=size, along_m=size)
    for x in np.linspace(-4.5, 4.5, spots):
        for y in np.linspace(-4.5, 4.5, spots):
            place = placed(rows, roof, x + roof.length_m / 2.0 - size / 2.0,
                           y + roof.depth_m / 2.0 - size / 2.0)
            found[x, y] = fractions(obstacle_shade(place, roof, sun, WHOLE))[0, 0]
    return found


@pytest.mark.parametrize("elevation", [10.0, 20.0, 35.0])
@pytest.mark.parametrize("azimuth", [90.0, 135.0, 180.0, 250.0])
def test_a_pole_throws_its_shadow_away_from_the_sun_as_far_as_it_is_tall(elevation, azimuth):
    # roof's axes with its eaves in the south: x east, y north
    roof = roof_with(thing(bearing=azimuth, distance=7.2, top=2.0))
    reach = 2.0 / math.tan(math.radians(elevation))
    for (x, y), share in shaded(roof, sun_at(elevation, azimuth), spots=7).items():
        towards = np.array([math.sin(math.radians(azimuth)), math.cos(math.radians(azimuth))])
        ahead = 7.2 - float(np.dot(towards, (x, y)))  # from the module towards the sun
        aside = abs(float(towards[0] * y - towards[1] * x))
        if aside < 0.1 and ahead < reach - 0.4:
            assert share > 0.9, (x, y)
        if aside > 0.5 or ahead > reach + 0.4:
            assert share == 0.0, (x, y)


def test_what_touches_the_roof_shades_as_the_same_box_on_it_would():
    # a wall 10 m wide whose face is the eaves' edge; as an obstacle it stands just inside a roof
    # that is half a metre deeper at the eaves
    wall = roof_with(thing("wall", bearing=180.0, distance=5.25, top=1.0, width=10.0))
    deeper = roof_with(depth=10.5, obstacles=[Obstacle(
        name="It", along_m=0.0, up_m=0.0, length_m=10.0, depth_m=0.5, height_m=1.0,
        clearance_m=0.0)])  # fmt: skip
    rows, sun = rows_of(20.0), sun_at([15.0, 30.0, 55.0], [150.0, 180.0, 230.0])
    for along in (0.5, 4.0, 8.9):
        beside = obstacle_shade(placed(rows, wall, along, 0.3), wall, sun, WHOLE)
        on_it = obstacle_shade(placed(rows, deeper, along, 0.8), deeper, sun, WHOLE)
        assert fractions(beside) == pytest.approx(fractions(on_it), abs=1e-9)


SITES = some.builds(
    thing, kind=some.sampled_from(["tree", "pole", "wall"]), bearing=some.floats(0.0, 359.0),
    distance=some.floats(10.0, 60.0), top=some.floats(-3.0, 20.0), width=some.floats(0.2, 15.0),
)  # fmt: skip


@given(thing=SITES, slope=some.floats(0.0, 35.0), falls=some.floats(0.0, 359.0),
       elevation=some.floats(3.0, 80.0), azimuth=some.floats(0.0, 359.0))  # fmt: skip
@settings(max_examples=25, deadline=None)
def test_random_shadows_against_rays(thing, slope, falls, elevation, azimuth):
    """A ray from a spot of the roof to the sun meets a post where it passes it below its top."""
    roof = roof_with(thing, slope=slope, falls=falls)
    s, fall = math.radians(slope), math.radians(falls)
    across = np.array([-math.cos(fall), math.sin(fall), 0.0])
    up = np.array([-math.sin(fall) * math.cos(s), -math.cos(fall) * math.cos(s), math.sin(s)])
    e, a = math.radians(elevation), math.radians(azimuth)
    ray = np.array([math.cos(e) * math.sin(a), math.cos(e) * math.cos(a), math.sin(e)])
    if ray @ np.cross(across, up) < 0.05:
        return
    level = np.array([-math.sin(fall), -math.cos(fall), 0.0])
    half = thing.width_m / thing.post_count / 2.0
    top_m = thing.top_m - 5.0 * math.sin(s)
    bearing = math.radians(thing.bearing_deg)
    middle = thing.distance_m * np.array([math.sin(bearing), math.cos(bearing)])
    posts = [x * across[:2] + y * level[:2] for x, y in thing.posts_m(falls)]
    assert np.mean(posts, axis=0) == pytest.approx(middle, abs=1e-9)
    for (x, y), share in shaded(roof, sun_at(elevation, azimuth), slope=slope, falls=falls,
                                spots=4, size=0.02).items():  # fmt: skip
        spot = x * across + y * up
        meets = []
        for post in posts:
            near, far = 0.0, math.inf
            for axis in (across[:2], level[:2]):
                at, step = float((post - spot[:2]) @ axis), float(ray[:2] @ axis)
                ends = sorted(((at - half) / (step or 1e-12), (at + half) / (step or 1e-12)))
                near, far = max(near, ends[0]), min(far, ends[1])
            height = spot[2] + near * ray[2]
            # the top lies parallel to the roof: its height where the ray enters
            enter = spot[:2] + near * ray[:2]
            slant = float((enter - post) @ level[:2]) * math.tan(s)
            meets.append((near <= far - 0.05, top_m + slant - height))
        if any(inside and above > 0.1 for inside, above in meets):
            assert share > 0.5, (x, y)
        if all(above < -0.5 for _, above in meets):
            assert share < 0.5, (x, y)


@given(thing=SITES, more=some.floats(0.1, 10.0))
@settings(max_examples=15, deadline=None)
def test_a_higher_thing_never_leaves_more_light(thing, more):
    taller = thing.model_copy(update={"top_m": thing.top_m + more})
    sun = sun_at([8.0, 20.0, 40.0, 60.0], [80.0, 130.0, 190.0, 250.0])
    rows = rows_of(15.0)
    low, high = (
        (fractions(obstacle_shade(place, roof, sun, WHOLE)), obstacle_sky_seen_frac(place, roof))
        for roof in (roof_with(thing), roof_with(taller))
        for place in [placed(rows, roof, 2.0, 3.0, modules_along=4)]
    )
    assert (high[0] >= low[0] - 1e-9).all()
    assert (high[1] <= low[1] + 1e-9).all()


def test_a_site_with_a_tree_harvests_less_and_says_why():
    tree = {"name": "Tree", "kind": "tree", "bearing_deg": 180.0, "distance_m": 9.0, "top_m": 5.0,
            "width_m": 8.0}  # fmt: skip
    bare = open_design("ridge-clinic")
    design = bare.changed({"roof": {"neighbours": [tree]}})
    low = bare.changed({"roof": {"neighbours": [{**tree, "top_m": -20.0}]}})
    assert design.energy.ac_kwh < 0.99 * bare.energy.ac_kwh
    assert low.energy.ac_kwh == pytest.approx(bare.energy.ac_kwh, rel=1e-9)
    assert any(one.item.startswith("Beam irradiation lost to obstacles")
               for one in design.all_checks)  # fmt: skip


@pytest.mark.parametrize(
    ("values", "key", "words"),
    [({"distance_m": 2.0}, "distance_m", "[[roof.obstacles]]"),
     ({"facing_deg": 10.0}, "facing_deg", "only a wall has a face"),
     ({"kind": "hill"}, "kind", "tree"), ({"width_m": 0.0}, "width_m", "above 0")],
)  # fmt: skip
def test_a_fault_names_the_thing_its_key_and_what_is_allowed(values, key, words):
    tree = {"name": "Tree", "kind": "tree", "bearing_deg": 180.0, "distance_m": 30.0,
            "top_m": 5.0, "width_m": 8.0, **values}  # fmt: skip
    with pytest.raises(InputError) as error:
        open_design("ridge-clinic", {"roof": {"neighbours": [tree]}})
    assert f"roof.neighbours[1].{key}" in str(error.value)
    assert words in str(error.value)
