"""A panel of a site: any of its keys as controls, the picture, the numbers, variants to keep.

The baseline is the design the panel is given. A move makes a changed design, which keeps every
stage that the change cannot touch; the picture asks for its own stages first, the numbers for the
rest. Where no kernel runs, the picture and the numbers of the baseline stand in the notebook.
"""

from __future__ import annotations

import html
import math
import re
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from solarcalc import page
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.quantity import beside_unit
from solarcalc.design import Design
from solarcalc.energy.diode import STC, Conditions, isc_expected_a, voc_expected_v
from solarcalc.panels import kept
from solarcalc.panels.controls import Setting, setting_of_key, setting_of_range, setting_of_use
from solarcalc.panels.kept_page import kept_html
from solarcalc.panels.live import Live, Values, draws_of, rows_html
from solarcalc.panels.numbers import Numbers, numbers_of, steps_of
from solarcalc.panels.pictures import Picture, months, string_curve
from solarcalc.sitefile.keys import changes_of, is_use, key_of
from solarcalc.sitefile.planes import Plane

_DESIGNS_KEPT = 2
"""Changed designs held, so that numbers follow a picture without its work being done again."""


class _Tried:
    """What a panel of a site shows: the picture of one roof plane, the numbers of the whole."""

    def __init__(self, design: Design, settings: Sequence[Setting], draw: Picture) -> None:
        self.own, self._draw, self._plane = design.numbered(0), draw, design.number
        self._settings = {one.name: one for one in settings}
        self._designs: dict[tuple[Any, ...], Design] = {}
        self._base: dict[str, str] = {}

    def changes(self, values: Values) -> dict[str, dict[str, Any]]:
        """Of the site file, by the controls that were moved."""
        moved = {one.key.loc: values[name] for name, one in self._settings.items()
                 if one.key is not None and values[name] != one.start}  # fmt: skip
        return changes_of(self.own.sitefile.written, moved)

    def moved_words(self, name: str, value: Any) -> str:
        """A control and its value in words: ``"tilt 30°"``."""
        one = self._settings[name]
        shown = f"{value:g}" if page.is_number(value) else str(value)
        unit = "" if one.unit == "0 to 1" else one.unit
        return f"{one.label.rpartition(': ')[2]} {beside_unit(shown, unit) if unit else shown}"

    def design(self, values: Values) -> Design:
        """The design that the controls say."""
        key = tuple(values.values())
        found = self._designs.pop(key, None)
        if found is None:
            changes = self.changes(values)
            found = self.own.changed(changes) if changes else self.own
        self._designs[key] = found
        while len(self._designs) > _DESIGNS_KEPT:
            del self._designs[next(iter(self._designs))]
        return found

    def picture(self, values: Values) -> str:
        """As `Shows`."""
        return self._draw(*(one.numbered(self._plane) for one in (self.design(values), self.own)))

    def steps(self, values: Values) -> Iterator[None]:
        """As `Shows`."""
        if not self._base:
            yield from steps_of(self.own)
        yield from steps_of(self.design(values))

    def numbers(self, values: Values) -> str:
        """As `Shows`."""
        self._base = self._base or numbers_of(self.own).rows()
        return rows_html(self.found(values).rows(), self._base)

    def found(self, values: Values) -> Numbers:
        """The numbers of what the controls say."""
        return numbers_of(self.design(values))


class Panel:
    """A panel on the page.

    Parameters
    ----------
    design : Design
        The baseline.
    settings : sequence of Setting
    draw : callable
        From the design tried and the baseline to an SVG text.
    """

    def __init__(self, design: Design, settings: Sequence[Setting], draw: Picture) -> None:
        import ipywidgets as widgets

        self._tried = _Tried(design, settings, draw)
        self.live = Live(self._tried, settings)
        self.name = widgets.Text(placeholder="name of the variant", layout={"width": "18em"})
        self.kept = widgets.HTML()
        self.told = widgets.HTML()
        self.buttons = {
            words: widgets.Button(description=words, tooltip=tip, layout={"width": "auto"})
            for words, tip in (("Keep", "Keep this for all workbooks; one of its name is replaced"),
                               ("Forget", "Forget the kept variant of this name"),
                               ("Baseline", "All controls back to the design as it is"),
                               ("Refresh", "Show what other workbooks kept meanwhile"))
        }  # fmt: skip
        for words, act in (("Keep", self.keep), ("Forget", self.forget),
                           ("Baseline", self.live.rest), ("Refresh", self.refresh)):
            self.buttons[words].on_click(_told_in(self.told, act))
        self.live.show_all()
        self.refresh()

    def widget(self) -> Any:
        """All of it, to be displayed."""
        import ipywidgets as widgets

        return widgets.VBox([
            widgets.VBox(list(self.live.controls.values())),
            widgets.HBox([self.live.picture, self.live.numbers], layout={"flex_flow": "row wrap"}),
            widgets.HBox([self.name, *self.buttons.values()], layout={"flex_flow": "row wrap"}),
            self.told, self.kept,
        ])  # fmt: skip

    def keep(self) -> None:
        """Keep what the controls say under the name in the field, or under one of what moved.

        Raises
        ------
        InputError
            Where nothing was moved, for a name that will not do, or where it cannot be written.
        """
        values = self.live.values()
        name = self.name.value.strip() or self._own_name()
        changes = self._tried.changes(values)
        found = self._tried.found(values)
        self._show(kept.keep(self._tried.own.sitefile, name, changes, found))
        self.name.value = ""

    def _own_name(self) -> str:
        return ", ".join(self._tried.moved_words(name, value)
                         for name, value in self.live.moved().items())[:kept.MOST_NAME]  # fmt: skip

    def forget(self) -> None:
        """Forget the kept variant whose name is in the field.

        Raises
        ------
        InputError
            Where others are kept and none of that name, or the file cannot be written.
        """
        self._show(kept.forget(self._tried.own.sitefile, self.name.value))

    def refresh(self) -> None:
        """Show what is kept of the site now."""
        self._show(kept.read_kept(self._tried.own.sitefile))

    def _show(self, found: kept.Kept) -> None:
        self.kept.value = kept_html(found, numbers_of(self._tried.own),
                                    kept.site_digest(self._tried.own.sitefile))

    def still(self) -> str:
        """What stands where no kernel runs: the picture and numbers as they are."""
        return f"{self.live.picture.value}{self.live.numbers.value}"


