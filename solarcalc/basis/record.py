"""The same record with other values, soon: for what is made thousands of times in a design."""

from __future__ import annotations

from typing import Any, TypeVar

T = TypeVar("T")


def but(one: T, **differs: Any) -> T:
    """A frozen record as it is but for these values: `dataclasses.replace`, several times as soon.

    Of records that work nothing out when they are made and keep nothing that they worked out
    since: what stands in one stands in the other.

    Raises
    ------
    TypeError
        For a name that the record has not.

    Examples
    --------
    >>> from solarcalc.powerroom.boxes import Box
    >>> box = Box(name="", kind="fuse", along_m=1, out_m=0, length_m=0.2, depth_m=0.1, height_m=0.2)
    >>> but(box, along_m=2).along_m, box.along_m
    (2, 1)
    """
    values = vars(one)
    if not differs.keys() <= values.keys():
        raise TypeError(f"{type(one).__name__} has no {sorted(differs.keys() - values.keys())}")
    made = object.__new__(type(one))
    vars(made).update(values, **differs)
    return made
