"""Words that come from a user: nearest known key, safe file name, spreadsheet guard."""

from __future__ import annotations

import difflib
import hashlib
import re
import unicodedata
from collections.abc import Iterable, Mapping


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like `word`, or None when nothing is close."""
    matches = difflib.get_close_matches(word, list(known), n=1, cutoff=0.5)
    return matches[0] if matches else None


def bare(words: str) -> str:
    """Words without accents, capitals, signs between them and the s of a plural.

    Examples
    --------
    >>> bare("Tôles ondulées"), bare("toit-terrasse")
    ('tole ondulee', 'toit terrasse')
    """
    letters = unicodedata.normalize("NFKD", words.casefold())
    plain = "".join(sign for sign in letters if not unicodedata.combining(sign))
    return " ".join(word.removesuffix("s") for word in re.split(r"[^a-z0-9]+", plain) if word)


def meant(word: str, known: Iterable[str], others: Mapping[str, str]) -> str | None:
    """The known word that is meant by another one, or that it is most like; None without one.

    Parameters
    ----------
    word : str
    known : iterable of str
    others : mapping
        What people say for a known word, in any language, to that word.

    Examples
    --------
    >>> meant("Tôle", ["flat slab", "metal sheet", "tiles"], {"tôle": "metal sheet"})
    'metal sheet'
    """
    pool = {bare(other): own for other, own in others.items()} | {bare(own): own for own in known}
    near = nearest(bare(word), pool)
    return pool[near] if near else None


def spelt(words: str) -> str:
    """The name of the second board as it is written; in keys it has no hyphen.

    Examples
    --------
    >>> spelt("Nonessential board")
    'Non-essential board'
    """
    return words.replace("onessential", "on-essential")


DEVICES = frozenset(
    ["con", "prn", "aux", "nul"] + [f"{kind}{number}" for kind in ("com", "lpt")
                                    for number in range(10)]
)  # fmt: skip
"""Names that Windows keeps for devices, with any ending ("Naming files, paths, and namespaces",
learn.microsoft.com, from memory)."""


def safe_file_name(name: str) -> str:
    """A plain file name from any text: a-z, 0-9 and hyphens, 1 to 60 characters.

    A name that leaves nothing behind, such as one in another script, becomes ``site-`` and six
    digits of its own, so that two such names stay two. The name of a device gets ``-site`` after
    it: no file or folder can be called ``con`` everywhere.
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    kept = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60].strip("-")
    if kept in DEVICES:
        return f"{kept}-site"
    return kept or "site-" + hashlib.sha256(name.encode()).hexdigest()[:6]


def initials(name: str) -> str:
    """At most four initials of a site's name in plain letters, unique where it has none.

    Examples
    --------
    >>> initials("Coral Street Pharmacy"), initials("École du Nord")
    ('CSP', 'EDN')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    found = "".join(word[0] for word in re.findall(r"[A-Za-z]+", plain))[:4].upper()
    return found or "S" + hashlib.sha256(name.encode()).hexdigest()[:6].upper()


MOST_NAME, MOST_REVISION = 40.0, 16.0
"""Letters of a site's name and of a revision that the head or foot of a page has room for."""
_BROAD = frozenset("MW@")


def short_name(name: str, most_em: float = MOST_NAME) -> str:
    """A name as the head of a page has room for it: its end is cut off, told by an ellipsis.

    Examples
    --------
    >>> short_name("Coral Street Pharmacy"), len(short_name("W" * 120))
    ('Coral Street Pharmacy', 24)
    """
    room = most_em
    for place, letter in enumerate(name):
        wide = letter in _BROAD or unicodedata.east_asian_width(letter) in "WF"
        room -= 0.0 if unicodedata.combining(letter) else 1.7 if wide else 1.0
        if room < 0.0:
            return name[:place].rstrip(" ,;:.") + "…"
    return name


def alphabetic(name: str) -> str:
    """Key by which names stand in a list: letters with accents beside those without.

    Examples
    --------
    >>> sorted(["Zoo", "École", "Farm", "eagle"], key=alphabetic)
    ['eagle', 'École', 'Farm', 'Zoo']
    """
    plain = unicodedata.normalize("NFKD", name)
    return "".join(one for one in plain if not unicodedata.combining(one)).casefold()


def capital(text: str) -> str:
    """A text as it begins a sentence or stands in a table.

    Examples
    --------
    >>> capital("voltage of a string"), capital("")
    ('Voltage of a string', '')
    """
    return f"{text[:1].upper()}{text[1:]}"


def small(text: str) -> str:
    """With a small first letter, as within a sentence.

    Examples
    --------
    >>> small("Loss of IAM"), small("")
    ('loss of IAM', '')
    """
    return text[:1].lower() + text[1:]


def counted(count: int, name: str) -> str:
    """How many of a thing, the name in the plural but for one.

    Examples
    --------
    >>> counted(1, "string"), counted(2, "string")
    ('1 string', '2 strings')
    """
    return f"{count} {name}{'s' * (count != 1)}"


def guard_cell(text: str) -> str:
    """Text that a spreadsheet will not read as a formula; a dash alone is none.

    Examples
    --------
    >>> guard_cell("=1+1"), guard_cell("-2+3"), guard_cell("-")
    ("'=1+1", "'-2+3", '-')
    """
    risky = text[:1] in ("=", "+", "-", "@", "\t", "\r") and text != "-"
    return "'" + text if risky else text


def whole_clauses(text: str, most: int, otherwise: str) -> str:
    """As many whole sentences and clauses of a text as have at most so many letters.

    For what somebody has to do: half a clause may say the contrary of the whole. Where not one
    fits, `otherwise` says where it stands.

    Examples
    --------
    >>> whole_clauses("raise the tilt, or set more modules; ask the maker", 40, "see it")
    'raise the tilt, or set more modules …'
    >>> whole_clauses("an electrode of rods", 12, "see it")
    'see it'
    """
    if len(text) <= most:
        return text
    ends = [found.start() for found in re.finditer(r"; |\. ", text)]
    end = max((one for one in ends if one + 2 <= most), default=0)
    return f"{text[:end]} …" if end else otherwise


def brief(text: str, most: int) -> str:
    """A text of at most so many letters, cut at the end of a clause where there is one.

    What is cut off is told by an ellipsis.

    Examples
    --------
    >>> brief("raise the tilt; or set more modules", 22)
    'raise the tilt …'
    >>> brief("an electrode of rods", 12)
    'an …'
    """
    if len(text) <= most:
        return text
    room = text[: max(most - 1, 0)]
    ends = [room.rfind(mark) for mark in ("; ", ". ", ": ", ", ")]
    end = max((one for one in ends if one > most // 2), default=room.rfind(" "))
    return f"{room[:max(end, 0)].rstrip(' ,;:.')} …".strip()
