"""Machine code of the compiled loops, kept on the disk and found out where it is damaged.

numba trusts the files it keeps: one that was cut short raises wherever a loop is first called, and
one with a wrong byte may end the process. Here each has a checksum over its content, its name, the
source and numba's version; what does not fit is as good as none, is compiled anew and written over.
"""

from __future__ import annotations

import os
import pickle
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from numba.core.caching import FunctionCache, IndexDataCacheFile

from solarcalc.basis.sealed import sealed, unsealed

_DAY_S = 86_400.0


class _CheckedFile(IndexDataCacheFile):
    """Index and data of one function, each with a checksum."""

    def _load_index(self) -> dict[Any, str]:
        try:
            content = Path(self._index_path).read_bytes()
            found: dict[Any, str] = pickle.loads(unsealed(content, self._named(self._index_name)))
        except Exception:  # whatever a damaged one does: it is made again
            return {}
        return found

    def _save_index(self, overloads: dict[Any, str]) -> None:
        self._write(self._index_name, self._dump(overloads))

    def _load_data(self, name: str) -> Any:
        try:
            return pickle.loads(unsealed(Path(self._data_path(name)).read_bytes(),
                                         self._named(name)))  # fmt: skip
        except Exception as error:
            raise OSError(f"{name}: damaged") from error  # which counts as not there

    def _save_data(self, name: str, data: Any) -> None:
        self._write(name, self._dump(data))
        _clear_parts(Path(self._cache_path))

    def _write(self, name: str, raw: bytes) -> None:
        with self._open_for_write(os.path.join(self._cache_path, name)) as file:
            file.write(sealed(raw, self._named(name)))

    def _named(self, name: str) -> str:
        return f"{name} {self._source_stamp} {self._version}"


class CheckedCode(FunctionCache):
    """Kept machine code of one function.

    Parameters
    ----------
    function : callable
        As it was before it was compiled.

    Raises
    ------
    RuntimeError
        When no folder can be written to.
    """

    def __init__(self, function: Callable[..., object]) -> None:
        super().__init__(function)
        self._cache_file = _CheckedFile(
            cache_path=self._cache_path, filename_base=f"{self._impl.filename_base}.checked",
            source_stamp=self._impl.locator.get_source_stamp())  # fmt: skip

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """The kept code, or None where there is none that can be used."""
        try:
            return super().load_overload(sig, target_context)
        except Exception:  # of another build, or damaged in a way that the checksum cannot see
            return None

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep the code; a full disk or a closed folder does no harm."""
        with suppress(OSError):
            super().save_overload(sig, data)


def _clear_parts(folder: Path) -> None:
    """Remove what a process that was killed while it wrote has left."""
    for part in folder.glob("*.nb?.tmp.*"):
        with suppress(OSError):
            if time.time() - part.stat().st_mtime > _DAY_S:
                part.unlink()
