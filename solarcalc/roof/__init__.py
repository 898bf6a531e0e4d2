"""Rows on one rectangular roof plane: how they stand, how many fit around what is there."""

from solarcalc.roof.ground import kept_free
from solarcalc.roof.hardware import (
    Hardware,
    cut_pieces_m,
    end_clamp_count,
    hardware_of,
    mid_clamp_count,
    rail_growth_mm,
    rail_m,
    stock_count,
)
from solarcalc.roof.packing import RoofFit, RowPlace, count_on_roof, fit_on_roof
from solarcalc.roof.rows import (
    LOWEST_COSINE,
    SOLSTICE_DAYS,
    WALKWAY_M,
    Orientation,
    Rows,
    cosine_on,
    normal_vector,
    pitch_of,
    rows_of,
    shadow_rule_pitch_m,
)

__all__ = [
    "LOWEST_COSINE",
    "SOLSTICE_DAYS",
    "WALKWAY_M",
    "Hardware",
    "Orientation",
    "RoofFit",
    "RowPlace",
    "Rows",
    "cosine_on",
    "count_on_roof",
    "cut_pieces_m",
    "end_clamp_count",
    "fit_on_roof",
    "hardware_of",
    "kept_free",
    "mid_clamp_count",
    "normal_vector",
    "pitch_of",
    "rail_growth_mm",
    "rail_m",
    "rows_of",
    "shadow_rule_pitch_m",
    "stock_count",
]
