"""Controls of panels: sliders, lists, tick boxes; of keys of the site file, or of ranges given."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from solarcalc import page
from solarcalc.basis.errors import Fault, InputError
from solarcalc.panels.charts import round_step
from solarcalc.sitefile.equipment import known_equipment, list_of
from solarcalc.sitefile.guessed import guesses
from solarcalc.sitefile.keys import Key, key_of, value_at, words_and_range
from solarcalc.sitefile.read import SiteFile
from solarcalc.sitefile.site import Site

_STEPS = 100
"""About so many steps from one end of a slider to the other."""
_WHOLE_RANGE = 100.0
"""Limits so far apart are shown whole; farther apart, a slider has what lies near the value."""
_UNRANGED = {"choice": "a choice of", "tick": "true or false", "text": "a text"}
"""Kinds of key that no slider sets, in words."""


@dataclass(frozen=True, kw_only=True)
class Setting:
    """A control as it is to be made.

    Parameters
    ----------
    name : str
        What it sets: a key of the site file, or an argument of a function.
    label, unit : str
    start : number, text, bool or None
        None: the site file leaves it to the design.
    taken : number or None
        What the design takes where `start` is None, and the handle rests there; None: not known.
    low, high, step : float
        Of a slider.
    options : sequence of (label, value)
        Of a list.
    whole : bool
        Whether a slider has whole numbers alone.
    key : Key or None
    """

    name: str
    label: str
    unit: str
    start: Any
    taken: float | None = None
    low: float = 0.0
    high: float = 0.0
    step: float = 0.0
    options: Sequence[tuple[str, Any]] = ()
    whole: bool = False
    key: Key | None = None

    @property
    def words(self) -> str:
        """Label with its unit."""
        return f"{self.label} [{self.unit}]" if self.unit else self.label

    @property
    def slides(self) -> bool:
        """Whether it is a slider."""
        return self.step > 0.0

    @property
    def rests(self) -> float:
        """Where the handle of a slider rests, on a step within its range, in the unit."""
        if self.start is not None:
            return float(min(max(self.start, self.low), self.high))
        if self.taken is None:
            return self.low
        steps = round((self.taken - self.low) / self.step)
        return min(max(round(self.low + steps * self.step, 9), self.low), self.high)


def setting_of_key(site: Site, name: str, given: Sequence[float] | None = None) -> Setting:
    """The control of a key of the site file, its range from the record or as it is given.

    Parameters
    ----------
    site : Site
    name : str
        ``"array.tilt_deg"``; rows of a list from 1, ``"loads.essential[1].count"``.
    given : (low, high, step), optional
        Within the limits of the record.

    Raises
    ------
    InputError
        For a key the site file has not, a row there is not, a range beyond the limits, or one of
        a choice, of true or false or of a text.
    """
    key = key_of(name)
    own = value_at(site, key)
    common: dict[str, Any] = {"name": name, "label": key.label, "unit": key.unit, "key": key}
    if given is not None and key.kind in _UNRANGED:
        raise _no_range(key, given)
    if key.kind == "choice":
        options: list[tuple[str, Any]] = [(one.replace("-", " "), one) for one in key.options]
        options = [("as designed", None), *options] if own is None else options
        return Setting(start=own, options=options, **common)
    if key.kind in ("tick", "text"):
        return Setting(start=bool(own) if key.kind == "tick" else str(own or ""), **common)
    if given is not None and not (len(given) == 3 and all(map(page.is_number, given))):
        raise InputError(Fault(where=f"range of {name}", given=repr(given),
                               allowed="(low, high, step)"))
    low, high, step = _range(key, own) if given is None else map(float, given)
    if given is None and name == "array.module_count":  # strings are whole
        step = low = float(site.array.modules_in_series)
        high = step * max(math.floor(high / step), 2.0)
    if not key.low <= low < high <= key.high or step <= 0.0:
        raise InputError(Fault(where=f"range of {name}",
                               given=f"{low:g} to {high:g}, step {step:g}",
                               allowed=f"low below high, within {key.low:g} to {key.high:g},"
                                       " in steps above 0"))
    return Setting(start=own, low=low, high=high, step=step, whole=key.kind == "whole", **common)


def setting_of_use(
    sitefile: SiteFile, name: str, given: Sequence[float] | None = None
) -> Setting:
    """The list of what ``"battery.use"`` and its like may name: entries of the equipment lists.

    Parameters
    ----------
    sitefile : SiteFile
    name : str
        ``use`` of a table that takes an entry of a list.
    given : (low, high, step), optional
        Refused: it is a choice.

    Raises
    ------
    InputError
        For a range, or a list of the user's own that can no longer be read.
    """
    key = key_of(name)
    entries = known_equipment(sitefile.written, sitefile.path)[list_of(key.loc[:-1])]
    key = replace(key, options=tuple(entries))
    if given is not None:
        raise _no_range(key, given)
    own = sitefile.equipment_keys.get(name.removesuffix(".use"))
    options = [*([("as designed", None)] if own is None else []), *((one, one) for one in entries)]
    return Setting(name=name, label=key.label, unit="", key=key, start=own, options=options)


def _no_range(key: Key, given: object) -> InputError:
    is_ = " ".join(filter(None, (_UNRANGED[key.kind], ", ".join(key.options))))
    return InputError(Fault(where=f"range of {key.key}", given=repr(given),
                            allowed=f"no range: {key.key} is {is_}",
                            remedy="take it out of ranges="))


def _range(key: Key, own: float | None) -> tuple[float, float, float]:
    """From where to where a slider goes, and its step: round numbers within the limits.

    The whole range of the record where it is short, of an angle or of a share; else what is usual
    for a guess, or what lies near the site's own value.
    """
    low, high = key.low, key.high
    known = next((one for one in guesses() if one.key == key.key and one.low is not None), None)
    near = own if own is not None else 0.0
    if known is not None and (own is not None or known.how == "value"):
        low, high = known.bounds(near)
    elif own is None and not key.low < 10.0 < key.high:
        pass
    elif not (key.unit in ("°", "0 to 1") or high - low <= _WHOLE_RANGE) or (
            key.kind == "whole" and high - low > _STEPS / 4.0):
        low, high = (min(near * 3.0, 0.0), max(near * 3.0, min(10.0, high)))
    if own is not None:
        low, high = min(low, own), max(high, own)
    low, high = max(low, key.low), min(high, key.high)
    step = max(round_step((high - low) / _STEPS), 1.0) if key.kind == "whole" else round_step(
        (high - low) / _STEPS)
    least = math.floor(low / step + 1e-9) * step
    most = math.ceil(high / step - 1e-9) * step
    if least < key.low or (key.above and least <= key.low):
        least = key.low + (step if key.above else 0.0)
    if most > key.high or (key.below and most >= key.high):
        most = key.high - (step if key.below else 0.0)
    return round(least, 9), round(max(most, least + step), 9), step


def setting_of_range(name: str, given: object) -> Setting:
    """The control of one range: ``(low, high, step)``, a list, a mapping, True or False.

    Parameters
    ----------
    name : str
        With its unit last: ``"cell_c"``.
    given : tuple, list, mapping or bool
        ``(low, high, step)`` or ``(low, high, step, start)`` makes a slider, a list or a mapping
        of label to value a drop-down list, True or False a tick box.

    Raises
    ------
    InputError
        For a range of another form.
    """
    words, unit = words_and_range(name)
    common: dict[str, Any] = {"name": name, "label": words, "unit": unit}
    if isinstance(given, bool):
        return Setting(start=given, **common)
    if isinstance(given, tuple) and len(given) in (3, 4) and all(map(page.is_number, given)):
        low, high, step = given[:3]
        whole = all(isinstance(number, int) for number in given)
        return Setting(start=given[3] if len(given) == 4 else low, low=low, high=high, step=step,
                       whole=whole, **common)
    if isinstance(given, dict) and given:
        options = list(given.items())
    elif isinstance(given, list) and given:
        options = [(str(one), one) for one in given]
    else:
        raise InputError(page.fault(
            f"explore: {name}", repr(given), "(low, high, step), (low, high, step, start), a list,"
            " a mapping, True or False"))
    return Setting(start=options[0][1], options=options, **common)


def widget_of(setting: Setting) -> Any:
    """The slider, list or tick box, with its label and unit; it follows while it is dragged.

    A slider of what the site file leaves to the design says so until it is moved; a value that is
    not known is not shown.
    """
    import ipywidgets as widgets

    common: dict[str, Any] = {
        "description": setting.words, "style": {"description_width": "min(24em, 95%)"},
        "layout": widgets.Layout(width="48em", max_width="98%", height="auto",
                                 flex_flow="row wrap"),  # label above handle on a phone
    }  # fmt: skip
    if setting.options:
        return widgets.Dropdown(options=list(setting.options), value=setting.start, **common)
    if isinstance(setting.start, bool):
        return widgets.Checkbox(value=setting.start, **common)
    if isinstance(setting.start, str):
        return widgets.Text(value=setting.start, continuous_update=False, **common)
    common |= {"min": setting.low, "max": setting.high, "step": setting.step,
               "value": setting.rests, "continuous_update": True}  # fmt: skip
    if setting.whole:
        common |= {name: int(common[name]) for name in ("min", "max", "step", "value")}
        slider = widgets.IntSlider(**common)
    else:
        digits = max(0, -int(Decimal(f"{setting.step:g}").normalize().as_tuple().exponent))
        slider = widgets.FloatSlider(readout_format=f".{digits}f", **common)
    if setting.start is None:
        _say_as_designed(slider, setting)
        slider.observe(lambda _: _say_as_designed(slider, setting), "value")
    return slider


def same_place(one: Any, other: Any) -> bool:
    """Whether a control stands at the same value; a browser rounds numbers its own way."""
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-9)
    return bool(one == other)


def _say_as_designed(slider: Any, setting: Setting) -> None:
    """Whether a slider stands where it says nothing of its own."""
    rests = same_place(slider.value, setting.rests)
    slider.description = f"{setting.words}{', as designed' * rests}"
    slider.readout = not rests or setting.taken is not None
