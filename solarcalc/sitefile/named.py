"""Sites by what asks for them: the path of a file or the name of a demo site, and a variant."""

from __future__ import annotations

import os
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.text import nearest
from solarcalc.sitefile.read import SiteFile, alone, read_site


def site_path(site_file: str) -> Path:
    """Path of a site file, or of the demo site of that name; reading tells a path that is none.

    A name is looked for in ``../data/sites`` first, so that workbooks copied out together with
    the demo sites use the copies, which can be changed; then among those of the installation.

    Raises
    ------
    InputError
        For a name that is neither, or a file that lies in a folder above.
    """
    found = _found(site_file)
    if found is not None:
        return found
    if above := _above(site_file):
        raise InputError(Fault(
            where="site_file", given=f"{site_file}, which is not in {Path.cwd()}",
            allowed="a path from the folder that the program or workbook runs in, or a whole path",
            remedy=f"did you mean {above}?"))  # fmt: skip
    if site_file.endswith(".toml") or os.path.isdir(site_file):
        return Path(site_file)
    demos = demo_sites()
    guess = nearest(site_file.partition(":")[0], demos)
    raise InputError(
        Fault(
            where="site_file",
            given=site_file,
            allowed="a site file, or a demo site: " + ", ".join(demos),
            why="there is no file and no demo site of that name",
            remedy=f"did you mean {guess}?" if guess else "make one with: solarcalc new NAME",
        )
    )


def _found(site_file: str) -> Path | None:
    """The path of a site, if there is one."""
    beside = Path("..") / "data" / "sites" / f"{site_file}.toml"
    for path in (Path(site_file), beside):
        try:
            if (whole := path.expanduser()).is_file():
                return whole
        except (OSError, ValueError, RuntimeError):  # no file can be called so, nobody's home
            continue
    return demo_sites().get(site_file)


_FOLDERS_ABOVE = 3


def _above(site_file: str) -> str:
    """The path of a file of that name in a folder above; empty where there is none."""
    name, ending, _ = site_file.partition(".toml")
    name = name if ending else name.partition(":")[0]
    for folders in range(1, _FOLDERS_ABOVE + 1):
        path = Path(*[".."] * folders, f"{name}.toml")
        try:
            if path.is_file():
                return path.as_posix()
        except (OSError, ValueError):
            break
    return ""


def site_and_variant(word: str) -> tuple[Path, str]:
    """Path of a site file and the name of one of its variants, ``"SITE:variant"``; else no name.

    Raises
    ------
    InputError
        As `site_path`.
    """
    for place in (len(word), *(place for place, letter in enumerate(word) if letter == ":")):
        if (path := _found(word[:place])) is not None:
            return path, word[place + 1:].strip()
    return site_path(word), ""


def read_named(word: str) -> SiteFile:
    """A site file, or one of its variants as a site of its own, by `site_and_variant`.

    Raises
    ------
    InputError
        As `site_and_variant`; with every fault of the site, and of the variant.
    """
    path, variant = site_and_variant(word) if ":" in word else (Path(word), "")
    sitefile = read_site(path)
    return alone(sitefile, variant) if variant else sitefile
