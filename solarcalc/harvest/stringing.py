"""Which modules share a string, and so what a strip of shade on one row does to the others."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from solarcalc.circuit import StringWiring, Strung, along_row, spread
from solarcalc.harvest.diode import cells_of
from solarcalc.roof import Rows
from solarcalc.sitefile.records import Array, Module


@dataclass(frozen=True, kw_only=True)
class StringClass:
    """Strings that stand alike.

    Parameters
    ----------
    share : float
        Of all modules [0 to 1].
    front_frac : float
        Share of their modules in the front row, which no other shades [0 to 1].
    strung : Strung or None
        How the strip of shade meets them; None where it never does.
    """

    share: float
    front_frac: float
    strung: Strung | None


@lru_cache(maxsize=64)
def string_classes(
    module: Module, array: Array, rows: Rows, row_count: int
) -> tuple[StringClass, ...]:
    """The strings of an array by how row-on-row shade meets them; shares add up to 1.

    Parameters
    ----------
    module : Module
    array : Array
        Its `modules_in_series` and `string_path` count.
    rows : Rows
        Their orientation and modules one above another count.
    row_count : int
        Rows of the array, the front one among them.

    Notes
    -----
    Along a row, and layer by layer, a string stands whole in the front row or whole behind.
    Across rows it takes its modules from row after row, as evenly as can be. Of n in series over
    r rows, ceil(n / r) lie in the front row in the n / (r ceil(n / r)) of the strings that touch
    it; the others have none there.
    """
    series = array.modules_in_series
    if array.string_path != "across-rows" or row_count == 1:
        front = StringClass(share=1.0 / row_count, front_frac=1.0, strung=None)
        if row_count == 1:
            return (front,)
        behind = _strung(module, rows, within_row(array, modules_up=rows.modules_up))
        return front, StringClass(share=1.0 - 1.0 / row_count, front_frac=0.0, strung=behind)
    in_front = -(-series // row_count)
    touching = series / (row_count * in_front)
    some = spread(series, modules_up=rows.modules_up, unshaded=in_front)
    classes = [
        StringClass(
            share=touching,
            front_frac=in_front / series,
            strung=_strung(module, rows, some) if in_front < series else None,
        )
    ]
    if touching < 1.0:
        none = spread(series, modules_up=rows.modules_up)
        classes.append(
            StringClass(share=1.0 - touching, front_frac=0.0, strung=_strung(module, rows, none))
        )
    return tuple(classes)


def within_row(array: Array, *, modules_up: int) -> tuple[StringWiring, ...]:
    """Strings that stay within one row: layer by layer where the site file says so."""
    series = array.modules_in_series
    if array.string_path == "layer-by-layer":
        return along_row(series, modules_up=modules_up, layer_by_layer=True)
    return spread(series, modules_up=modules_up)


def _strung(module: Module, rows: Rows, wiring: tuple[StringWiring, ...]) -> Strung:
    return Strung(cells=cells_of(module), wiring=wiring, orientation=rows.orientation)
