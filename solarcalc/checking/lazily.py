"""Quick imports: what is loaded only when it is asked for, and no collector meanwhile.

pvlib imports all of itself, with readers of web services and a model chain, and numba looks for
libraries that none of our loops uses. A check of one site takes longer over that than over the
site.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from importlib.util import LazyLoader
from types import ModuleType

LAZY = ("h5py", "requests")
LAZY_WITHIN = ("pvlib.",)
"""Libraries, and the insides of libraries, that load at first use."""
UNUSED = ("cffi", "coverage", "yaml")
"""Libraries that numba uses where it finds them, for what we do not do: types of C declarations,
lines run in compiled loops, a settings file."""


class _Lazily(MetaPathFinder):
    def find_spec(
        self, name: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name not in LAZY and not name.startswith(LAZY_WITHIN):
            return None
        spec = PathFinder.find_spec(name, path, target)
        if spec is not None and spec.loader is not None:
            spec.loader = LazyLoader(spec.loader)
        return spec


@contextmanager
def quick_imports() -> Iterator[None]:
    """While it lasts, `LAZY` libraries wait for their first use and nothing is collected.

    What is loaded already stays as it is. The collector would walk all that is being imported
    time and again, and finds nothing there.
    """
    finder, collecting = _Lazily(), gc.isenabled()
    sys.meta_path.insert(0, finder)
    gc.disable()
    try:
        _import_numba()
        yield
    finally:
        sys.meta_path.remove(finder)
        if collecting:
            gc.enable()


def _import_numba() -> None:
    """Import numba as if `UNUSED` were not installed; others can import them afterwards."""
    hidden = [name for name in UNUSED if name not in sys.modules]
    sys.modules.update(dict.fromkeys(hidden))  # type: ignore[arg-type]  # None: not to be found
    try:
        from solarcalc.supply import kernels  # noqa: F401
    finally:
        for name in hidden:
            del sys.modules[name]
