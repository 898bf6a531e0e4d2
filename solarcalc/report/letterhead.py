"""A firm's letterhead; its logo read and checked to be a picture in which nothing runs."""

from __future__ import annotations

import base64
import math
import re
import struct
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree as Tree

from PIL import Image

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.reading import UnreadableError, file_bytes
from solarcalc.report.drawable import why_not_drawn
from solarcalc.report.findings import Letterhead

if TYPE_CHECKING:
    from solarcalc.sitefile.read import SiteFile

MAX_BYTES = 1_000_000
"""A logo of more than 1 MB is a photograph; common practice, no source."""

MAX_PIXELS = 5000
"""Widest and highest PNG; common practice, no source."""

_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_END = b"\0\0\0\0IEND\xaeB`\x82"
_LIVE_TAGS = frozenset({
    "script", "foreignobject", "iframe", "object", "embed", "a", "animate", "set",
    "animatetransform", "animatemotion", "animatecolor", "mpath", "discard", "handler",
    "listener", "audio", "video", "link",
})  # fmt: skip
_DECLARATION = re.compile(r"^\s*<\?xml\s[^>]*\?>")
_DOCTYPE = re.compile(r"<!DOCTYPE[^\[<>]*>", re.IGNORECASE)
_OUTSIDE = re.compile(
    r"url\(\s*['\"]?\s*(?!#)|@import|\\|javascript:|expression\(|image-set\(|\bsrc\(",
    re.IGNORECASE)
_INSIDE = re.compile(r"data:image/(?:png|jpeg);base64,([A-Za-z0-9+/=\s]*)")
MOST_DRAWN = 20_000
"""Elements of an SVG with all that `use` draws again; common practice, no source."""
_ALLOWED = f"a PNG or SVG file of at most {MAX_BYTES // 1000} kB"


def letterhead_of(sitefile: SiteFile) -> Letterhead:
    """The firm of a site file, its logo read and checked.

    Raises
    ------
    InputError
        When the logo cannot be used; names the site file and ``firm.logo``.
    """
    firm = sitefile.site.firm
    logo = read_logo(sitefile.folder / firm.logo, where=f"{sitefile.path.name}: firm.logo") if (
        firm.logo) else ""
    return Letterhead(name=firm.name, contact=firm.contact, licence=firm.licence, logo=logo)


def read_logo(path: Path, *, where: str = "firm.logo") -> str:
    """A logo as a data address for the page.

    Parameters
    ----------
    path : Path
        A PNG or SVG file of at most 1 MB; told by its content, not by its name.
    where : str
        File and field that name it, for messages.

    Returns
    -------
    str
        ``data:image/png;base64,...`` or ``data:image/svg+xml;base64,...``.

    Raises
    ------
    InputError
        When it cannot be read, is too large, is neither, is damaged, or is an SVG with a script,
        an event, an address outside itself or an entity.
    """
    raw = _bytes(path, where)
    if raw.startswith(_PNG):
        return "data:image/png;base64," + _base64(_checked_png(raw, path, where))
    return "data:image/svg+xml;base64," + _base64(_checked_svg(raw, path, where))


def _bytes(path: Path, where: str) -> bytes:
    try:
        return file_bytes(path, MAX_BYTES)
    except UnreadableError as error:
        given, kind = error.given, error.kind
    if kind == "large":
        raise _refused(where, f"{path.name} of {given}", _ALLOWED,
                       "save it smaller: 1000 pixels across are enough")
    if kind in ("folder", "missing", "device"):
        raise _refused(where, f"{path.name}, which is no file", _ALLOWED,
                       "the name is looked for from the site file's folder")
    raise _refused(where, f"{path.name}: {given}", "a file that may be read")


def _checked_png(raw: bytes, path: Path, where: str) -> bytes:
    """The PNG up to its end, read through once; its size stands behind the mark and one word."""
    if len(raw) >= 24:
        wide, high = struct.unpack(">II", raw[16:24])
        if not (1 <= wide <= MAX_PIXELS and 1 <= high <= MAX_PIXELS):
            raise _refused(where, f"{path.name} of {wide} x {high} pixels",
                           f"1 to {MAX_PIXELS} pixels each way", "save it smaller")
    kept = b"".join(raw.partition(_PNG_END)[:2])
    try:
        with Image.open(BytesIO(kept), formats=("PNG",)) as picture:
            picture.verify()  # checksums and end
        with Image.open(BytesIO(kept), formats=("PNG",)) as picture:
            picture.load()  # every row
    except Exception:  # the library raises many kinds for what it cannot read
        raise _refused(where, f"{path.name}, a damaged PNG", _ALLOWED, "save it again") from None
    return kept


