"""The documents of a site: code, reader, page budget and the stage from which each is made."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, get_args

from solarcalc.basis.check import Stage
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.text import nearest

if TYPE_CHECKING:
    from solarcalc.documents.making import Making
    from solarcalc.documents.tree import Document


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of document.

    Parameters
    ----------
    code : str
        Two letters, part of its number.
    name : str
        What it is called on the command line and on lists of documents.
    reader : str
    pages : int
        Most pages on A4; 0 for no limit. The site pack grows by rule beyond it.
    stage : str
        It exists from this stage on.
    leaves : bool
        Whether it leaves the firm.
    module : str
        Of this package; its function ``documents`` takes a `Making`.
    """

    code: str
    name: str
    reader: str
    pages: int
    stage: Stage
    leaves: bool
    module: str

    def made(self, making: Making) -> tuple[Document, ...]:
        """The document, or its parts; empty where the site has nothing to say in it."""
        module = import_module(f"solarcalc.documents.{self.module}")
        make: Callable[[Making], tuple[Document, ...]] = module.documents
        return make(making)


KINDS: tuple[Kind, ...] = (
    Kind(code="SV", name="survey sheet", reader="surveyor", pages=2, stage="survey",
         leaves=False, module="survey_sheet"),
    Kind(code="DS", name="decision sheet", reader="lead", pages=1, stage="design",
         leaves=False, module="decision_sheet"),
    Kind(code="DR", name="design report", reader="engineer, approver", pages=12, stage="design",
         leaves=True, module="design_report"),
    Kind(code="CA", name="calculation appendix", reader="engineer", pages=0, stage="design",
         leaves=True, module="appendix"),
    Kind(code="QU", name="quote", reader="customer", pages=2, stage="offer", leaves=True,
         module="quote"),
    Kind(code="SP", name="site pack", reader="crew", pages=16, stage="build", leaves=False,
         module="site_pack"),
    Kind(code="TR", name="test report", reader="licensed signatory", pages=1, stage="test",
         leaves=True, module="test_report"),
    Kind(code="BK", name="booklet", reader="customer", pages=4, stage="handover", leaves=True,
         module="booklet"),
    Kind(code="HF", name="handover file", reader="customer, later electricians", pages=1,
         stage="handover", leaves=True, module="handover_file"),
    Kind(code="VL", name="visit letter", reader="customer", pages=2, stage="visit", leaves=True,
         module="visit_letter"),
)  # fmt: skip


def kinds_of(codes: Sequence[str]) -> tuple[Kind, ...]:
    """Kinds by their codes, in the order of the list.

    Raises
    ------
    InputError
        For a code that none has.
    """
    known = {kind.code: kind for kind in KINDS}
    asked = [code.strip().upper() for code in codes if code.strip()]
    if unknown := [code for code in asked if code not in known]:
        near = nearest(unknown[0], known)
        raise InputError(Fault(
            where="--documents", given=repr(unknown[0]),
            allowed=", ".join(f"{kind.code} {kind.name}" for kind in KINDS),
            remedy=f"did you mean {near}?" if near else "",
        ))  # fmt: skip
    return tuple(kind for kind in KINDS if kind.code in asked)


def codes_at(stage: Stage, asked: Sequence[str] = (), *, where: str = "") -> tuple[str, ...]:
    """Codes of the documents that exist at a stage, or those asked for.

    Raises
    ------
    InputError
        For one that is made from a later stage on.
    """
    order = get_args(Stage)
    there = [kind for kind in KINDS if order.index(kind.stage) <= order.index(stage)]
    late = [kind for kind in KINDS if kind.code in asked and kind not in there]
    if late:
        raise InputError(Fault(
            where=f"{where}: --documents {late[0].code}", given=f"the site at stage {stage}",
            allowed=f"the {late[0].name} from stage {late[0].stage} on",
            remedy="set status.stage in the site file once the job has come that far",
        ))  # fmt: skip
    return tuple(kind.code for kind in there if not asked or kind.code in asked)
