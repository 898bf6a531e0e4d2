"""Quick imports: what is loaded only when it is asked for, and no collector meanwhile.

pvlib imports all of itself, with readers of web services and a model chain; scipy and numba look
for libraries that none of our loops uses. A check of one site takes longer over that than over the
site, and a notebook's kernel takes a third of its memory for it.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from importlib import import_module
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from types import ModuleType
from typing import Any

LAZY = ("h5py", "requests", "numpy.f2py", "scipy.spatial")
LAZY_WITHIN = ("pvlib.",)
"""Libraries, and the insides of libraries, that load at first use."""
UNUSED = {"pandas": ("pyarrow",), "numba": ("cffi", "coverage", "yaml")}
"""Libraries that these use where they find them, for what we do not do: large tables of texts;
types of C declarations, lines run in compiled loops, a settings file."""
_LOOKED_FOR = {"numba": "numba.core.typing.cffi_utils"}
"""Where one looks for such a library later, at its first loop."""


class _Waiting(ModuleType):
    """A module that is run when a name of it is asked for.

    The library's own (`importlib.util.LazyLoader`) is run by a second import of it already.
    """

    def __getattr__(self, name: str) -> Any:
        self.run()
        return getattr(self, name)

    def run(self) -> None:
        """What its import put off."""
        spec, self.__class__ = self.__spec__, ModuleType  # type: ignore[assignment]
        if spec is not None and isinstance(spec.loader, _Later):
            self.__loader__ = spec.loader = spec.loader.loader
            self.__loader__.exec_module(self)


class _Later(Loader):
    def __init__(self, loader: SourceFileLoader) -> None:
        self.loader = loader

    def create_module(self, spec: ModuleSpec) -> None:
        """A plain one."""

    def exec_module(self, module: ModuleType) -> None:
        """Nothing yet."""
        module.__class__ = _Waiting


class _Without(Loader):
    """Imports a library as if some others were not installed; they can be imported afterwards."""

    def __init__(self, loader: SourceFileLoader, unused: Sequence[str]) -> None:
        self.loader, self.unused = loader, unused

    def create_module(self, spec: ModuleSpec) -> None:
        """A plain one."""

    def exec_module(self, module: ModuleType) -> None:
        hidden = [name for name in self.unused if name not in sys.modules]
        sys.modules.update(dict.fromkeys(hidden))  # type: ignore[arg-type]  # None: not found
        if module.__spec__ is not None:
            module.__loader__ = module.__spec__.loader = self.loader
        try:
            self.loader.exec_module(module)
            if looked_for := _LOOKED_FOR.get(module.__name__):
                import_module(looked_for)
        finally:
            for name in hidden:
                del sys.modules[name]


class _Lazily(MetaPathFinder):
    def find_spec(
        self, name: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name in UNUSED:
            return self._without(name, path, target)
        if name not in LAZY and not name.startswith(LAZY_WITHIN):
            if isinstance(above := sys.modules.get(name.rpartition(".")[0]), _Waiting):
                above.run()  # a part of a library that counts on the whole
            return None
        spec = PathFinder.find_spec(name, path, target)
        if spec is not None and isinstance(spec.loader, SourceFileLoader):
            spec.loader = _Later(spec.loader)
        return spec

    @staticmethod
    def _without(name: str, path: Sequence[str] | None, target: ModuleType | None
                 ) -> ModuleSpec | None:  # fmt: skip
        spec = PathFinder.find_spec(name, path, target)
        if spec is not None and isinstance(spec.loader, SourceFileLoader):
            spec.loader = _Without(spec.loader, UNUSED[name])
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
        import_module("numba")
        yield
    finally:
        sys.meta_path.remove(finder)
        if collecting:
            gc.enable()


def load_lazily() -> None:
    """Let `LAZY` libraries wait for their first use from now on."""
    sys.meta_path.insert(0, _Lazily())


def run_waiting(names: Iterable[str]) -> None:
    """Load what still waits for its first use: for processes that others are forked from."""
    for name in names:
        if isinstance(module := sys.modules.get(name), _Waiting):
            module.run()
