"""Slider panels of the workbooks: each draws a changed design."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from matplotlib.figure import Figure

from solarcalc import figures, page
from solarcalc.basis.errors import InputError
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.basis.quantity import words_and_unit
from solarcalc.design import Design
from solarcalc.stages.array import standing
from solarcalc.stages.electrical import options_of
from solarcalc.views import orientation


def explore_pitch(design: Design) -> None:
    """Drag tilt and azimuth; see the energy against the pitch in both orientations."""
    from solarcalc.views import arrays_tried  # brings in a compiler: not before it is wanted

    array = design.site.array
    if array.mounting == "flush":
        return

    def draw(tilt_deg: float, azimuth_deg: float) -> Figure:
        tried = design.changed(
            {"array": {"tilt_deg": tilt_deg, "azimuth_deg": azimuth_deg, "row_pitch_m": None}}
        )
        curve = arrays_tried.energy_by_pitch(tried)
        rules_m: dict[str, float | None] = {
            way: standing(tried, way).rule_m for way in orientation.ORIENTATIONS
        }
        return figures.draw_energy_by_pitch(curve, rules_m)

    steepest = 45.0
    explore(draw, live=True,
                 tilt_deg=(5.0, steepest, 1.0, min(max(array.tilt_deg, 5.0), steepest)),
                 azimuth_deg=(0.0, 355.0, 5.0, min(5.0 * round(array.azimuth_deg / 5.0), 355.0)))


def explore_roof(design: Design) -> None:
    """Drag tilt and pitch; see what fits on the roof in both orientations."""
    site = design.site
    steepest = 45.0
    if site.array.mounting == "flush":
        page.say("These modules lie flush with the roof: tilt and pitch have no effect with this"
                 " mounting.")

    def draw(tilt_deg: float, row_pitch_m: float) -> Figure:
        tried = design.changed(
            {"array": {"tilt_deg": tilt_deg, "row_pitch_m": row_pitch_m or None}}
        )
        variants = orientation.compare_orientations(tried)
        return figures.draw_roof_fits(
            {name: variant.fit for name, variant in variants.items()}, site.roof
        )

    explore(
        draw, tilt_deg=(0.0, steepest, 1.0, min(site.array.tilt_deg, steepest)),
        row_pitch_m={"as designed": 0.0, **{f"{p:.2f} m": p for p in (2.5, 3.0, 4.0, 5.0)}},
    )


def explore_yield(design: Design) -> None:
    """Drag tilt and azimuth; see the losses in order."""
    array = design.site.array

    def draw(tilt_deg: float, azimuth_deg: float) -> Figure:
        tried = design.changed({"array": {"tilt_deg": tilt_deg, "azimuth_deg": azimuth_deg}})
        return figures.draw_loss_steps(tried.energy)

    explore(draw, tilt_deg=(0.0, 60.0, 1.0, min(array.tilt_deg, 60.0)),
                 azimuth_deg=(0.0, 355.0, 5.0, min(5.0 * round(array.azimuth_deg / 5.0), 355.0)))


def explore_battery(design: Design) -> None:
    """Choose the bank and the array; see the hardest week."""
    array, battery = design.site.array, design.site.battery

    def draw(units_in_parallel: int, strings: int) -> Figure:
        tried = design.changed({
            "battery": {"units_in_parallel": units_in_parallel},
            "array": {"module_count": strings * array.modules_in_series},
        })  # fmt: skip
        return figures.draw_worst_week(tried.supply)

    strings = array.string_count
    explore(
        draw,
        units_in_parallel=(1, min(battery.units_in_parallel * 3, 50), 1, battery.units_in_parallel),
        strings=(1, strings * 3, 1, strings),
    )


def explore_cables(design: Design) -> None:
    """Drag length and ambient of the main run; see what each size costs over the life."""
    own = design.electrical.run("dc_main").run

    def draw(length_m: float, ambient_c: float) -> Figure:
        options, safe_mm2, chosen = options_of(
            design.electrical, "dc_main", length_m=length_m, ambient_c=ambient_c
        )
        return figures.draw_cable_sizes(
            options, safe_mm2, chosen, currency=design.site.costs.currency
        )

    explore(draw, length_m=(2.0, max(4.0 * own.length_m, 40.0), 1.0, own.length_m),
                 ambient_c=(10.0, 55.0, 1.0, min(max(round(own.ambient_c), 10.0), 55.0)))


def explore_rods(design: Design) -> None:
    """Choose rods and their length; see the electrode."""
    own = design.site.earthing

    def draw(rod_count: int, rod_length_m: float) -> Figure:
        tried = design.changed({"earthing": {
            "electrode": "rods", "rod_count": rod_count, "rod_length_m": rod_length_m,
            "rod_spacing_m": max(own.rod_spacing_m, rod_length_m),
        }})  # fmt: skip
        return figures.draw_electrode(tried.earth)

    explore(draw, rod_count=(1, 12, 1, own.rod_count),
                 rod_length_m=(1.2, 6.0, 0.3, min(max(own.rod_length_m, 1.2), 6.0)))


def explore_crew(design: Design) -> None:
    """Drag the crew; see the days."""
    own = design.site.programme.crew

    def draw(crew: int) -> Figure:
        return figures.draw_programme(design.changed({"programme": {"crew": crew}}).programme)

    explore(draw, crew=(2, max(10, own), 1, own))


def explore(
    function: Callable[..., Figure | None], /, *, live: bool = False, **ranges: object
) -> None:
    """Sliders and lists that call a drawing function again on release, or while dragged.

    A setting that has no answer, or that the site file would refuse, shows a box that says why.

    Parameters
    ----------
    function : callable
        Draws with one keyword argument for each range, and returns a figure or shows its own.
    live : bool
        Draw while a slider is dragged; for what is drawn at once.
    **ranges : tuple, list, mapping or bool
        ``(low, high, step)`` or ``(low, high, step, start)`` makes a slider, a list or a mapping
        of label to value a drop-down list, True or False a tick box.

    Raises
    ------
    InputError
        For a range of another form.
    """
    import ipywidgets as widgets
    from IPython.display import display

    controls = {name: control_of(widgets, name, given) for name, given in ranges.items()}
    for control in controls.values():
        if live and hasattr(control, "continuous_update"):
            control.continuous_update = True

    def draw(**chosen: object) -> None:
        page.boxes.clear()  # each setting says it anew
        try:
            drawn = function(**chosen)
        except InputError as error:
            why = error.sentence if isinstance(error, NoAnswer) else str(error)
            page.publish_html(page.box_html(why), why)
            return
        if drawn is not None:
            settings = ", ".join(f"{name} = {value}" for name, value in chosen.items())
            page.show_figure(drawn, f"Drawn for {settings or 'the given settings'}")

    shown = widgets.interactive_output(draw, controls)
    display(widgets.VBox([*controls.values(), shown]))  # type: ignore[no-untyped-call]


def control_of(widgets: Any, name: str, given: object) -> Any:
    """The slider, list or tick box for one range, labelled by its name."""
    words, unit = words_and_unit(name)
    unit = "0 to 1" if name.endswith("_frac") else unit
    common = {"description": f"{words} [{unit}]" if unit else words,
              "style": {"description_width": "14em"}, "layout": widgets.Layout(width="36em")}
    if isinstance(given, bool):
        return widgets.Checkbox(value=given, **common)
    if isinstance(given, tuple) and len(given) in (3, 4) and all(map(page.is_number, given)):
        low, high, step = given[:3]
        whole = all(isinstance(number, int) for number in given)
        slider = widgets.IntSlider if whole else widgets.FloatSlider
        start = given[3] if len(given) == 4 else low
        return slider(value=start, min=low, max=high, step=step, continuous_update=False, **common)
    if isinstance(given, (list, dict)) and given:
        return widgets.Dropdown(options=given, **common)
    raise InputError(page.fault(f"explore: {name}", repr(given),
                            "(low, high, step), (low, high, step, start), a list, a mapping, "
                            "True or False"))
