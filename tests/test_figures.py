"""Every picture: a title that says something, units on axes, edge cases, names as plain text."""

from __future__ import annotations

import io
import math
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from solarcalc import figures
from solarcalc.basis.hours import MONTHS
from solarcalc.design import Design, open_design
from solarcalc.loads.year import board_day_w
from solarcalc.roof.packing import fit_on_roof
from solarcalc.roof.rows import Rows
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.roof import Roof
from solarcalc.stages.array import own_box_shade, own_boxes
from solarcalc.views import arrays_tried
from solarcalc.views.battery import battery_marks
from solarcalc.views.cleaning import cleaning_plan
from solarcalc.views.orientation import compare_orientations, energy_by_tilt
from solarcalc.views.shaded_band import leads, shaded_band_curves, shaded_hour


def board_profiles_w(design: Design) -> dict[str, np.ndarray]:
    """Mean power of each board in each minute of the mean day [W], shape (1440,)."""
    loads, folder = design.site.loads, design.sitefile.folder
    return {board: board_day_w(loads, board, folder=folder) for board in BOARDS}


NASTY = r"$\frac{x_1}{0}$ _y_ <b> \alpha"


@pytest.fixture(scope="module")
def this():
    return open_design("coral-pharmacy")


@pytest.fixture(scope="module")
def harvest(this):
    return this.energy


@pytest.fixture(scope="module")
def supply(this, harvest):
    return this.supply


def _drawn(figure):
    """Render as a report does, and say what the figure carries."""
    assert isinstance(figure, Figure)
    page = io.StringIO()
    figure.savefig(page, format="svg")
    assert len(page.getvalue()) > 2000
    assert any(axis.get_title(loc="left") or axis.get_title() for axis in figure.axes)
    for text in figure.findobj(Text):
        assert not text.get_parse_math() or "$" not in text.get_text()
    figure.draw_without_rendering()  # measured at its own dots, not those of the drawing
    titles = [one.get_window_extent() for one in
              (*figure.texts, *(title for axis in figure.axes
                                for title in (axis._left_title, axis.title))) if one.get_text()]
    assert not any(one.overlaps(other) for one, other in combinations(titles, 2))
    return figure


def _has_units(figure):
    """Each axis that carries numbers says its unit in brackets."""
    for axis in figure.axes:
        for side in (axis.xaxis, axis.yaxis):
            label = side.get_label().get_text()
            numbers = all(_is_number(t) for t in side.get_ticklabels() if t.get_text())
            if label:
                assert "[" in label, label
            elif numbers and side.get_ticklabels() and not _shared(axis, side):
                raise AssertionError(f"numbers without a unit: {axis.get_title(loc='left')}")


def _is_number(text):
    try:
        float(text.get_text().replace("−", "-"))
    except ValueError:
        return False
    return True


def _shared(axis, side):
    group = axis.get_shared_x_axes() if side is axis.xaxis else axis.get_shared_y_axes()
    return len(group.get_siblings(axis)) > 1


def test_charge_pictures(supply, this):
    for figure in (
        figures.draw_charge_map(supply),
        figures.draw_charge_band(supply, marks=battery_marks(this)),
        figures.draw_worst_week(supply),
    ):
        _has_units(_drawn(figure))
    low = 100.0 * supply.state_of_charge.min()
    assert f"{low:.0f} %" in figures.draw_charge_map(supply).axes[0].get_title(loc="left")


@pytest.mark.parametrize("stem", ["ridge-clinic", "plateau-school", "cove-cannery", "lagoon-house"])
def test_the_month_of_the_lowest_charge_is_the_one_in_which_the_battery_was_lowest(stem):
    """It was the month of the lowest mean: January told beside a lowest hour in November."""
    year = open_design(stem).supply
    month = year.state_of_charge.idxmin().month - 1
    title = figures.draw_charge_band(year, marks={}).axes[0].get_title(loc="left")
    assert title == f"Lowest state of charge in {MONTHS[month]}"


def test_charge_map_has_each_hour_in_its_place(supply):
    picture = figures.draw_charge_map(supply).axes[0].images[0].get_array()
    charge = 100.0 * supply.state_of_charge.to_numpy()
    assert picture.shape == (24, 365)
    assert picture[13, 100] == charge[24 * 100 + 13]


def test_yield_pictures(harvest):
    _has_units(_drawn(figures.draw_months(harvest)))
    steps = _drawn(figures.draw_loss_steps(harvest))
    _has_units(steps)
    names = [t.get_text() for t in steps.axes[0].get_yticklabels()]
    assert names == [step.name for step in harvest.steps]


def test_loss_steps_show_a_gain(this):
    school = open_design(Path(__file__).parent / "frozen" / "plateau-school.toml",
                         {"module": {"efficiency_200_w_m2_frac": 0.994}}).energy
    figure = _drawn(figures.draw_loss_steps(school))
    shares = [t.get_text() for t in figure.axes[0].texts]
    weak = next(n for n, step in enumerate(school.steps) if step.name == "Low-irradiance loss")
    assert "−" not in shares[weak]
    assert "−" in shares[weak + 1]


