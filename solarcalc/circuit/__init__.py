"""Shade to watts, from the cells: what a strip of shade costs modules, strings and a tracker.

The chain, one file a step: a cell in any light and a module of cells under a strip
(`module`), strings on one tracker (`strings`), a table worked out once and looked up by hour
(`table`). Fractions of power, 0 to 1, of the same strings in the same hour without the strip.

Where it differs from other models, and why (`tests/test_circuit_compared.py` holds the figures):

- Block model (pvlib.shading.direct_martinez). It counts a block as lost from the first
  shadow on it; the circuit loses only what the limiting cell lacks, so a strip over half of
  the first row of cells leaves far more. In landscape and in half-cut modules the block model
  also takes the shaded area off the lit blocks, and is lower on bright days; it lets bypassed
  blocks use the diffuse light, which their diodes pass by, and is higher on dull ones. In
  portrait, whole rows of full cells in shade, the two are within four points on bright days.
- Closed form of Deline et al. 2013, for whole substrings in even shade. The circuit agrees
  within 1.5 points, but for one string of two with a third of its substrings shaded, where
  it finds 2.6 points more (the closed form is fitted, over many strings). It knows no partly
  covered cells and no halves in parallel.
- Both give the highest point. A tracker that only climbs may sit on a lower one: in landscape
  the diodes that save two thirds of the power also make the hump it fails to find.

Not counted: cells in shade run cooler than their module; spread between cells; the heat of a
reverse-biased cell. A cell in hard shade can grow hot enough to burn: a bypass diode that has
failed is a fire hazard, for licensed people to find and replace.
"""
