"""Pictures. Each ``draw_...`` returns a figure; the title says what is found; it reads in grey."""

from solarcalc.figures.bank import draw_bank_wiring
from solarcalc.figures.field import draw_energy_by_pitch, draw_planes, draw_trade_off
from solarcalc.figures.loads import draw_load_days, draw_load_year
from solarcalc.figures.roofs import draw_module_shade, draw_roof_fits, draw_side_section
from solarcalc.figures.shade import draw_strip_curves
from solarcalc.figures.sizes import draw_sizes
from solarcalc.figures.year import (
    draw_board_days,
    draw_charge_band,
    draw_charge_map,
    draw_cleaning_plan,
    draw_energy_by_tilt,
    draw_loss_steps,
    draw_months,
    draw_worst_week,
)

__all__ = [
    "draw_bank_wiring",
    "draw_board_days",
    "draw_charge_band",
    "draw_charge_map",
    "draw_cleaning_plan",
    "draw_energy_by_pitch",
    "draw_energy_by_tilt",
    "draw_load_days",
    "draw_load_year",
    "draw_loss_steps",
    "draw_module_shade",
    "draw_months",
    "draw_planes",
    "draw_roof_fits",
    "draw_side_section",
    "draw_sizes",
    "draw_strip_curves",
    "draw_trade_off",
    "draw_worst_week",
]
