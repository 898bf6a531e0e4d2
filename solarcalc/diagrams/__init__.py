"""Drawings for the electrician as SVG: single line, earthing, room to scale.

They do no sums of their own: what they show comes from the site file and from the stages before.
"""

from solarcalc.diagrams.earthing import EarthLine, earth_lines, earthing_diagram
from solarcalc.diagrams.room import room_drawing
from solarcalc.diagrams.single_line import single_line

__all__ = ["EarthLine", "earth_lines", "earthing_diagram", "room_drawing", "single_line"]
