"""Pictures of the ground and of what is driven into it, to read in black and white."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.figure import Figure
from matplotlib.patches import Ellipse, Rectangle

from solarcalc.basis.errors import Fault, InputError
from solarcalc.earthing.checks import shown_ohm
from solarcalc.earthing.plan import EarthingPlan
from solarcalc.figures.style import DARK, INK, LIGHT, PALE, WARM, sheet, styled

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_RODS_DRAWN = 5
"""Rods drawn; of more, the first three and the last with dots between."""

_DEEP, _PITCH, _LEFT, _TRENCH, _WIDE = -1.0, 0.85, 0.0, -0.14, 3.2
"""Sizes on the sheet: foot of a rod, from rod to rod, first rod, joining wire, a strip's length."""
_DIMENSION = {"arrowstyle": "<->", "color": INK, "lw": 0.9, "shrinkA": 0, "shrinkB": 0}
_CLEAR = {"fc": "white", "ec": "none", "pad": 0.6}
_LAYERS = {"none": "Uniform soil", "better-below": "Lower resistivity at depth",
           "worse-below": "Higher resistivity at depth", "uneven": "Irregular readings"}


@styled
def draw_electrode(plan: EarthingPlan) -> Figure:
    """Side section: bar, test link, electrode in the ground with its sizes, and what it gives."""
    figure, (axis, words) = sheet(7.4, 3.5, 2, width_ratios=(2.0, 1.0))
    right = _draw_rods(axis, plan) if plan.electrode.kind == "rods" else _draw_wire(axis, plan)
    _draw_ground(axis, right)
    _draw_bar(axis, plan)
    axis.set(xlim=(-1.45, right + 0.8), ylim=(_DEEP - 0.42, 0.85))
    axis.set_axis_off()
    _write_resistances(words, plan)
    figure.suptitle(_finding(plan), x=0.01, ha="left", fontsize=10.0, fontweight="bold")
    return figure


@styled
def draw_rods(plan: EarthingPlan) -> Figure:
    """Resistance in the worst season against the number of rods like the site's, with the limit."""
    figure, (axis,) = sheet(6.4, 3.5)
    counts = [count for count, _ in plan.by_count]
    ohms = [ohm for _, ohm in plan.by_count]
    axis.plot(counts, ohms, color=DARK, lw=1.4, marker="o", ms=4.0)
    own = plan.earthing.rod_count if plan.electrode.kind == "rods" else None
    for count, ohm in plan.by_count:
        if count <= 8 or count == own:
            axis.annotate(shown_ohm(ohm), (count, ohm), (0, 6), textcoords="offset points",
                          ha="left", fontsize=7.5, bbox=_CLEAR)  # fmt: skip
    if own is not None:
        measured = plan.electrode.measured_ohm is not None
        axis.plot([own], [plan.electrode.worst_ohm], marker="s", ms=10.0, mfc="none", mec=WARM,
                  mew=1.6, ls="none", zorder=4,
                  label="as measured" if measured else "as designed")  # fmt: skip
    top = max(*ohms, plan.electrode.worst_ohm if own else 0.0) * 1.15
    _draw_limits(axis, plan, top)
    axis.set(
        xlim=(0.6, counts[-1] + 0.6), ylim=(0.0, top), xticks=counts,
        xlabel=f"rods of {plan.earthing.rod_length_m:g} m in a line,"
        f" spacing {plan.earthing.rod_spacing_m:g} m",
        ylabel="earth electrode resistance, worst season [Ω]", title=_rods_finding(plan),
    )  # fmt: skip
    axis.legend(frameon=False, fontsize=8.0, loc="upper right")
    return figure


@styled
def draw_soil_test(plan: EarthingPlan) -> Figure:
    """Resistivity against the spacing of the pins, and the value the electrode is reckoned with.

    Raises
    ------
    InputError
        When there was no test.
    """
    ground = plan.electrode.ground
    if not ground.tested:
        raise InputError(
            Fault(where="soil.spacing_m", given="no test", allowed="a four-electrode test",
                  why="there is nothing to draw", remedy="test the ground, or leave it out")
        )  # fmt: skip
    figure, (axis,) = sheet(6.4, 3.3)
    spacing = [reading.spacing_m for reading in ground.readings]
    values = [reading.resistivity_ohm_m for reading in ground.readings]
    axis.plot(spacing, values, color=DARK, lw=1.4, marker="o", ms=4.5, label="read")
    axis.axhline(ground.resistivity_ohm_m, color=WARM, lw=1.4, ls="--",
                 label=f"design: {ground.resistivity_ohm_m:.0f} Ω·m")  # fmt: skip
    deep = "rod length" if plan.electrode.kind == "rods" else "depth of the conductor"
    axis.axvline(ground.depth_m, color=INK, lw=1.0, ls=":", label=f"{deep}: {ground.depth_m:g} m")
    for x, y in zip(spacing, values, strict=True):
        axis.annotate(f"{y:.0f}", (x, y), (0, 6), textcoords="offset points", ha="center",
                      fontsize=7.5, bbox=_CLEAR)  # fmt: skip
    edge = [min(*spacing, ground.depth_m), max(*spacing, ground.depth_m)]
    axis.set_xscale("log")
    axis.set(
        xlim=(edge[0] / 1.3, edge[1] * 1.3), ylim=(0.0, max(values) * 1.25),
        xlabel="electrode spacing [m], about the depth of the reading",
        ylabel="resistivity [Ω·m]",
        title=f"{_LAYERS[ground.layers]}: {ground.low_ohm_m:.0f} to {ground.high_ohm_m:.0f} Ω·m",
    )  # fmt: skip
    axis.set_xticks(spacing, [f"{each:g}" for each in spacing])
    axis.minorticks_off()
    axis.legend(frameon=False, fontsize=8.0, loc="center left", bbox_to_anchor=(1.0, 0.5))
    return figure