def _checked_svg(raw: bytes, path: Path, where: str) -> bytes:
    """The SVG in UTF-8, without its declaration."""
    try:
        text = _DOCTYPE.sub("", _DECLARATION.sub("", raw.decode("utf-8-sig")), count=1)
    except UnicodeDecodeError:
        raise _refused(where, f"{path.name}, neither PNG nor text in UTF-8", _ALLOWED) from None
    for mark in ("<!ENTITY", "<!DOCTYPE", "<?xml-stylesheet"):
        if mark.lower() in text.lower():
            raise _refused(where, f"{path.name} with {mark}", "an SVG without it",
                           "save it as a plain SVG")
    try:
        root = Tree.fromstring(text)
    except (Tree.ParseError, ValueError) as error:
        raise _refused(where, f"{path.name}, neither PNG nor SVG ({error})", _ALLOWED) from None
    if root.tag not in ("{http://www.w3.org/2000/svg}svg", "svg"):
        raise _refused(where, f"{path.name}, which begins with <{_plain(root.tag)}>", _ALLOWED)
    for part in root.iter():
        found = _live(part)
        if found:
            raise _refused(where, f"{path.name} with {found}",
                           "an SVG in which nothing runs and nothing comes from outside",
                           "save it as a plain SVG, text as outlines, pictures inside")
    if (drawn := _drawn(root)) > MOST_DRAWN:
        found = f"{drawn:.3g} elements, drawn again ones counted" if math.isfinite(drawn) else (
            "elements that draw themselves, or are nested too deep")  # fmt: skip
        raise _refused(where, f"{path.name} with {found}",
                       f"an SVG of at most {MOST_DRAWN} elements", "save it as a plain SVG")
    if root.tag == "svg":  # an image needs the name of the language
        root.set("xmlns", "http://www.w3.org/2000/svg")
        text = Tree.tostring(root, encoding="unicode")
    if complaint := why_not_drawn(text.strip()):
        raise _refused(where, f"{path.name}: {complaint}", "an SVG that can be drawn",
                       "save it as a plain SVG")
    return text.strip().encode("utf-8")


def _live(part: Tree.Element) -> str:
    """What in one element could run or fetch; empty for nothing."""
    tag = _plain(str(part.tag))
    if tag.lower() in _LIVE_TAGS:
        return f"<{tag}>"
    if tag.lower() == "style" and _OUTSIDE.search("".join(part.itertext())):
        return "a style that points outside"
    for name, value in part.attrib.items():
        plain = _plain(name).lower()
        if plain.startswith("on"):
            return f"the event {plain}"
        if plain == "base":
            return "a base of its addresses"
        if plain in ("href", "src") and not value.strip().startswith("#"):
            inside = _INSIDE.fullmatch(value.strip())
            if inside is None:
                return f"the address {value[:40]!r}"
            if fault := _picture_fault(inside[1]):
                return fault
        if _OUTSIDE.search(value) and plain not in ("href", "src"):
            return f"{plain} = {value[:40]!r}"
    return ""


def _picture_fault(content: str) -> str:
    """What stands against a picture inside an SVG: not whole, or too large; empty for nothing."""
    try:
        with Image.open(BytesIO(base64.b64decode(content)), formats=("PNG", "JPEG")) as picture:
            wide, high = picture.size
            if max(wide, high) > MAX_PIXELS:
                return f"a picture of {wide} x {high} pixels inside"
            picture.verify()
    except Exception:  # the library raises many kinds for what it cannot read
        return "a damaged picture inside"
    return ""


def _drawn(root: Tree.Element) -> float:
    """Elements that are drawn, those that `use` draws again counted each time; inf in a circle."""
    by_id = {part.get("id"): part for part in root.iter() if part.get("id")}
    known: dict[int, float] = {}
    open_: set[int] = set()

    def count(part: Tree.Element, depth: int) -> float:
        if id(part) in known:
            return known[id(part)]
        if id(part) in open_ or depth > _DEEPEST:
            return math.inf
        open_.add(id(part))
        total = 1.0 + sum(count(child, depth + 1) for child in part)
        if _plain(str(part.tag)).lower() == "use":
            named = next((value.strip()[1:] for name, value in part.attrib.items()
                          if _plain(name).lower() == "href"), "")  # fmt: skip
            if named in by_id:
                total += count(by_id[named], depth + 1)
        open_.discard(id(part))
        known[id(part)] = total
        return total

    return count(root, 0)


_DEEPEST = 200


def _plain(name: str) -> str:
    return name.rpartition("}")[2]


def _base64(raw: bytes) -> str:
    return base64.b64encode(raw).decode("ascii")


def _refused(where: str, given: str, allowed: str, remedy: str = "") -> InputError:
    return InputError(Fault(where=where, given=given, allowed=allowed,
                            why="the logo goes into every customer's papers", remedy=remedy))
