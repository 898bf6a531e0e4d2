"""Panels of the workbooks: controls, a picture and numbers that follow them, variants kept."""