def _finding(plan: EarthingPlan) -> str:
    worst = plan.electrode.worst_ohm
    limit, name = plan.allowed_ohm, "touch-voltage limit"
    if plan.asked_ohm < worst <= plan.allowed_ohm:
        limit, name = plan.asked_ohm, "design value"
    kept = "within" if worst <= limit else "above"
    return f"{shown_ohm(worst)} Ω in the worst season, {kept} the {name} of {shown_ohm(limit)} Ω"


def _rods_finding(plan: EarthingPlan) -> str:
    asked, needed = shown_ohm(plan.asked_ohm), plan.needed_rods
    if needed is None:
        return f"24 rods of this length are not sufficient for {asked} Ω"
    return f"{needed} rod{'s' if needed > 1 else ''} of this length sufficient for {asked} Ω"


def _draw_limits(axis: Axes, plan: EarthingPlan, top: float) -> None:
    """The two limits as lines; named with an arrow where they lie above the picture."""
    limits = [("design value", plan.asked_ohm, "--"), ("touch voltage", plan.allowed_ohm, ":")]
    for name, value, line in limits:
        if value <= top:
            axis.axhline(value, color=WARM, lw=1.5, ls=line, label=f"{name}: {shown_ohm(value)} Ω")
        else:
            axis.plot([], [], ls="none", label=f"{name}: {shown_ohm(value)} Ω, above the picture")


def _draw_ground(axis: Axes, right: float) -> None:
    axis.add_patch(
        Rectangle((-1.4, _DEEP - 0.4), right + 2.2, 0.4 - _DEEP, fc=PALE, ec="none", zorder=0)
    )
    axis.plot([-1.4, right + 0.8], [0.0, 0.0], color=INK, lw=1.6, zorder=1)
    for step in range(int((right + 2.1) / 0.2)):
        x = -1.36 + 0.2 * step
        axis.plot([x, x + 0.07], [-0.07, 0.0], color=INK, lw=0.7, zorder=1)


def _draw_bar(axis: Axes, plan: EarthingPlan) -> None:
    """The wall, the bar on it, the conductor and the test link over the electrode."""
    axis.add_patch(Rectangle((-1.4, 0.0), 0.16, 0.8, fc=LIGHT, ec=INK, lw=1.0, hatch="///"))
    axis.add_patch(Rectangle((-1.2, 0.34), 0.5, 0.1, fc="white", ec=INK, lw=1.4, zorder=3))
    axis.text(-1.18, 0.5, "main earthing terminal", fontsize=8.0, va="bottom")
    axis.plot([-0.95, -0.95, _LEFT, _LEFT], [0.34, 0.1, 0.1, 0.0], color=INK, lw=1.8, zorder=2)
    axis.text(-0.9, 0.13, f"{plan.main_earth_mm2:g} mm² copper,"
              f" {plan.earthing.bar_to_electrode_m:g} m", fontsize=7.5, va="bottom")  # fmt: skip
    axis.add_patch(Rectangle((_LEFT - 0.1, -0.1), 0.2, 0.2, fc="white", ec=INK, lw=1.2, zorder=3))
    axis.plot([_LEFT], [0.0], marker="o", ms=4.0, color=INK, zorder=4)
    axis.text(_LEFT + 0.16, 0.03, "test link", fontsize=8.0, va="bottom")


