"""What moves a panel: a picture drawn at once, numbers soon after, the latest move first.

In a kernel a move only notes that something is wanted; the work is done between messages, so that
a drag does not queue: however many moves came in meanwhile, the next picture is of the latest.
Numbers are worked out in steps, and given up as soon as there is another move. Without a running
loop (a script, a test) all of it is done at once.
"""

from __future__ import annotations

import asyncio
import html
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Protocol

from solarcalc import page
from solarcalc.basis.errors import InputError
from solarcalc.panels.controls import Setting, same_place, widget_of

_BREATH_S = 0.001
"""Time in which moves that came in meanwhile are taken up [s]."""
_PICTURES_KEPT = 120

Values = Mapping[str, Any]
"""Of the controls, by name."""


class Shows(Protocol):
    """What a panel shows of the values of its controls."""

    def picture(self, values: Values) -> str:
        """The picture as SVG; raises InputError where there is none.

        `values` are those of the controls, each in its own unit.
        """
        ...

    def steps(self, values: Values) -> Iterator[None]:
        """The work of the numbers, step by step.

        `values` are those of the controls, each in its own unit.
        """
        ...

    def numbers(self, values: Values) -> str:
        """The numbers as HTML, once the steps are done.

        `values` are those of the controls, each in its own unit.
        """
        ...


class Live:
    """Controls, picture and numbers.

    Parameters
    ----------
    shows : Shows
    settings : sequence of Setting
    """

    def __init__(self, shows: Shows, settings: Sequence[Setting]) -> None:
        import ipywidgets as widgets

        self._shows = shows
        self.controls: dict[str, Any] = {one.name: widget_of(one) for one in settings}
        self._starts = {one.name: one.start for one in settings}
        self._rest = self._places()
        self.picture = widgets.HTML(layout=widgets.Layout(
            width="560px", max_width="98%", overflow="auto hidden"))  # moved sideways on a phone
        self.numbers = widgets.HTML(layout=widgets.Layout(min_width="20em"))
        self._drawn: dict[tuple[Any, ...], str] = {}
        self._wanted = self._done = 0
        self._is_held = False
        self._task: asyncio.Task[None] | None = None
        for control in self.controls.values():
            control.observe(self._moved, "value")

    def _places(self) -> dict[str, Any]:
        return {name: control.value for name, control in self.controls.items()}

    def values(self) -> dict[str, Any]:
        """What the controls say; one that was not moved says what it began with."""
        moved = self.moved()
        return {name: moved.get(name, start) for name, start in self._starts.items()}

    def moved(self) -> dict[str, Any]:
        """The controls that stand elsewhere than they began."""
        return {name: place for name, place in self._places().items()
                if not same_place(place, self._rest[name])}  # fmt: skip

    def rest(self) -> None:
        """All controls back to where they began."""
        for name, control in self.controls.items():
            control.value = self._rest[name]

    @contextmanager
    def held(self) -> Iterator[None]:
        """Controls may be set while it lasts and nothing follows: for a measurement."""
        self._is_held = True
        try:
            yield
        finally:
            self._is_held = False

    def draw(self) -> None:
        """The picture of the values as they are, at once."""
        self._draw(self.values())

    def show_all(self) -> None:
        """Picture and numbers of the values as they are, at once."""
        values = self.values()
        self._draw(values)
        for _ in self._number_steps(values):
            pass
        self._done = self._wanted

    def _moved(self, _: Any) -> None:
        if self._is_held:
            return
        self._wanted += 1
        loop = _running_loop()
        if loop is None:
            self.show_all()
        elif self._task is None or self._task.done():
            self._task = loop.create_task(self._follow())

    async def _follow(self) -> None:
        while self._done != self._wanted:
            await asyncio.sleep(_BREATH_S)
            number, values = self._wanted, self.values()
            self._draw(values)
            await asyncio.sleep(_BREATH_S)
            for _ in self._number_steps(values):
                await asyncio.sleep(_BREATH_S)
                if number != self._wanted:
                    break
            else:
                self._done = number

    def _draw(self, values: Values) -> None:
        key = tuple(values.values())
        drawn = self._drawn.pop(key, None)
        if drawn is None:
            try:
                drawn = self._shows.picture(values)
            except InputError as error:
                drawn = page.box_html(error.sentence)
        self._drawn[key] = drawn  # the latest last
        while len(self._drawn) > _PICTURES_KEPT:
            del self._drawn[next(iter(self._drawn))]
        self.picture.value = drawn

    def _number_steps(self, values: Values) -> Iterator[None]:
        """Work them out and show them at the end, or why there are none."""
        try:
            yield from self._shows.steps(values)
            shown = self._shows.numbers(values)
        except InputError as error:
            shown = page.box_html(error.sentence)
        self.numbers.value = f"{shown}<!-- {self._wanted} -->"  # another, though they are the same


def _running_loop() -> asyncio.AbstractEventLoop | None:
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None


APART = "line-height:1.5;border-collapse:separate;border-spacing:10px 0"
"""Columns of a table in a widget, which has none of the notebook's own look."""


def rows_html(rows: Mapping[str, str], before: Mapping[str, str]) -> str:
    """Numbers beside those of the baseline; what differs stands out."""
    lines = []
    for words, value in rows.items():
        own = before.get(words, "")
        mark = "<strong>{}</strong>" if value != own else "{}"
        lines.append(f'<tr><th scope="row" style="text-align:left">{html.escape(words)}</th>'
                     f'<td style="text-align:right">{mark.format(html.escape(value))}</td>'
                     f'<td style="text-align:right">{html.escape(own)}</td></tr>')
    heads = "".join(f'<th scope="col">{head}</th>' for head in ("number", "tried", "baseline"))
    look = f"font-size:12px;{APART}"
    return (f'<table class="sc-table" style="{look}"><thead><tr>{heads}</tr></thead>'
            f'<tbody>{"".join(lines)}</tbody></table>')


def draws_of(function: Callable[..., Any]) -> Callable[[Values], str]:
    """A function of the controls as one that gives a picture: an SVG or HTML text, or a figure.

    It takes the values of the controls, each in its own unit.
    """

    def picture(values: Values) -> str:
        drawn = function(**values)
        if drawn is None or isinstance(drawn, str):
            return drawn or ""
        from solarcalc.figures.style import svg_of

        return svg_of(drawn)

    return picture
