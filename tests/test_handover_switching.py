"""The booklet says what this system does and what the customer does, and names every switch."""

from __future__ import annotations

import re
from functools import cache
from html import unescape

import pytest

from solarcalc.basis.files import demo_sites
from solarcalc.basis.messages import languages, messages
from solarcalc.design import open_design
from solarcalc.documents.booklet import booklet_of
from solarcalc.documents.html import document_html
from solarcalc.documents.tree import Head
from solarcalc.report.findings import Letterhead
from solarcalc.report.handover_facts import MOST_DUTIES
from solarcalc.views.handover import customer_facts

CHANGEOVERS = ("none", "manual", "automatic", "built-in")
SOURCES = {"grid": {"kind": "always", "charge_below_frac": 0.0}, "generator": {"power_w": 3000.0}}
ITSELF = {"en": ("automatic",), "fr": ("automatique",)}
BY_HAND = {"en": "by hand", "fr": "manuel"}


def customer_document(facts, firm, language):
    head = Head(firm=firm.name, licence=firm.licence, contact=firm.contact, logo=firm.logo,
                site=facts.site_name, number="RC-BK-01", language=language,
                title=messages(language).text("kind"))
    return booklet_of(facts, firm, head)


def customer_html(facts, firm, language):
    return document_html(customer_document(facts, firm, language))


@cache
def design_of(stem, changeover, *sources):
    changes = {source: SOURCES[source] for source in sources}
    return open_design(stem, {**changes, "protection": {"changeover": changeover}})


def booklet(design, language):
    page = customer_html(customer_facts(design), Letterhead(), language)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page.partition("</head>")[2])).split())


def picture_of(design, language):
    """What the last drawing of the booklet shows, without its text alternative."""
    page = customer_html(customer_facts(design), Letterhead(), language)
    return page.rpartition("<svg")[2].partition("</title>")[2].partition("</svg>")[0]


@pytest.mark.parametrize("stem", demo_sites())
@pytest.mark.parametrize("changeover", CHANGEOVERS)
def test_every_isolator_is_named_in_its_order(stem, changeover):
    design = design_of(stem, changeover)
    built = design.installation
    for language in languages():
        before, after = unspaced(messages(language).text("emergency_off", order="@")).split("@")
        off = booklet(design, language).partition(before)[2].partition(after)[0]
        tags = re.findall(r"[A-Z]\d+", off)
        assert tags == [part.tag for _, parts in built.switching_off for part in parts
                        if part.kind != "fuse"]
        assert {part.tag for part in built.of_kind("isolator")} <= set(tags)
        drawn = picture_of(design, language)
        assert re.findall(r"[A-Z]\d+", drawn) == tags, "the picture has the same in its order"
        assert re.findall(r">(\d)</text>", drawn) == [
            str(step) for step in range(1, len(built.switched_by_hand) + 1)]
        # hand: a customer has a handle in every step; fuses are drawn by those who are licensed
        assert not {part.tag for part in built.of_kind("fuse")} & set(tags)


@pytest.mark.parametrize("changeover", CHANGEOVERS)
@pytest.mark.parametrize("language", languages())
def test_a_change_by_hand_is_told_as_one_and_no_other(changeover, language):
    words = messages(language)
    design = design_of("coral-pharmacy", changeover, "grid", "generator")
    text = booklet(design, language)
    manual, itself = changeover == "manual", changeover in ("automatic", "built-in")
    how = "by_hand" if manual else "by_itself" if itself else "apart"
    for key in ("change", "grid"):
        for other in ("by_hand", "by_itself", "apart"):
            said = unspaced(words.text(f"{key}_{other}"))
            assert (said in unspaced(text)) == (other == how)
    assert (unspaced(words.text("must_change")) in unspaced(text)) == manual
    assert (unspaced(words.text("must_generator")) in unspaced(text)) == manual
    sources = unspaced(text).partition(unspaced(words.text("cut_title")))[0]
    assert (BY_HAND[language] in sources) == manual
    assert any(one in sources for one in ITSELF[language]) == itself


def unspaced(text):
    return " ".join(text.split())


@pytest.mark.parametrize("stem", demo_sites())
def test_at_most_three_things_are_asked_of_the_customer(stem):
    for sources in ((), ("grid",), ("grid", "generator")):
        facts = customer_facts(design_of(stem, "manual", *sources))
        page = customer_html(facts, Letterhead(), "en")
        title = messages("en").text("duties_title")
        duties = page.partition(f">{title}<")[2].partition("</ul>")[0]
        assert 1 <= duties.count("<li>") <= MOST_DUTIES == 3


def test_a_booklet_of_invented_things_or_of_untested_work_says_so():
    """Neither is to be handed over: the design of invented equipment, and what nobody tested."""
    for name, stamps in (("cove-cannery", {"stamp_example", "stamp_draft"}),
                         ("coral-pharmacy", {"stamp_example", "stamp_draft"})):  # fmt: skip
        design = open_design(name)
        facts = customer_facts(design)
        assert set(facts.stamps) == stamps
        for language in ("en", "fr"):
            page = customer_html(facts, Letterhead(), language)
            said = messages(language, where="x")
            assert all(said.text(stamp) in page for stamp in stamps)
