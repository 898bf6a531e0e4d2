"""Every picture of the package, by its name."""

from solarcalc.figures.battery_room import draw_bank_wiring, draw_openings, draw_room_year
from solarcalc.figures.earth import draw_electrode, draw_rods, draw_soil_test
from solarcalc.figures.electrical import (
    draw_cable_sizes,
    draw_duct,
    draw_places,
    draw_run_losses,
    draw_string_window,
)
from solarcalc.figures.followup import draw_measured_by_day, draw_ratio_by_month, draw_ratio_map
from solarcalc.figures.programme import draw_programme, draw_sites
from solarcalc.figures.quote import (
    draw_cash_flows,
    draw_cost_groups,
    draw_tornado,
    draw_variants,
)
from solarcalc.figures.roofs import (
    draw_energy_by_pitch,
    draw_module_shade,
    draw_own_modules,
    draw_planes,
    draw_roof_fits,
    draw_shaded_band_curves,
    draw_side_section,
    draw_trade_off,
)
from solarcalc.figures.style import png_of, svg_of
from solarcalc.figures.year import (
    draw_board_days,
    draw_charge_band,
    draw_charge_map,
    draw_cleaning_plan,
    draw_energy_by_tilt,
    draw_load_days,
    draw_load_year,
    draw_loss_steps,
    draw_months,
    draw_sizes,
    draw_worst_week,
)

__all__ = [
    "draw_bank_wiring",
    "draw_board_days",
    "draw_cable_sizes",
    "draw_cash_flows",
    "draw_charge_band",
    "draw_charge_map",
    "draw_cleaning_plan",
    "draw_cost_groups",
    "draw_duct",
    "draw_electrode",
    "draw_energy_by_pitch",
    "draw_energy_by_tilt",
    "draw_load_days",
    "draw_load_year",
    "draw_loss_steps",
    "draw_measured_by_day",
    "draw_module_shade",
    "draw_months",
    "draw_openings",
    "draw_own_modules",
    "draw_places",
    "draw_planes",
    "draw_programme",
    "draw_ratio_by_month",
    "draw_ratio_map",
    "draw_rods",
    "draw_roof_fits",
    "draw_room_year",
    "draw_run_losses",
    "draw_shaded_band_curves",
    "draw_side_section",
    "draw_sites",
    "draw_sizes",
    "draw_soil_test",
    "draw_string_window",
    "draw_tornado",
    "draw_trade_off",
    "draw_variants",
    "draw_worst_week",
    "png_of",
    "svg_of",
]
