"""A drawing is marked as not checked until a person has put in name, licence and date."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import Design, open_design
from solarcalc.diagrams.earthing import earth_lines, earthing_diagram
from solarcalc.diagrams.room import room_drawing
from solarcalc.diagrams.sheet import (
    NOT_CHECKED,
    Sheet,
    Signed,
    document_number,
    draw_frame,
    title_block,
)
from solarcalc.diagrams.single_line import single_line
from solarcalc.sitefile.quote import Checked
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.status import STAGES, Issued, Status
from solarcalc.sitefile.status import Signed as SignedFor
from solarcalc.views import drawings as drawings_of
from solarcalc.views import sitepack as sheets

CASES = runpy.run_path(str(Path(__file__).with_name("diagram_cases.py")))
Drawing, clashes = CASES["Drawing"], CASES["clashes"]
DONE = {"name": "An invented person", "licence": "0000, invented", "date": "2027-03-01",
        "fingerprint": "0a1b2c3d"}


def drawings(design):
    """Every drawing of a design by its name."""
    site, name = design.site, design.site.site.name
    lines = earth_lines(design.earth.lines)
    return {
        "single-line": single_line(design.installation),
        "earthing": earthing_diagram(lines, "rods", site_name=name, checked=site.checked,
            status=site.status),
        "room": room_drawing(design.room.layout, site_name=name, checked=site.checked,
            status=site.status),
    }


@pytest.mark.parametrize("stem", demo_sites())
def test_every_drawing_of_the_demo_sites_is_marked_and_has_its_fields(stem):
    """Fields that ISO 7200 asks for, and those it leaves open; the mark where nobody checked."""
    design = open_design(stem)
    status, by = design.site.status, design.drawn.site.checked
    packs = [one.date for one in status.issued
             if (one.document, one.revision) == ("SP", status.revision)]  # fmt: skip
    issued = max(packs, default=status.date)
    for number, svg in zip(("05", "07b", "06"), drawings(design.drawn).values(), strict=True):
        drawing = Drawing(svg)
        assert drawing.marks() == ([] if by.done else list(NOT_CHECKED))
        words = drawing.all_words()
        for field in (f"Rev {status.revision}", f"Issued {issued or '____'}",
                      f"Sheet {number.lstrip('0')}/14",
                      f"Checked {by.name or '____'}", f"Approved {by.name or '____'}",
                      f"-SP-{number}", "Firm ",
                      "Type site pack drawing", "Created solarcalc", "Language en", "Scale ",
                      "Status "):
            assert field in words
        assert min(drawing.sizes()) >= 2.5
        assert clashes(drawing) == []


@pytest.mark.parametrize("stem", demo_sites())
def test_every_sheet_of_the_site_pack_names_the_firm(stem):
    design = open_design(stem, {"firm": {"name": "An invented firm"}})
    drawn = [*sheets.roof_plans(design), *sheets.string_plans(design),
             *sheets.trench_plans(design), *((svg, "") for svg in
             sheets.terminal_drawings(design).values()), drawings_of.single_line_sheet(design),
             drawings_of.room_sheet(design), drawings_of.earthing_sheet(design)]  # fmt: skip
    for svg, _ in drawn:
        assert "Firm An invented firm" in Drawing(svg).all_words()
        assert clashes(Drawing(svg)) == []


def as_checked(name, changes=None):
    """A site of real equipment of which a person says that just this design was checked."""
    own = {**(changes or {}), "status": {"revision": "B", "date": "2027-02-01"}}
    print_of = open_design(name, own).fingerprint
    design = open_design(name, {**own, "checked": {**DONE, "fingerprint": print_of}})
    return Design(sitefile=replace(design.sitefile, examples=()))


def test_invented_equipment_is_never_drawn_as_checked():
    real = as_checked("coral-pharmacy")
    invented = Design(sitefile=replace(real.sitefile, examples=("module",)))
    assert real.drawn.site.checked.done
    assert not invented.drawn.site.checked.done
    for svg in drawings(invented.drawn).values():
        assert Drawing(svg).marks() == list(NOT_CHECKED)


def test_another_design_than_was_checked_is_not_checked():
    design = as_checked("coral-pharmacy")
    assert design.drawn.site.checked.done
    other = design.changed({"runs": {"dc_main": {"length_m": 33.0}}})
    assert other.site.checked.done
    assert not other.drawn.site.checked.done


def test_no_person_stands_on_a_design_that_fails_in_safety():
    design = as_checked("coral-pharmacy", {"room": {"floor_kg_per_m2": 50.0}})
    assert any(check.kind == "safety" for check in design.failed)
    assert not design.drawn.site.checked.done


def test_the_mark_goes_when_a_person_has_put_in_all_four():
    design = as_checked("coral-pharmacy")
    for svg in drawings(design.drawn).values():
        drawing = Drawing(svg)
        assert drawing.marks() == []
        words = drawing.all_words()
        assert "NOT CHECKED" not in words
        assert "Checked An invented person, 2027-03-01" in words
        assert "Approved An invented person, 0000, invented" in words
        assert "Rev B Issued 2027-02-01" in words


@settings(deadline=None, max_examples=40)
@given(keys=some.sets(some.sampled_from(list(DONE))))
def test_a_part_of_a_check_is_none_and_is_refused(keys):
    written = {key: DONE[key] for key in keys}
    sheet = Sheet("room", "t", "d")
    draw_frame(sheet, title_block(Signed(name="Shop", checked=Checked(**written)), number="SP-06",
                                  sheet=6, title="Power room"), [])
    assert (Drawing(sheet.svg()).marks() == []) == (keys == set(DONE))
    sitefile = read_site(demo_sites()["coral-pharmacy"])
    if keys and keys != set(DONE):
        with pytest.raises(InputError) as caught:
            with_changes(sitefile, {"checked": written})
        assert {fault.where.rpartition(".")[2] for fault in caught.value.faults} == (
            set(DONE) - keys)
    else:
        assert with_changes(sitefile, {"checked": written}).site.checked.done == bool(keys)


def test_a_date_that_is_none_is_refused():
    with pytest.raises(InputError, match=r"checked\.date"):
        with_changes(read_site(demo_sites()["coral-pharmacy"]),
                     {"checked": {**DONE, "date": "last week"}})


@given(name=some.text(max_size=40), code=some.sampled_from(["SP-05", "SP-02-12", "DS-01"]))
def test_a_document_number_is_short_and_never_empty(name, code):
    number = document_number(name, code)
    assert number.endswith(f"-{code}")
    assert len(code) + 2 <= len(number) <= 16


@given(title=some.text("abc ", max_size=40), stage=some.sampled_from(STAGES),
       issued=some.booleans(), as_built=some.booleans())  # fmt: skip
def test_a_title_has_25_letters_and_nothing_unapproved_is_for_construction(
    title, stage, issued, as_built
):
    pack = Issued(document="SP", revision="A", date="2027-03-01", to="Crew")
    hand = SignedFor(what="drawings", name="A", date="2027-03-01")
    shop = Signed(name="Shop", status=Status(
        stage=stage, issued=[pack] * issued, signed=[hand] * as_built))  # fmt: skip
    block = title_block(shop, number="SP-05", sheet=5, title=title)
    assert len(block.title) <= 25
    assert block.status in ("draft", "for approval")
    signed = Signed(name="Shop", checked=Checked(**DONE), status=shop.status)
    done = title_block(signed, number="SP-05", sheet=5, title="")
    late = STAGES.index(stage) >= STAGES.index("build")
    at_last = "as built" if as_built and stage in ("handover", "visit") else "for construction"
    assert done.status == (
        "draft" if stage == "survey" or (late and not issued) else at_last if late
        else "for approval")


def test_drawings_and_texts_have_one_title_block():
    site = read_site(demo_sites()["ridge-clinic"]).site
    block = title_block(site, number="DS-01", sheet=1, sheets=1, title="Decision sheet",
                        kind="decision sheet")
    assert (block.number, block.sheet, block.sheets) == ("RRC-DS-01", "1", "1")
    assert dict(block.fields)["Scale"] == "not to scale"
    assert dict(block.fields)["Firm"] == site.firm.name == "Invented Sun Crew"
    assert block.approved == "Invented Engineer, 0000, invented"
    nobody = title_block(Signed(name="Shop"), number="DS-01", sheet=1, title="Decision sheet")
    assert not nobody.approved
