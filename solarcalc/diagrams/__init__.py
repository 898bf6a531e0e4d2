"""Drawings for the electrician as SVG: single line, earthing, room to scale."""
