"""Pictures. Each ``draw_...`` returns a figure; the title says what is found; it reads in grey.

They are imported when one is first asked for by its name here: the page of charts over all sites
needs two modules alone, and the libraries of the others take a second.
"""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from solarcalc.figures.every import *  # noqa: F403


def __getattr__(name: str) -> Any:
    every = importlib.import_module("solarcalc.figures.every")
    if name not in every.__all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(every, name)
