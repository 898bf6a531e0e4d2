"""The design of a site as its kernels inherit it: worked out once, before they are forked."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import partial

from solarcalc.checking.kept import digest_of, digests_of, noted_files
from solarcalc.design import Design, open_design
from solarcalc.guesses import ranked_guesses
from solarcalc.sitefile.named import read_named, site_and_variant
from solarcalc.stages.kept import inherit, inherited
from solarcalc.variants import variants_of
from solarcalc.views.battery_tried import what_would_change_the_supply
from solarcalc.views.yields import what_would_change_the_yield

_opened: set[str] = set()


def work_out(word: str) -> None:
    """Work the design of a site out, so that whatever is forked from here has it.

    It is inherited as long as every file that it follows from stays as it is.

    Parameters
    ----------
    word : str
        What asks for the site: its file, and after a colon a variant.
    """
    since_s = time.time()
    with noted_files() as opened:
        design = open_design(word)
        alone = open_design(read_named(word)) if site_and_variant(word)[1] else design
        for part in _parts(alone):
            with suppress(Exception):  # whoever needs it will say so
                part()
    digests = digests_of(opened, since_s=since_s)
    if digests is None:
        return
    _opened.update(opened)

    def stands() -> bool:
        return all(digest_of(name) == digest for name, digest in digests.items())

    inherit(word, design, stands)
    inherit(_alone(word), alone, stands)


def _parts(design: Design) -> Iterator[Callable[[], object]]:
    """What workbooks and documents both ask of a design."""
    for name in ("fingerprint", "example_of", "orientation"):
        yield partial(getattr, design, name)
    for ask in (variants_of, what_would_change_the_yield, what_would_change_the_supply,
                ranked_guesses):  # fmt: skip
        yield partial(ask, design)


def design_alone(word: str) -> tuple[Design, frozenset[str]]:
    """The design of a site, or of a variant as a site of its own, and what was opened before.

    Raises
    ------
    InputError
        For a site file with faults.
    """
    design = inherited(_alone(word), Design) or open_design(read_named(word))
    return design, frozenset(_opened)


def _alone(word: str) -> str:
    return f"{word}\nalone"
