"""Sliders and lists that draw a figure again."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from solarcalc.basis.errors import InputError
from solarcalc.basis.quantity import words_and_unit
from solarcalc.page.pictures import show_figure
from solarcalc.page.publish import fault, is_number

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def explore(
    function: Callable[..., Figure | None], /, *, live: bool = False, **ranges: object
) -> None:
    """Sliders and lists that call a drawing function again on release, or while dragged.

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
        figure = function(**chosen)
        if figure is not None:
            settings = ", ".join(f"{name} = {value}" for name, value in chosen.items())
            show_figure(figure, f"Drawn for {settings or 'the given settings'}")

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
    if isinstance(given, tuple) and len(given) in (3, 4) and all(map(is_number, given)):
        low, high, step = given[:3]
        whole = all(isinstance(number, int) for number in given)
        slider = widgets.IntSlider if whole else widgets.FloatSlider
        start = given[3] if len(given) == 4 else low
        return slider(value=start, min=low, max=high, step=step, continuous_update=False, **common)
    if isinstance(given, (list, dict)) and given:
        return widgets.Dropdown(options=given, **common)
    raise InputError(fault(f"explore: {name}", repr(given),
                            "(low, high, step), (low, high, step, start), a list, a mapping, "
                            "True or False"))
