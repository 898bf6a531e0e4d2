"""The survey as one page for a phone, which works without network and sends nothing by itself."""

from __future__ import annotations

import json
from collections.abc import Mapping
from itertools import groupby
from typing import Any

from markupsafe import Markup

from solarcalc.basis.files import data_folder
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.survey_fields import Field, Value, fields
from solarcalc.sitefile.survey_lines import LOAD_DEFAULTS, PATTERNS
from solarcalc.survey.layout import parts_of
from solarcalc.survey.lines import cells_of_line
from solarcalc.survey.workbook import help_words

_SPAN = r"\d{1,2}(:[0-5]\d)?\s*-\s*\d{1,2}(:[0-5]\d)?"
_HOURS = rf"^{_SPAN}(\s*\+\s*{_SPAN})*$"
"""Spans of the clock as a phone holds them; they are read at the office."""
_ONE = {"loads": "Appliance", "obstacles": "Obstacle"}


def phone_html(start: Mapping[str, Value]) -> str:
    """The page, with what is known of one site filled in.

    Parameters
    ----------
    start : mapping
        Answers by key; none for a blank page.
    """
    template = (data_folder() / "templates" / "survey_phone.html").read_text(encoding="utf-8")
    form = Markup("").join(
        _group(name, list(members)) for name, members in groupby(fields(), key=lambda f: f.group)
    )
    return (template.replace("@FORM@", str(form), 1)
            .replace("@FIELDS@", _json([_spec(one) for one in fields()]), 1)
            .replace("@START@", _json(started(start)), 1))  # fmt: skip


def started(values: Mapping[str, Value]) -> dict[str, Any]:
    """Answers as the page keeps them: texts, and lists of the parts of each line."""
    found: dict[str, Any] = {}
    for one in fields():
        value = values.get(one.key)
        if isinstance(value, tuple):
            found[one.key] = [[_word(cell) for cell in cells_of_line(one, line)] for line in value]
        elif value is not None:
            found[one.key] = _word(value)
    return found


def _word(value: object) -> str:
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def _json(value: object) -> str:
    """JSON that can stand in a script: nothing in it ends one."""
    return json.dumps(value, ensure_ascii=False).replace("<", "\\u003c").replace(
        "\u2028", "\\u2028").replace("\u2029", "\\u2029")  # fmt: skip


def _spec(one: Field) -> dict[str, Any]:
    found: dict[str, Any] = {"key": one.key, "kind": one.kind, "unit": one.unit}
    if one.kind == "number":
        found |= {"low": one.low, "high": one.high}
    if one.kind in PATTERNS:
        found |= {"pattern": PATTERNS[one.kind], "allowed": one.allowed}
    if one.is_list:
        found |= {"one": _ONE[one.key], "parts": [_part(one, place) for place in
                                                  range(len(parts_of(one).names))]}  # fmt: skip
    return found


def _part(one: Field, place: int) -> dict[str, Any]:
    parts = parts_of(one)
    found: dict[str, Any] = {"label": parts.heads[place]}
    if place in parts.numbers:
        low, high = parts.numbers[place]
        found |= {"low": low, "high": high, "unit": "" if one.kind == "loads" else "m"}
    if one.kind == "loads":
        found["default"] = LOAD_DEFAULTS[place]
        more: dict[str, dict[str, Any]] = {
            "what": {"label": "Appliance", "choices": one.choices, "own": True},
            "hours": {"label": "Hours, such as 18-23", "pattern": _HOURS, "allowed": "18-23"},
            "board": {"choices": BOARDS},
        }
        found |= more.get(parts.names[place], {})
    return found


def _group(name: str, members: list[Field]) -> Markup:
    first = [one for one in members if one.first]
    more = [one for one in members if not one.first]
    inside = Markup("").join(map(_field, first))
    if name == "Place":
        inside += Markup(
            '<button type="button" id="here">Take the position from this phone</button>'
            '<p class="told" id="here-told" role="status"></p>'
        )
    if name == "Roof":
        inside += Markup('<div id="sketch"></div>')
    if more and first:
        inside += Markup("<details><summary>More: {}</summary>{}</details>").format(
            name.lower(), Markup("").join(map(_field, more)))  # fmt: skip
    else:
        inside += Markup("").join(map(_field, more))
    return Markup("<h2>{}</h2>\n{}\n").format(name, inside)


def _field(one: Field) -> Markup:
    hint = Markup('<p class="hint" id="{}-hint">{}</p>').format(one.key, help_words(one))
    if one.is_list:
        return Markup(
            '<h3>{}</h3>{}<div id="{}-rows"></div>'
            '<button type="button" id="{}-add">Add: {}</button>'
        ).format(one.label, _list_hint(one), one.key, one.key, _ONE[one.key].lower())
    wrong = Markup('<p class="wrong" id="{}-wrong"></p>').format(one.key)
    label = Markup('<label for="{}">{}</label>').format(one.key, one.titled)
    return label + hint + _input(one) + wrong + Markup("\n")


def _list_hint(one: Field) -> Markup:
    words = {"loads": "Essential ones are supplied to the last. Ask for times of day.",
             "obstacles": "Along from the left end of the eaves, up from the eaves, to the nearest"
                          " corner of each."}[one.key]  # fmt: skip
    return Markup('<p class="hint">{}</p>').format(words)


def _input(one: Field) -> Markup:
    shared = Markup('id="{}" name="{}" data-key aria-describedby="{}-hint {}-wrong"').format(
        one.key, one.key, one.key, one.key)  # fmt: skip
    if one.kind == "choice":
        options = Markup("").join(
            Markup("<option>{}</option>").format(choice) for choice in ("", *one.choices))
        return Markup("<select {}>{}</select>").format(shared, options)
    signed = one.kind != "number" or (one.low or 0.0) < 0.0
    mode = Markup("") if signed else Markup(' inputmode="decimal"')
    longest = int(one.high or 200) if one.kind == "text" else 200
    return Markup('<input type="text" {}{} maxlength="{}">').format(shared, mode, longest)
