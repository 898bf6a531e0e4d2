"""The documents of a site that are asked for: which there are at a stage, and who makes them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib import import_module
from typing import TYPE_CHECKING, cast

from solarcalc.basis.check import Stage
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.text import nearest
from solarcalc.sitefile.status import STAGES, Code, document_set

if TYPE_CHECKING:
    from solarcalc.documents.making import Making
    from solarcalc.documents.tree import Document


def documents_of(code: Code, making: Making) -> tuple[Document, ...]:
    """A document or its parts; empty where the site has nothing to say in it yet."""
    module = import_module(f"solarcalc.documents.{document_set()[code].module}")
    make: Callable[[Making], tuple[Document, ...]] = module.documents
    return make(making)


def codes_of(words: Sequence[str]) -> tuple[Code, ...]:
    """Codes in the order of the set.

    Raises
    ------
    InputError
        For one that no document has.
    """
    known = document_set()
    asked = [word.strip().upper() for word in words if word.strip()]
    if unknown := [word for word in asked if word not in known]:
        near = nearest(unknown[0], known)
        raise InputError(Fault(
            where="--documents", given=repr(unknown[0]),
            allowed=", ".join(f"{code} {one.title}" for code, one in known.items()),
            remedy=f"did you mean {near}?" if near else "",
        ))  # fmt: skip
    return tuple(code for code in known if code in asked)


def codes_at(stage: Stage, asked: Sequence[str] = (), *, where: str = "") -> tuple[Code, ...]:
    """Codes of the documents that exist at a stage, or those asked for.

    Raises
    ------
    InputError
        For one that is made from a later stage on.
    """
    there = [one for one in document_set().values()
             if STAGES.index(one.stage) <= STAGES.index(stage)]  # fmt: skip
    late = [code for code in asked if code not in {one.code for one in there}]
    if late:
        named = [document_set()[cast("Code", code)] for code in late]
        raise InputError(Fault(
            where=f"{where}: --documents {','.join(late)}", given=f"the site at stage {stage}",
            allowed=", ".join(f"the {one.title} from stage {one.stage} on" for one in named),
            remedy="set status.stage in the site file once the job has come that far",
        ))  # fmt: skip
    return tuple(one.code for one in there if not asked or one.code in asked)
