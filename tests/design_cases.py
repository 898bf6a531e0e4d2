"""Designs with a stage put in place of their own, for tests of what follows from it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from solarcalc import design as designs
from solarcalc.stages.kept import Kept


def with_stages(design: designs.Design, **stages: Any) -> designs.Design:
    """The same site with these stages as given, and nothing worked out yet but them."""
    none: frozenset[str] = frozenset()
    kept = {name: Kept(value=value, tables=none, own=none, asked=(), mark=object())
            for name, value in stages.items()}  # fmt: skip
    return replace(design, kept=kept)
