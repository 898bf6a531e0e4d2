"""What a place asks for: parts, work and words for each exposure, none where there is none."""

from __future__ import annotations

import re
from typing import get_args

import pytest

from solarcalc.basis.files import data_rows, demo_sites
from solarcalc.basis.messages import languages, messages
from solarcalc.design import open_design
from solarcalc.quote.bill import bill_of
from solarcalc.quote.prices import read_price_list
from solarcalc.sitefile.bill_items import ITEMS
from solarcalc.sitefile.exposure import measures, measures_of
from solarcalc.sitefile.place import Exposure
from solarcalc.views.handover import customer_facts

VALUES = [(key, value) for key, field in Exposure.model_fields.items()
          for value in get_args(field.annotation)]


def design_with(**exposure):
    return open_design("ridge-clinic", {"site": {"exposure": exposure}} if exposure else None)


@pytest.mark.parametrize(("key", "value"), VALUES)
def test_each_exposure_brings_something_and_none_brings_nothing(key, value):
    found = measures_of(design_with(**{key: value}).site)
    assert bool(found) == (value != "none")
    assert all(one.sentence and one.clause for one in found)


def test_worse_exposure_asks_for_no_less():
    for key, field in Exposure.model_fields.items():
        last = set()
        for value in get_args(field.annotation):
            now = {one.key for one in measures() if one.exposure == key and value in one.at}
            assert last <= now, (key, value)
            last = now


def test_no_sentence_promises_immunity():
    said = [one.sentence for one in measures()]
    said += [messages(language).text(key) for one in measures() for key in one.booklet
             for language in languages()]  # fmt: skip
    for text in said:
        assert not re.search(r"(proof|immune|safe from|prevents|never (?:rust|break)|guarantee)",
                             text, re.IGNORECASE), text  # fmt: skip


def test_every_part_has_its_price_and_its_work():
    items = {one.part.item for one in measures() if one.part}
    assert items <= set(ITEMS)
    assert items
    listed = read_price_list("invented", demo_sites()["ridge-clinic"].parent)
    assert items <= set(listed.prices)


def test_a_place_with_everything_meets_it_in_every_paper():
    worst = {key: get_args(field.annotation)[-1] for key, field in Exposure.model_fields.items()}
    design, plain = design_with(**worst), design_with()
    keys = {part.key: part for part in design.installation.of_kind("guard")}
    assert set(keys) == {one.part.item for one in measures() if one.part}
    modules = design.site.array.module_count
    assert keys["guard-theft"].count == keys["guard-salt"].count == modules
    assert keys["guard-seal"].count == len(design.installation.layout.of_kind("entry"))
    bill = {line.item: line.quantity for line in bill_of(design.installation, None, 0.0)}
    assert all(bill[key] == part.count for key, part in keys.items())
    tasks = {task.key: task for task in design.programme.tasks}
    # hand: 0.08 h for each guard of data/task_hours.csv.
    assert tasks["guards"].person_h == pytest.approx(
        0.08 * sum(part.count for part in keys.values() if part.key != "guard-salt"))
    # what keeps a clamp from rusting is there when the module is clamped, not a day after
    assert tasks["modules"].person_h == pytest.approx(
        plain.programme.at("modules").task.person_h + 0.08 * modules)
    assert next(row["tasks"] for row in data_rows("loading")
                if row["item"] == "guard-salt") == "modules"
    assert "filings" in tasks["modules"].caution
    assert {"care_salt", "care_hail", "care_theft", "care_animals", "care_filters"} == set(
        customer_facts(design).care)
    assert design.offer.price > plain.offer.price
    assert not plain.installation.of_kind("guard")
    assert "guards" not in {task.key for task in plain.programme.tasks}