@pytest.mark.slow
def test_roof_pictures(this):
    variants = compare_orientations(this)
    figure = figures.draw_roof_fits({n: v.fit for n, v in variants.items()}, this.site.roof)
    _has_units(_drawn(figure))
    for axis, variant in zip(figure.axes, variants.values(), strict=True):
        modules = [p for p in axis.patches if isinstance(p, Rectangle)][2:]
        assert len(modules) == variant.fit.module_count
    curve = arrays_tried.energy_by_pitch(this, steps=3)
    rules = {n: v.stands.rule_m for n, v in variants.items()}
    _has_units(_drawn(figures.draw_energy_by_pitch(curve, rules)))
    _drawn(figures.draw_energy_by_pitch(curve, dict.fromkeys(rules)))
    tilts = energy_by_tilt(this, [0, 15, 30])
    _has_units(_drawn(figures.draw_energy_by_tilt(tilts, tilt_deg=10.0)))


def _rows(tilt, facing, slope, falls):
    return Rows(
        orientation="portrait", slant_m=2.0, along_m=1.0, gap_m=0.02, modules_high=1, tilt_deg=tilt,
        azimuth_deg=facing, roof_slope_deg=slope, roof_azimuth_deg=falls,
    )  # fmt: skip


@pytest.mark.parametrize("facing", [180.0, 150.0, 215.0, 90.0])
def test_plan_shows_turned_modules_inside_the_setback(facing):
    roof = Roof(length_m=12.0, depth_m=9.0, azimuth_deg=180.0, edge_setback_m=0.5)
    fit = fit_on_roof(_rows(15.0, facing, 0.0, 180.0), roof, pitch_m=2.6)
    axis = _drawn(figures.draw_roof_fits({"portrait": fit}, roof)).axes[0]
    modules = [p for p in axis.patches if isinstance(p, Rectangle)][2:]
    assert len(modules) == fit.module_count > 0
    to_data = axis.transData.inverted()
    for module in modules:
        corners = to_data.transform(module.get_transform().transform(
            [(0, 0), (1, 0), (1, 1), (0, 1)]
        ))  # fmt: skip
        assert (np.abs(corners) <= np.array([5.5, 4.0]) + 1e-6).all()
        side = corners[1] - corners[0]
        turn = math.degrees(math.atan2(side[1], side[0])) % 180.0
        # Roof falls south, down the page: east is right. Rows lie square to their facing.
        assert min(abs(turn - (180.0 - facing) % 180.0), 180.0 - turn) < 1e-6


def test_north_arrow_points_north():
    for falls, expected in ((180.0, (0, 1)), (90.0, (1, 0)), (0.0, (0, -1)), (270.0, (-1, 0))):
        roof = Roof(length_m=6.0, depth_m=6.0, azimuth_deg=falls)
        fit = fit_on_roof(_rows(10.0, falls, 0.0, falls), roof, pitch_m=2.5)
        axis = figures.draw_roof_fits({"portrait": fit}, roof).axes[0]
        arrow = next(t for t in axis.texts if getattr(t, "arrow_patch", None) is not None)
        direction = np.array(arrow.xy) - np.array(arrow.get_position())
        assert direction / np.linalg.norm(direction) == pytest.approx(expected, abs=1e-9)


def test_no_module_fits():
    tiny = Roof(length_m=1.0, depth_m=1.0, azimuth_deg=180.0, edge_setback_m=0.6)
    fit = fit_on_roof(_rows(15.0, 180.0, 0.0, 180.0), tiny, pitch_m=2.5)
    figure = _drawn(figures.draw_roof_fits({"portrait": fit, "landscape": fit}, tiny))
    assert "0 modules" in figure.axes[0].get_title(loc="left")


@pytest.mark.parametrize(
    ("tilt", "facing", "slope", "falls"),
    [
        (30.0, 180.0, 0.0, 180.0),
        (35.0, 180.0, 15.0, 180.0),
        (10.0, 180.0, 25.0, 180.0),  # flatter than the roof
        (10.0, 0.0, 10.0, 180.0),
        (20.0, 180.0, 20.0, 180.0),  # flush
        (90.0, 180.0, 0.0, 180.0),
    ],
)
def test_side_section_stands_at_its_true_tilt(tilt, facing, slope, falls):
    rows = _rows(tilt, facing, slope, falls)
    figure = _drawn(figures.draw_side_section(rows, pitch_m=2.9, rule_m=2.6))
    axis = figure.axes[0]
    module = next(line for line in axis.lines if line.get_label() == "modules")
    x, y = module.get_data()
    assert math.hypot(x[1] - x[0], y[1] - y[0]) == pytest.approx(2.0)
    drawn = abs(math.degrees(math.atan2(y[1] - y[0], x[1] - x[0])))
    assert drawn == pytest.approx(tilt, abs=1e-6)
    low, high = axis.get_ylim()
    for line in axis.lines:
        if line.get_label() in ("roof", "modules") or line.get_label().startswith("_child"):
            assert low <= min(line.get_ydata()) <= max(line.get_ydata()) <= high
    _has_units(figure)
    _drawn(figures.draw_side_section(rows, pitch_m=2.9, rule_m=None))


