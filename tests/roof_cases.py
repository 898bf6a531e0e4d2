"""Random roofs with boxes, walkways, rows and strings, for the tests of what stands on them."""

from __future__ import annotations

import runpy
from pathlib import Path

from hypothesis import strategies as some

from solarcalc.basis.files import demo_sites
from solarcalc.sitefile.read import read_site, with_changes

OWN = runpy.run_path(str(Path(__file__).with_name("installation_cases.py")))["_Own"]


def own_of(name, **changes):
    return OWN(with_changes(read_site(demo_sites()[name]), changes).site)


@some.composite
def roofs(draw):
    """Ridge Road Clinic under another roof, with other rows and strings."""
    length_m, depth_m = draw(some.integers(6, 24)), draw(some.integers(4, 14))
    boxes = [
        {"name": f"Box {number}", "along_m": draw(some.integers(0, length_m - 2)) + 0.3,
         "up_m": draw(some.integers(0, depth_m - 2)) + 0.2, "length_m": 1.1, "depth_m": 0.9,
         "height_m": 0.4, "clearance_m": draw(some.sampled_from([0.0, 0.3]))}
        for number in range(draw(some.integers(0, 2)))
    ]  # fmt: skip
    ways = [{"name": "Way", "runs": draw(some.sampled_from(["along", "across"])),
             "from_m": 2.0, "width_m": 0.6}]  # fmt: skip
    slope_deg = draw(some.sampled_from([0.0, 12.0]))
    flush = slope_deg > 0.0 and draw(some.booleans())
    series = draw(some.integers(1, 7))
    return {
        "roof": {"length_m": float(length_m), "depth_m": float(depth_m), "slope_deg": slope_deg,
                 "azimuth_deg": 180.0, "obstacles": boxes,
                 "walkways": ways if draw(some.booleans()) else []},
        "array": {"module_count": series * draw(some.integers(1, 5)), "modules_in_series": series,
                  "rows": draw(some.integers(1, 4)),
                  "modules_high": draw(some.integers(1, 3)),
                  "orientation": draw(some.sampled_from(["portrait", "landscape"])),
                  "mounting": "flush" if flush else "open-frame", "gap_under_m": None,
                  "tilt_deg": draw(some.sampled_from([10.0, 20.0])),
                  "azimuth_deg": draw(some.sampled_from([0.0, 90.0, 180.0, 205.0])),
                  "row_pitch_m": None, "string_layout": draw(some.sampled_from(
                      ["along-row", "along-row", "tier-by-tier", "across-rows"]))},
        "variants": [],
    }  # fmt: skip
