"""The files that a site file names for after the work, where they are not there."""

from __future__ import annotations

from pathlib import Path

from solarcalc.basis.check import Check
from solarcalc.basis.worded import worded
from solarcalc.siteyear import SiteYear


def file_checks(own: SiteYear) -> list[Check]:
    """One failed check for each file of results or of a logger that is named and not there.

    The design needs none of them, so that it is still worked out; a report reads them.
    """
    site, folder = own.site, own.sitefile.folder
    named = {"commissioning.results": site.commissioning.results, "logger.file": site.logger.file,
             "handover.serials": site.handover.serials}  # fmt: skip
    return [
        Check(outcome="failed", **worded(
            "stages", "no-file", key=key, name=name,
            how="is a folder" if (folder / name).is_dir() else "does not exist"))
        for key, name in named.items() if name and not there(folder / name)
    ]  # fmt: skip


def there(path: Path) -> bool:
    """Whether a path is a file that can be seen."""
    try:
        return path.is_file()
    except OSError:
        return False
