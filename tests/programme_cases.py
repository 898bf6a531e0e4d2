"""Quantities of work that tests of the programme start from: made up, of no building."""

ROOF = {
    "module": 14, "row": 1, "foot": 26, "rail_m": 33.0, "duct_m": 18.0, "trench_m": 18.0,
    "cable_m": 140.0, "termination": 60, "connector_pair": 2, "label": 20, "device": 16,
    "controller": 1, "inverter": 1, "battery_unit": 8, "battery_link": 6, "rod": 2,
    "earth_m": 24.0, "test_line": 40,
}  # fmt: skip
"""Fourteen modules in a row, eight battery units, one controller, an existing room."""

ROOM = {
    "dig_m3": 2.5, "concrete_m3": 3.0, "block_wall_m2": 40.0, "sheet_roof_m2": 18.0,
    "plaster_m2": 75.0, "paint_m2": 75.0, "door": 1, "vent": 2,
}  # fmt: skip
"""A room of blocks with a roof of sheets, built for the job."""

NEW_ROOM = {**ROOF, **ROOM}
