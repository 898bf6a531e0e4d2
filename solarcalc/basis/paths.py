"""Where the workbooks and the demo data are, in a checkout and in an installed wheel."""

from __future__ import annotations

import os
import sys
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent.parent


def bundled(name: str) -> Path:
    """Folder `name` (``"workbooks"`` or ``"data"``) that came with this installation."""
    inside = _PACKAGE / "_bundled" / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def workbooks_folder() -> Path:
    """Folder of the workbooks."""
    return bundled("workbooks")


def data_folder() -> Path:
    """Folder of the demo sites, equipment lists and weather."""
    return bundled("data")


def user_cache(name: str) -> Path:
    """Folder `name` for what may be lost and made again, where each system keeps such things."""
    home = Path.home()
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = home / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or home / ".cache")
    return base / "solarcalc" / name


def demo_sites() -> dict[str, Path]:
    """Demo site files by their stem, in alphabetical order."""
    return {path.stem: path for path in sorted((data_folder() / "sites").glob("*.toml"))}