def test_sun_of_the_rule_touches_both_edges():
    rows = _rows(30.0, 180.0, 0.0, 180.0)
    axis = figures.draw_side_section(rows, pitch_m=3.5, rule_m=3.5).axes[0]
    ray = next(line for line in axis.lines if line.get_label().startswith("lowest sun"))
    (x0, x1), (y0, y1) = ray.get_data()
    slope = (y1 - y0) / (x1 - x0)
    for x, y in ((2.0 * math.cos(math.pi / 6), 1.0), (3.5, 0.0)):
        assert y0 + slope * (x - x0) == pytest.approx(y, abs=1e-9)
    angle = math.degrees(math.atan(-slope))
    assert f"{angle:.0f}°" in ray.get_label()


def test_boards_with_and_without_loads(this):
    _has_units(_drawn(figures.draw_board_days(board_profiles_w(this))))
    _drawn(figures.draw_board_days({"essential": np.zeros(1440), "nonessential": np.zeros(1440)}))
    bare = this.changed({"loads": {"nonessential": []}})
    year = bare.supply
    for figure in (figures.draw_worst_week(year), figures.draw_charge_map(year)):
        _drawn(figure)


def test_names_from_a_site_file_stay_plain_text(this, supply):
    variants = compare_orientations(this)
    fit = variants["portrait"].fit
    for figure in (
        figures.draw_roof_fits({NASTY: fit}, this.site.roof),
        figures.draw_charge_band(supply, marks={NASTY: 0.5}),
        figures.draw_board_days({NASTY: np.ones(1440)}),
    ):
        texts = [t for t in figure.findobj(Text) if NASTY in t.get_text()]
        assert texts
        assert not any(t.get_parse_math() for t in texts)
        figure.savefig(io.StringIO(), format="svg")


def test_drawing_leaves_no_trace(this, harvest):
    from matplotlib import rcParams

    before = dict(rcParams)
    figures.draw_months(harvest)
    assert dict(rcParams) == before


def test_cleaning_plan_says_how_often(this):
    plan = cleaning_plan(this, cleaning_cost_kwh=5.0)
    drawn = figures.draw_cleaning_plan(plan)
    (axis,) = drawn.axes
    assert axis.get_title(loc="left").endswith(
        ("cleanings per year pay best", "Cleaning at equal intervals does not pay"))
    assert "[kWh/year]" in axis.get_ylabel()
    dear = cleaning_plan(this, cleaning_cost_kwh=1e6)
    title = figures.draw_cleaning_plan(dear).axes[0].get_title(loc="left")
    assert title == "Cleaning at equal intervals does not pay"


@pytest.mark.slow
def test_strips_fields_and_planes(this):
    clinic = open_design("ridge-clinic")
    curves = shaded_band_curves(clinic, shaded_hour(clinic))
    figure = _drawn(figures.draw_shaded_band_curves(curves, leads(curves)))
    _has_units(figure)
    assert figure.get_suptitle() == "Better orientation changes with the shaded depth"
    assert _drawn(figures.draw_shaded_band_curves(curves, [])).get_suptitle() == "No difference"
    axes = arrays_tried.Axes(tilts_deg=(10.0, 20.0), pitches_slants=(1.2, 1.6), modules_high=(1,))
    field = arrays_tried.swept_roof(clinic, axes)
    front = arrays_tried.front_of_field(field)
    drawn = _drawn(figures.draw_trade_off(field, front, currency=NASTY))
    assert f"{len(front)} of {len(field)} arrays" in drawn.axes[0].get_title(loc="left")
    planes = arrays_tried.swept_planes(
        clinic, tilts_deg=[0, 20, 40, 60], azimuths_deg=list(range(0, 360, 45))
    )
    for azimuth, middle in ((180.0, 180.0), (350.0, 0.0)):
        drawn = _drawn(figures.draw_planes(
            planes, tilt_deg=20.0, azimuth_deg=azimuth, middle_deg=middle))  # fmt: skip
        (mark,) = [line for line in drawn.axes[0].lines if line.get_marker() == "D"]
        low, high = drawn.axes[0].get_xlim()
        assert low <= mark.get_xdata()[0] <= high


def test_every_module_is_drawn_with_its_box_shade(this):
    places, shade = own_boxes(this).places, own_box_shade(this)
    figure = _drawn(
        figures.draw_module_shade(
            places.plan_corners_m, shade["beam_kept_frac"].to_numpy(), this.site.roof
        )
    )
    (faces,) = figure.axes[0].collections
    assert len(faces.get_paths()) == this.site.array.module_count
    lost = 100.0 * (1.0 - shade["beam_kept_frac"].to_numpy())
    assert np.asarray(faces.get_array()) == pytest.approx(lost)