def _draw_rods(axis: Axes, plan: EarthingPlan) -> float:
    """Rods with their sizes; returns the place of the last one."""
    earthing = plan.earthing
    count = earthing.rod_count
    shown: list[int | None] = list(range(1, count + 1))
    if count > MOST_RODS_DRAWN:
        shown = [1, 2, 3, None, count]
    right = _LEFT + _PITCH * (len(shown) - 1)
    for place, number in enumerate(shown):
        x = _LEFT + _PITCH * place
        if number is None:
            axis.text(x, _DEEP / 2.0, "· · ·", ha="center", va="center", fontsize=14.0)
            continue
        axis.plot([x, x], [_TRENCH if place else 0.0, _DEEP], color=INK, lw=4.0,
                  solid_capstyle="butt", zorder=2)  # fmt: skip
        if count > 1:
            axis.text(x + 0.06, _DEEP + 0.03, f"{number}", fontsize=7.5, va="bottom")
    axis.plot([_LEFT, right], [_TRENCH, _TRENCH], color=INK, lw=1.8, zorder=2)
    _measure(axis, (right + 0.3, 0.0), (right + 0.3, _DEEP), f"{earthing.rod_length_m:g} m")
    if count > 1:
        _measure(axis, (_LEFT, _DEEP - 0.1), (_LEFT + _PITCH, _DEEP - 0.1),
                 f"{earthing.rod_spacing_m:g} m")  # fmt: skip
    axis.text(_LEFT - 1.35, _DEEP - 0.36, f"{count} rod{'s' if count > 1 else ''},"
              f" {earthing.rod_diameter_mm:g} mm diameter; not to scale", fontsize=7.5,
              va="bottom")  # fmt: skip
    return max(right, _LEFT + 1.4)


def _draw_wire(axis: Axes, plan: EarthingPlan) -> float:
    """A strip, or a ring seen from above its edge, with its sizes; returns its far end."""
    earthing = plan.earthing
    low, right = _DEEP * 0.5, _LEFT + _WIDE
    axis.plot([_LEFT, _LEFT], [0.0, low], color=INK, lw=1.8, zorder=2)
    if plan.electrode.kind == "strip":
        axis.plot([_LEFT, right], [low, low], color=INK, lw=4.0, zorder=2)
        _measure(axis, (_LEFT, low - 0.14), (right, low - 0.14), f"{earthing.conductor_m:g} m")
    else:
        axis.add_patch(
            Ellipse(((_LEFT + right) / 2.0, low), _WIDE, 0.5, fc="none", ec=INK, lw=3.0, zorder=2)
        )
        axis.text((_LEFT + right) / 2.0, low, f"ring, {earthing.conductor_m:g} m around",
                  ha="center", va="center", fontsize=8.0)  # fmt: skip
    _measure(axis, (right + 0.2, 0.0), (right + 0.2, low), f"{earthing.conductor_depth_m:g} m")
    axis.text(_LEFT - 1.35, _DEEP - 0.36, f"conductor {earthing.conductor_mm:g} mm thick;"
              " not to scale", fontsize=7.5, va="bottom")  # fmt: skip
    return right


def _measure(
    axis: Axes, start: tuple[float, float], end: tuple[float, float], words: str
) -> None:
    axis.annotate("", start, end, arrowprops=_DIMENSION)
    x, y = (start[0] + end[0]) / 2.0, (start[1] + end[1]) / 2.0
    upright = start[0] == end[0]
    axis.text(x + (0.05 if upright else 0.0), y - (0.0 if upright else 0.03), words,
              ha="left" if upright else "center", va="center" if upright else "top",
              fontsize=8.0)  # fmt: skip


def _write_resistances(axis: Axes, plan: EarthingPlan) -> None:
    """What the electrode gives, from ground to limit, one line each."""
    electrode, ground = plan.electrode, plan.electrode.ground
    lines = [
        ("ground", f"{ground.resistivity_ohm_m:.0f} Ω·m"),
        ("", "tested" if ground.tested else "by soil type, no test"),
        ("computed", f"{shown_ohm(electrode.computed_ohm)} Ω"),
        ("measured", "not yet" if electrode.measured_ohm is None
         else f"{shown_ohm(electrode.measured_ohm)} Ω"),
        ("season", f"× {ground.season_factor:g}"),
        ("worst season", f"{shown_ohm(electrode.worst_ohm)} Ω"),
        ("limit by touch voltage", f"{shown_ohm(plan.allowed_ohm)} Ω"),
        ("design value", f"{shown_ohm(plan.asked_ohm)} Ω"),
    ]  # fmt: skip
    for place, (name, value) in enumerate(lines):
        nonessential = "bold" if name == "worst season" else "normal"
        y = 0.93 - 0.115 * place
        axis.text(0.0, y, name, fontsize=8.5, va="center", fontweight=nonessential)
        axis.text(1.0, y, value, fontsize=8.5, va="center", ha="right", fontweight=nonessential)
    axis.plot([0.0, 1.0], [0.29, 0.29], color=INK, lw=0.8)
    axis.set(xlim=(0.0, 1.02), ylim=(0.0, 1.0))
    axis.set_axis_off()
