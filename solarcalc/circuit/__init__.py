"""Shade to watts, from the cells: what a strip of shade costs modules, strings and a tracker.

The chain, one file a step: a cell in any light (`cells`), a module of them under a strip
(`module`), strings on one tracker (`strings`), a table worked out once and looked up by hour
(`table`). Fractions of power, 0 to 1, of the same strings in the same hour without the strip.

Where it differs from other models, and why (`tests/test_circuit_compared.py` holds the figures):

- Block model (pvlib.shading.direct_martinez). It counts a block as lost whatever the depth of
  shade on it, and takes a share of the beam for each; the circuit loses only what the limiting
  cell lacks. A strip over a tenth of one row of cells costs the block model the whole block and
  the circuit a tenth. Once whole rows lie in shade the two agree within some points in portrait;
  in landscape the block model also takes the shaded area off the modules' lit parts, and no
  current from the diffuse light flows through a bypassed block, so it is lower on bright days.
- Closed form of Deline et al. 2013. With every string alike it is 1 - S (1 + diode drop
  / voltage) for a share S of bypassed substrings, and the circuit agrees. It knows whole
  substrings in evenly dim light only: no partly covered cells, no halves in parallel.
- Both give the highest point. A tracker that only climbs may sit on a lower one; how much lower
  depends on the strip (`tracker="local"`).

Not counted: cells in shade run cooler than their module; spread between cells; the heat of a
reverse-biased cell. A cell in hard shade can grow hot enough to burn: a bypass diode that has
failed is a fire hazard, for licensed people to find and replace.
"""

from solarcalc.circuit.cells import Cells, Weather, cells_of_fit
from solarcalc.circuit.module import Edge, Orientation, strip_of
from solarcalc.circuit.strings import (
    StringWiring,
    Strung,
    across_rows,
    along_row,
    best_points,
    kept_by_circuit_frac,
)
from solarcalc.circuit.table import ShadeTable, Tracker, power_kept_frac, shade_table

__all__ = [
    "Cells",
    "Edge",
    "Orientation",
    "ShadeTable",
    "StringWiring",
    "Strung",
    "Tracker",
    "Weather",
    "across_rows",
    "along_row",
    "best_points",
    "cells_of_fit",
    "kept_by_circuit_frac",
    "power_kept_frac",
    "shade_table",
    "strip_of",
]
