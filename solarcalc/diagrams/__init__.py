"""Drawings for the electrician as SVG: single line, earthing, room to scale.

They do no sums of their own: what they show comes from the site file and from the stages before.
"""
