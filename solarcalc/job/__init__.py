"""The one place that knows the order of the stages; what the workbooks call."""

from solarcalc.job.array import (
    own_box_shade,
    own_boxes,
    roof_verdicts,
    standing,
    string_verdicts,
    yearly_harvest,
)
from solarcalc.job.assumptions import (
    board_assumptions,
    hardware_assumptions,
    light_assumptions,
)
from solarcalc.job.boards import (
    autonomy_days,
    battery_answer,
    board_verdicts,
    flows_by_month,
    supply_year,
    unserved_frac,
)
from solarcalc.job.cleaning import best_wash_dates, cleaning_answer, cleaning_plan
from solarcalc.job.opening import Job, changed, open_job, site_path
from solarcalc.job.orientation import (
    compare_orientations,
    energy_by_tilt,
    orientation_answer,
)
from solarcalc.job.outlook import (
    chosen_days_sentence,
    cleaning_table,
    gap_rows,
    promised_kwh,
    sureness_values,
    uncertainty_table,
    yield_answer,
)
from solarcalc.job.sensitivity import (
    largest_changes_sentence,
    what_would_change_the_yield,
)
from solarcalc.job.strip import equator_deg, leads, leads_sentence, shaded_hour, strip_curves
from solarcalc.job.surroundings import worst_modules_table
from solarcalc.job.tables import (
    array_inputs,
    bank_inputs,
    battery_marks,
    battery_values,
    board_profiles_w,
    flow_table,
    hardware_table,
    load_table,
    loss_table,
    month_table,
    orientation_table,
    orientation_values,
    weather_inputs,
    yield_values,
)
from solarcalc.job.turning import turns_sentence, what_would_change

__all__ = [
    "Job",
    "array_inputs",
    "autonomy_days",
    "bank_inputs",
    "battery_answer",
    "battery_marks",
    "battery_values",
    "best_wash_dates",
    "board_assumptions",
    "board_profiles_w",
    "board_verdicts",
    "changed",
    "chosen_days_sentence",
    "cleaning_answer",
    "cleaning_plan",
    "cleaning_table",
    "compare_orientations",
    "energy_by_tilt",
    "equator_deg",
    "flow_table",
    "flows_by_month",
    "gap_rows",
    "hardware_assumptions",
    "hardware_table",
    "largest_changes_sentence",
    "leads",
    "leads_sentence",
    "light_assumptions",
    "load_table",
    "loss_table",
    "month_table",
    "open_job",
    "orientation_answer",
    "orientation_table",
    "orientation_values",
    "own_box_shade",
    "own_boxes",
    "promised_kwh",
    "roof_verdicts",
    "shaded_hour",
    "site_path",
    "standing",
    "string_verdicts",
    "strip_curves",
    "supply_year",
    "sureness_values",
    "turns_sentence",
    "uncertainty_table",
    "unserved_frac",
    "weather_inputs",
    "what_would_change",
    "what_would_change_the_yield",
    "worst_modules_table",
    "yearly_harvest",
    "yield_answer",
    "yield_values",
]
