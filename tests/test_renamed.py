"""A name the site file no longer knows gives a fault that says the new one; none is lost."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

import pytest

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder
from solarcalc.quote.prices import read_price_list
from solarcalc.sitefile.bill_items import ITEMS as KNOWN
from solarcalc.sitefile.equipment import LISTS, PLACES
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.renamed import FILE
from solarcalc.sitefile.toml import toml_text, write_new_site
from solarcalc.sitefile.wording import known_keys, type_in_site

FIRST = Path(__file__).with_name("frozen") / "first_site_keys.txt"
"""Every table, key and choice of the site file when the first design was done, from its records."""

with (data_folder() / FILE).open(encoding="utf-8", newline="") as lines:
    ROWS = tuple(csv.DictReader(lines))
KEYS = [row for row in ROWS if row["what"] == "key"]
MOVED = [row for row in ROWS if row["what"] == "moved"]
DROPPED = {"quote.alternatives.name": "the name of a variant"} | {
    f"{row['place']}.{row['old']}": row["new"] for row in MOVED
}
"""What stands in FIRST and went without another name in its table, and what stands for it."""

VALUES = [row for row in ROWS if row["what"] == "value" and row["place"] != "prices.item"]
ITEMS = [row for row in ROWS if row["place"] == "prices.item"]


def named(row: Mapping[str, str]) -> str:
    return f"{row['what']}-{row['place']}.{row['old']}"


def tables_of(place: str) -> list[tuple[str, ...]]:
    """The places a row speaks of: each table there for a `*`."""
    parts = tuple(part for part in place.split(".") if part)
    if parts[-1:] != ("*",):
        return [parts]
    return [(*parts[:-1], table) for table in known_keys(parts[:-1])]


def walked(place: tuple[str, ...]) -> tuple[str | int, ...]:
    """A place with the 0 of the first row after each list of tables."""
    found: tuple[str | int, ...] = ()
    for part in place:
        found = (*found, part)
        if get_origin(type_in_site(found)[0]) is list:
            found = (*found, 0)
    return found


def nested(place: tuple[str, ...], key: str, value: object) -> dict[str, Any]:
    """Tables that hold one key at a place."""
    found: Any = {key: value}
    for length in range(len(place), 0, -1):
        kind, _ = type_in_site((*walked(place[:length - 1]), place[length - 1]))
        found = {place[length - 1]: [found] if get_origin(kind) is list else found}
    return dict(found)


def merged(data: dict[str, Any], more: Mapping[str, Any]) -> dict[str, Any]:
    for key, value in more.items():
        if isinstance(value, dict) and isinstance(data.get(key), dict):
            merged(data[key], value)
        else:
            data[key] = value
    return data


def written(data: Mapping[str, Any], path: Path) -> Path:
    """A TOML file of plain tables."""

    def text(value: Any) -> str:
        if isinstance(value, str):
            return toml_text(value)
        if isinstance(value, bool):
            return str(value).lower()
        if isinstance(value, list):
            return "[" + ", ".join(map(text, value)) + "]"
        if isinstance(value, dict):
            return "{ " + ", ".join(f"{key} = {text(one)}" for key, one in value.items()) + " }"
        return repr(value)

    path.write_text("".join(f"{key} = {text(value)}\n" for key, value in data.items()), "utf-8")
    return path


def faults_of(data: Mapping[str, Any], folder: Path) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        read_site(written(data, folder / "old.toml"))
    return caught.value.faults


@pytest.fixture
def template(tmp_path: Path) -> Path:
    return write_new_site("New", tmp_path)


@pytest.mark.parametrize("row", KEYS, ids=named)
def test_an_old_key_is_refused_with_the_new_one(
    row: dict[str, str], template: Path, tmp_path: Path
) -> None:
    for place in tables_of(row["place"]):
        changes = nested(place, row["old"], 1 if place else {})
        data = merged(tomllib.loads(template.read_text("utf-8")), changes)
        with pytest.raises(InputError) as caught:
            with_changes(read_site(template), changes)
        for faults in (faults_of(data, tmp_path), caught.value.faults):
            (fault,) = (fault for fault in faults if fault.why == "renamed")
            assert row["old"] in fault.where
            assert row["old"] in fault.given
            assert fault.allowed == row["new"]
            assert fault.remedy == f"say {row['new']}"
            assert not any("no such key" in fault.why for fault in faults)


@pytest.mark.parametrize("row", VALUES, ids=named)
def test_an_old_value_is_refused_with_the_new_one(
    row: dict[str, str], template: Path, tmp_path: Path
) -> None:
    *table, key = row["place"].split(".")
    changes = nested(tuple(table), key, row["old"])
    data = merged(tomllib.loads(template.read_text("utf-8")), changes)
    with pytest.raises(InputError) as caught:
        with_changes(read_site(template), changes)
    for faults in (faults_of(data, tmp_path), caught.value.faults):
        (fault,) = (fault for fault in faults if fault.why == "renamed")
        assert row["place"].split(".")[-1] in fault.where
        assert row["old"] in fault.given
        assert row["new"] in fault.remedy


@pytest.mark.parametrize("row", ITEMS, ids=named)
@pytest.mark.parametrize("end", ["", "-32mm"])
def test_an_old_item_of_a_price_list_is_refused_with_the_new_one(
    row: dict[str, str], end: str, tmp_path: Path
) -> None:
    lines = ["# currency: USD", "item,unit,price", f"{row['old']}{end},each,1.0"]
    (tmp_path / "own.csv").write_text("\n".join(lines), "utf-8")
    with pytest.raises(InputError) as caught:
        read_price_list("own.csv", tmp_path)
    (fault,) = caught.value.faults
    assert fault.given == f"item '{row['old']}{end}'"
    assert fault.remedy == f"say {row['new']}{end}"
    assert row["new"] in KNOWN
    assert row["old"] not in KNOWN


def test_a_key_that_moved_is_refused_with_its_new_place(template: Path, tmp_path: Path) -> None:
    """Each of the old list of alternatives, in a file and in a change; what they set is no more."""
    old = {"name": "Less", "module_count": 7, "units_in_parallel": 1, "generator_w": 0.0}
    changes = {"quote": {"alternatives": [old], "owned": [{"item": "module", "quantity": 2.0}]},
               "generator": {"existing": True}}
    data = merged(tomllib.loads(template.read_text("utf-8")), changes)
    with pytest.raises(InputError) as caught:
        with_changes(read_site(template), changes)
    for faults in (faults_of(data, tmp_path), caught.value.faults):
        said = {fault.where.partition(": ")[2]: fault for fault in faults}
        assert len(said) == len(faults) == len(MOVED)
        for row in MOVED:
            key = f"{row['place']}.{row['old']}".replace("quote.alternatives.",
                                                         "quote.alternatives[1].")
            assert (said[key].allowed, said[key].why) == (row["new"], "renamed")
            assert row["old"] in said[key].given
        places = [row["new"].split(".") for row in MOVED if "." in row["new"]]
        assert all(type_in_site(tuple(place))[1] is not None for place in places)


def test_what_is_wrong_beside_an_old_key_is_told_with_it(template: Path, tmp_path: Path) -> None:
    data = tomllib.loads(template.read_text("utf-8"))
    changes = {"protection": {"thunder_days": 1000.0}, "soil": {"kind": "cheese"}}
    faults = {fault.where: fault for fault in faults_of(merged(data, changes), tmp_path)}
    assert set(faults) == {
        "old.toml: protection.thunder_days",
        "old.toml: protection.thunderstorm_days",
        "old.toml: soil.kind",
    }
    assert faults["old.toml: protection.thunder_days"].given == "the key thunder_days = 1000.0"


def test_today_names_are_all_known() -> None:
    for row in KEYS:
        for place in tables_of(row["place"]):
            known = known_keys(walked(place))
            assert row["new"] in known, named(row)
            assert row["old"] not in known, named(row)
    for row in VALUES:
        kind, _ = type_in_site(walked(tuple(row["place"].split("."))))
        if get_origin(kind) is Literal:
            assert row["new"] in get_args(kind), named(row)
            assert row["old"] not in get_args(kind), named(row)


def first_names() -> dict[str, str]:
    """Each line of FIRST by what it is called today."""
    new = {(row["what"], row["place"], row["old"]): row["new"] for row in ROWS}

    def today(what: str, place: str, old: str) -> str:
        any_table = ".".join((*place.split(".")[:-1], "*"))
        return new.get((what, place, old), new.get((what, any_table, old), old))

    found = {}
    for line in FIRST.read_text("utf-8").splitlines():
        path, _, value = line.partition(" = ")
        place = ""
        for part in path.split("."):
            place = f"{place}.{today('key', place, part)}".lstrip(".")
        found[line] = place + (f" = {today('value', place, value)}" if value else "")
    return found


def test_no_name_went_without_a_word() -> None:
    lost = []
    for first, now in first_names().items():
        path, _, value = now.partition(" = ")
        *table, key = path.split(".")
        kind, _ = type_in_site((*walked(tuple(table)), key))
        choices = [str(one) for one in get_args(kind)] if get_origin(kind) is Literal else [value]
        if kind is None or (value and value not in choices):
            lost.append(first)
    first = set(FIRST.read_text("utf-8").splitlines())  # not what came and went later
    assert set(lost) == set(DROPPED) & first


def test_only_what_was_once_a_name_is_called_renamed() -> None:
    first, now = set(FIRST.read_text("utf-8").splitlines()), first_names()
    back = {today: line for line, today in now.items()}
    for row in KEYS:
        for place in tables_of(row["place"]):
            line = back.get(".".join((*place, row["new"])))
            if line is None:  # of a table that came later, where a row is of all of its kind
                assert row["place"].endswith("*"), named(row)
                continue
            assert line in first, named(row)
            assert line.split(".")[-1] == row["old"], named(row)


def test_an_old_key_in_a_list_of_equipment_is_refused_with_the_new_one(tmp_path: Path) -> None:
    """Of the keys renamed so far, those that an equipment list may hold."""
    held = {".".join(map(str, place)) for place in PLACES} | {"inverter.*"}
    assert set(LISTS) == set(PLACES.values())
    for row in KEYS:
        if row["place"] not in held:
            continue
        place = tables_of(row["place"])[0]
        (list_name,) = {PLACES[place]}
        own = tmp_path / "own.toml"
        data = tomllib.loads(write_new_site("New", tmp_path).read_text("utf-8"))
        table = data
        for part in place:
            table = table[part]
        table["use"] = "mine"
        own.write_text(f"[{list_name}.mine]\n{row['old']} = 1\n", "utf-8")
        (tmp_path / "new.toml").unlink()
        faults = faults_of({"equipment_files": ["own.toml"], **data}, tmp_path)
        (fault,) = (fault for fault in faults if fault.why == "renamed")
        assert fault.where == f"own.toml: {list_name}.mine.{row['old']}"
        assert fault.allowed == row["new"]