def _told_in(box: Any, act: Callable[[], None]) -> Callable[[Any], None]:
    """The act of a button; what is refused is one box, and nothing is traced."""

    def pressed(_: Any) -> None:
        try:
            act()
            box.value = ""
        except InputError as error:
            box.value = page.box_html(error.sentence)

    return pressed


def panel(
    design: Design, *keys: str, picture: Picture = months,
    ranges: Mapping[str, tuple[float, float, float]] | None = None,
) -> None:  # fmt: skip
    """Show a panel: keys of the site file as controls, a picture and numbers that follow them.

    Parameters
    ----------
    design : Design
        The baseline: a ghost in the picture, a column beside the numbers. Of one roof plane: its
        keys are moved and its picture is drawn, the numbers are those of the whole site.
    *keys : str
        Of the site file, as faults name them: ``"array.tilt_deg"``, ``"loads.essential[2].count"``.
        A number becomes a slider with range and unit by the record, a choice a list, true or false
        a tick box.
    picture : callable
        Of `solarcalc.panels.pictures`, or any from the design tried and the baseline to SVG.
    ranges : mapping of key to (low, high, step), optional
        Where another range than the record's is wanted.

    Raises
    ------
    InputError
        For a key that the site file has not, or a range beyond its limits.
    """
    if stray := [name for name in ranges or {} if name not in keys]:
        raise InputError(Fault(where=f"range of {stray[0]}", given="no control of this panel",
                               allowed=", ".join(keys) or "a panel with keys"))
    settings = [_setting(design, key, (ranges or {}).get(key)) for key in keys]
    try:
        settings = [one if one.start is not None
                    else replace(one, taken=taken_by_design(design, key))
                    for key, one in zip(keys, settings, strict=True)]
        made = Panel(design, settings, picture)
    except InputError as error:  # of a design that cannot stand
        why = error.sentence
        page.publish_html(page.box_html(why), why)
        return
    _display(made.widget(), made.still())


def _setting(design: Design, key: str, given: tuple[float, float, float] | None) -> Setting:
    """The control of a key; beside the first roof plane, of that key in its row of [[planes]]."""
    in_row = design.number > 1 and key.partition(".")[0] in Plane.model_fields
    row = key_of(f"planes[{design.number - 1}].{key}" if in_row else key)
    if is_use(row.loc):
        return setting_of_use(design.numbered(0).sitefile, row.key, given)
    own = _within_design(design, setting_of_key(design.site, key, given))
    return replace(own, name=row.key, key=row) if in_row else own


def _within_design(design: Design, own: Setting) -> Setting:
    """A slider without the ends that the site would refuse at once, as it stands."""
    if own.name == "array.row_pitch_m":
        steps = math.ceil((design.array.rows.least_pitch_m - own.low) / own.step - 1e-9)
        low = round(own.low + max(steps, 0) * own.step, 9)
        return replace(own, low=low) if low < own.high else own
    if own.name == "battery.min_soc_frac":
        steps = math.floor((design.site.battery.nonessential_shed_frac - own.low) / own.step + 1e-9)
        high = round(own.low + steps * own.step, 9)
        return replace(own, high=min(high, own.high)) if high > own.low else own
    return own


def taken_by_design(design: Design, key: str) -> float | None:
    """What a design takes for a key that its site file leaves open, in the key's unit.

    None where it is not known.
    """
    if key == "array.row_pitch_m":
        return design.array.pitch_m
    if found := re.fullmatch(r"runs\.(\w+)\.ambient_c", key):
        return next((one.run.ambient_c for one in design.electrical.sized
                     if one.run.key == found[1]), None)
    return None


