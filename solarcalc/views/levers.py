"""What decides a design: a few changes of it with price, supply, payback and failed checks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any

from solarcalc.basis.errors import InputError
from solarcalc.design import Changes, Design
from solarcalc.sitefile.variants import OWN
from solarcalc.stages.kept import of_design
from solarcalc.variants import Figures, change_of_plane, figures_of
from solarcalc.wiring.runs import of_plane

MOST_LEVERS = 3


@dataclass(frozen=True, kw_only=True)
class Lever(Figures):
    """The design, or one thing in it changed.

    Parameters
    ----------
    words : str
        What is changed.
    changes : mapping
        As `Design.changed` takes it.
    """

    words: str
    changes: Changes


@of_design
def levers_of(design: Design) -> tuple[Lever, ...]:
    """The design as it is, then at most three changes that can be built."""
    return (_lever(design, OWN, {}), *islice(_built(design), MOST_LEVERS))


def _built(design: Design) -> Iterator[Lever]:
    for words, changes in _candidates(design):
        try:
            yield _lever(design.changed(changes), words, changes)
        except InputError:  # that one cannot be built
            continue


def _candidates(design: Design) -> Iterator[tuple[str, Changes]]:
    """A smaller array; a step of the battery; grid or generator; then what else may do."""
    yield from _arrays(design)
    yield from _batteries(design)
    yield from _sources(design)
    if not design.year_energy.essential_h and design.site.battery.units_in_parallel > 1:
        yield from _batteries(design, more=True)


def _arrays(design: Design) -> Iterator[tuple[str, Changes]]:
    """About a third of the strings less."""
    for number, one in enumerate(design.planes):
        array = one.site.array
        strings, series = array.string_count, array.modules_in_series
        less = max(round(strings / 3.0), 1)
        if strings > less:
            count = (strings - less) * series
            words = of_plane(f"{count} modules, not {array.module_count}", one.site)
            yield words, change_of_plane(design, number, {"array": {"module_count": count}})
            return


def _batteries(design: Design, *, more: bool = False) -> Iterator[tuple[str, Changes]]:
    """A battery string more where the essential board has hours without supply, else one less."""
    parallel = design.site.battery.units_in_parallel
    more = more or bool(design.year_energy.essential_h) or parallel == 1
    count = parallel + (1 if more else -1)
    word = f"{count} battery string{'s' * (count != 1)}, not {parallel}"
    yield word, {"battery": {"units_in_parallel": count}}


def _sources(design: Design) -> Iterator[tuple[str, Changes]]:
    """Without the generator, else without the grid, else with a generator."""
    site = design.site
    if site.generator.there:
        yield "no generator", {"generator": {"power_w": 0.0}}
    if site.grid.there:
        yield "no grid", {"grid": {"kind": "none"}}
    if not site.generator.there:
        power_w = site.inverter_of("essential").total_power_w
        changes: dict[str, Any] = {"generator": {"power_w": power_w}}
        if site.protection.changeover == "none":
            changes["protection"] = {"changeover": "manual"}
        yield f"with a generator of {power_w / 1000.0:.3g} kW", changes


def _lever(design: Design, words: str, changes: Changes) -> Lever:
    return Lever(words=words, changes=changes, **vars(figures_of(design)))
