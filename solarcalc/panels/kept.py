"""Variants kept from panels: one small file a site, the same for all its workbooks.

It lies in a folder of the user's own, not beside the site file, where a batch would take it for a
site and an installed demo cannot be written to. What is kept are changes and a few numbers; what
was kept of a site file as it no longer stands is shown with a mark. A file that is not whole is
set aside under another name, and that is told.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from filelock import FileLock

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import set_aside, user_state, write_whole
from solarcalc.basis.sealed import sealed, unsealed
from solarcalc.basis.text import brief, safe_file_name
from solarcalc.panels.numbers import Numbers
from solarcalc.sitefile.read import SiteFile
from solarcalc.sitefile.variants import OWN, variant_entry, variant_key

STATE = "SOLARCALC_STATE"
"""Variable of the environment that names another folder for what is kept."""
MOST = 40
"""Variants kept of a site."""
MOST_NAME = 60
WORDS = "kept in a workbook"


@dataclass(frozen=True, kw_only=True)
class KeptVariant:
    """One variant that was kept.

    Parameters
    ----------
    name : str
    changes : mapping
        Of the site file, as `Design.changed` takes them.
    numbers : Numbers
    digest : str
        Of the site file it was kept of.
    """

    name: str
    changes: Mapping[str, Any]
    numbers: Numbers
    digest: str

    @property
    def entry(self) -> str:
        """As an entry of [[variants]], to be copied into the site file."""
        return variant_entry(self.name, WORDS, self.changes)


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What is kept of a site, and what is to be told of its file."""

    variants: tuple[KeptVariant, ...]
    told: str = ""


def kept_file(sitefile: SiteFile) -> Path:
    """Where the variants of a site are kept; one place for every way to name the site file."""
    path = sitefile.path.resolve()
    mark = hashlib.sha256(os.fsencode(path)).hexdigest()[:10]
    return _folder() / f"{safe_file_name(path.stem)}-{mark}.kept"


def _folder() -> Path:
    given = os.environ.get(STATE)
    return Path(given) if given else user_state("variants")


def site_digest(sitefile: SiteFile) -> str:
    """Of the site file and those it is based on, as they stand on the disk."""
    try:
        return hashlib.sha256(sitefile.content).hexdigest()[:16]
    except OSError:
        return ""


def read_kept(sitefile: SiteFile) -> Kept:
    """The variants kept of a site; a file that is not whole is set aside."""
    path = kept_file(sitefile)
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return Kept(variants=())
    except OSError as error:
        return Kept(variants=(), told=f"Kept variants cannot be read: {path}: {error.strerror}.")
    try:
        return Kept(variants=tuple(_variant(row) for row in json.loads(unsealed(content))))
    except (ValueError, KeyError, TypeError):
        try:
            aside = set_aside(path)
        except OSError:
            aside = path
        return Kept(variants=(), told=f"The file of kept variants was damaged; set aside: {aside}")


def _variant(row: Mapping[str, Any]) -> KeptVariant:
    return KeptVariant(name=str(row["name"]), changes=dict(row["changes"]),
                       numbers=Numbers(**row["numbers"]), digest=str(row["digest"]))  # fmt: skip


def keep(sitefile: SiteFile, name: str, changes: Mapping[str, Any], numbers: Numbers) -> Kept:
    """Keep a variant; one of the same name is replaced.

    Raises
    ------
    InputError
        For an empty or overlong name, no change, one variant too many, or a folder that cannot be
        written to.
    """
    name = " ".join(name.split())
    if not changes:
        raise InputError(Fault(where="variant", given="the baseline, nothing moved",
                               allowed="a change", remedy="move a control first"))
    if not 0 < len(name) <= MOST_NAME or variant_key(name) == OWN:
        shown = f"{len(name)} letters" if len(name) > MOST_NAME else name or "nothing"
        raise InputError(Fault(where="name of the variant", given=shown,
                               allowed=f"1 to {MOST_NAME} letters, not {OWN}"))
    one = KeptVariant(name=name, changes=changes, numbers=numbers, digest=site_digest(sitefile))

    def put(found: list[KeptVariant]) -> list[KeptVariant]:
        rest = [each for each in found if variant_key(each.name) != variant_key(name)]
        if len(rest) >= MOST:
            raise InputError(Fault(where="kept variants", given=f"{len(rest)}",
                                   allowed=f"at most {MOST}", remedy="forget some first"))
        return [*rest, one]

    return _rewritten(sitefile, put)


def forget(sitefile: SiteFile, name: str) -> Kept:
    """Forget a kept variant.

    Raises
    ------
    InputError
        Where others are kept and none of that name, or for a folder that cannot be written to.
    """

    def drop(found: list[KeptVariant]) -> list[KeptVariant]:
        rest = [each for each in found if variant_key(each.name) != variant_key(name)]
        if found and len(rest) == len(found):
            raise InputError(Fault(where="name of the variant",
                                   given=brief(name, MOST_NAME) or "nothing",
                                   allowed="the name of a kept variant"))
        return rest

    return _rewritten(sitefile, drop)


def _rewritten(sitefile: SiteFile, change: Any) -> Kept:
    """The file read, changed and written whole; two workbooks at once wait for each other."""
    path = kept_file(sitefile)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with FileLock(f"{path}.lock", timeout=10.0):
            before = read_kept(sitefile)
            after: Sequence[KeptVariant] = change(list(before.variants))
            rows = [{"name": one.name, "changes": one.changes, "numbers": one.numbers.record(),
                     "digest": one.digest} for one in after]
            write_whole(path, sealed(json.dumps(rows, ensure_ascii=False).encode()))
    except (OSError, TimeoutError) as error:
        raise InputError(Fault(where=str(path), given=str(error), allowed="a file to write",
                               remedy=f"name another folder in {STATE}")) from None
    return Kept(variants=tuple(after), told=before.told)