def explore(
    function: Callable[..., Any], /, *, rows: Callable[..., Mapping[str, str]] | None = None,
    shows: str = "", **ranges: object,
) -> None:  # fmt: skip
    """Show controls of a function's arguments, and what it draws, while they are moved.

    A setting that has no answer, or that the site file would refuse, shows a box that says why.

    Parameters
    ----------
    function : callable
        With one keyword argument for each range; gives an SVG text, or a matplotlib figure, which
        takes ten times as long.
    rows : callable, optional
        Of the same arguments: numbers to stand beside the picture, as printed, by their words.
    shows : str, optional
        What the picture shows, for readers who cannot see it.
    **ranges : tuple, list, mapping or bool
        ``(low, high, step)`` or ``(low, high, step, start)`` makes a slider, a list or a mapping
        of label to value a drop-down list, True or False a tick box.

    Raises
    ------
    InputError
        For a range of another form.
    """
    settings = [setting_of_range(name, given) for name, given in ranges.items()]
    live = Live(Drawn(function, rows, {one.name: one.start for one in settings}), settings)
    live.show_all()
    import ipywidgets as widgets

    picture = live.picture.value
    if shows:
        picture = f'<div role="img" aria-label="{html.escape(shows)}">{picture}</div>'
    _display(widgets.VBox([*live.controls.values(), widgets.HBox([live.picture, live.numbers])]),
             picture + live.numbers.value)


class Drawn:
    """What a panel of a plain function shows."""

    def __init__(self, function: Callable[..., Any],
                 rows: Callable[..., Mapping[str, str]] | None, starts: Values) -> None:
        self.picture = draws_of(function)
        self._rows, self._starts = rows, starts

    def steps(self, values: Values) -> Iterator[None]:
        """As `Shows`."""
        return iter(())

    def numbers(self, values: Values) -> str:
        """As `Shows`."""
        if self._rows is None:
            return ""
        return rows_html(self._rows(**values), self._rows(**self._starts))


def string_panel(design: Design) -> None:
    """Show what a string of the first roof plane should read in the light and heat of a test."""
    module, series = design.site.module, design.site.array.modules_in_series

    def rows(irradiance_w_per_m2: float, cell_c: float) -> dict[str, str]:
        at = Conditions(light_w_m2=irradiance_w_per_m2, cell_c=cell_c)
        return {"open-circuit voltage of a string":
                f"{voc_expected_v(module, at, in_series=series):.1f} V",
                "short-circuit current of a string": f"{isc_expected_a(module, at):.2f} A"}

    explore(partial(string_curve, module, series), rows=rows,
            irradiance_w_per_m2=(100.0, 1200.0, 10.0, STC.light_w_m2),
            cell_c=(-10.0, 80.0, 1.0, STC.cell_c))


def _display(widget: Any, still: str) -> None:
    """The widget, and before it what stands in its place where no kernel runs.

    The still picture is an output of its own, stored in the notebook; as long as the widget is
    alive, a style in it hides the picture.
    """
    import ipywidgets as widgets
    from IPython.display import display

    mark = f"sc-still-{uuid.uuid4().hex[:8]}"
    _short_errors()
    page.publish_html(f'<div class="{mark}">{still}<p>{html.escape(_ASLEEP)}</p></div>', _ASLEEP)
    hides = widgets.HTML(f"<style>.{mark} {{ display: none }}</style>")
    whole = widgets.VBox([hides, widget])
    display(whole)  # type: ignore[no-untyped-call]
    _close_former(whole)


_SHOWN: dict[str, tuple[int, list[Any]]] = {}
"""Panels on the page by their cell, with the number of the run that showed them."""


def _close_former(widget: Any) -> None:
    """Close what an earlier run of this cell showed: it is gone from the page.

    Otherwise it would be held, with its designs, until the kernel ends. Without the name of its
    cell, which not every program for notebooks tells, it is.
    """
    from IPython.core.interactiveshell import InteractiveShell

    if not InteractiveShell.initialized():
        return
    shell = InteractiveShell.instance()
    parent = shell.get_parent() if hasattr(shell, "get_parent") else {}
    if cell := parent.get("metadata", {}).get("cellId"):
        run, shown = _SHOWN.get(cell, (shell.execution_count, []))
        if run != shell.execution_count:
            for former in shown:
                _close(former)
            shown = []
        _SHOWN[cell] = shell.execution_count, [*shown, widget]


def _close(widget: Any) -> None:
    """Close it and all that it is made of."""
    for part in getattr(widget, "children", ()):
        _close(part)
    for name in ("style", "layout"):
        if hasattr(widget, name):
            getattr(widget, name).close()
    widget.close()


_ASLEEP = "The panel as it was when it was run: run the cell to move it."


def _short_errors() -> None:
    """From here on an error in a cell of this notebook is one line, and no traceback."""
    from IPython.core.interactiveshell import InteractiveShell

    if InteractiveShell.initialized():
        shell = InteractiveShell.instance()
        if hasattr(shell, "InteractiveTB"):
            shell.InteractiveTB.set_mode("Minimal")
