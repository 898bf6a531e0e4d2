"""Where each part of the power room stands: the box of the room's layout that it is, or is in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping

from solarcalc.earthing.bar import BAR
from solarcalc.installation.records import Installation, Part
from solarcalc.powerroom.boxes import BoxKind
from solarcalc.powerroom.racks import racks_of, units_of
from solarcalc.sitefile.loads import BOARDS
from solarcalc.wiring.runs import plane_key, plane_number, stem_of

_IS: dict[BoxKind, tuple[str, str]] = {
    "rack": ("rack", ""), "inverter": ("inverter", ""), "controller": ("controller", ""),
    "board": ("board", ""), "earth-bar": ("earth-bar", ""), "alarm": ("alarm", ""),
    "extinguisher": ("extinguisher", ""), "door": ("door", "door"),
    "vent-low": ("vent", "vent-low"), "vent-high": ("vent", "vent-high"),
    "fuse": ("fuse", "battery-fuse"), "isolator": ("isolator", "battery-isolator"),
    "pv-switch": ("isolator", "array-isolator"), "changeover": ("changeover", ""),
}  # fmt: skip
"""Kind of box: kind of the parts it is one of each, and what their key begins with."""
_HOLDS: dict[BoxKind, str] = {"busbar": "busbar", "string-bar": "string-bar"}
"""Kind of box: what the key of the part begins with that is in it whole, both poles."""
_IN: tuple[tuple[str, BoxKind], ...] = (
    ("battery-string-fuse", "rack"), ("battery-link", "rack"), ("battery", "rack"),
    ("spread-plate", "rack"),
    ("inverter-fuse", "busbar"), ("controller-", "busbar"),
    ("changeover", "inverter"), ("bond", "inverter"), ("board-breaker", "inverter"),
    ("output-breaker", "board"), ("house-breaker", "board"), ("residual", "board"),
    ("board-surge", "board"),
    ("array-surge", "controller"), ("test-link", "earth-bar"), ("fan", "vent-high"),
    ("guard-seal", "entry"), ("guard-rodent", "entry"), ("guard-lock", "door"),
    ("guard-filter", "vent-low"),
)  # fmt: skip
"""What a part's key begins with, and the kind of box that it is in, at or under; of a board that
of its board. The first that fits holds."""
_ONE_EACH = ("board-surge", "array-surge")
"""Of several of these, one is at each thing that holds them."""
_ENTERING = {"array": "dc_main", "house": "board_house", "grid": "grid_in",
             "generator": "generator_in"}  # fmt: skip
"""Name of a cable entry: what the key of its cables begins with."""
EARTH_ENTRY = "cable entry, earth"


def room_tags(built: Installation) -> dict[str, str]:
    """Tag of each thing in the room by its name, of each entry those of its cables."""
    found: dict[str, str] = {}
    for kind, (stands_for, stem) in _IS.items():
        parts = [part for part in built.of_kind(stands_for) if part.key.startswith(stem)]
        tags = [part.tag if part.count == 1 else f"{part.tag}.{number}"
                for part in parts for number in range(1, part.count + 1)]  # fmt: skip
        boxes = [box for box in built.layout.boxes if box.kind == kind]
        found |= {box.name: tag for box, tag in zip(boxes, tags, strict=False)}
    for kind, stem in _HOLDS.items():
        bars = [part for part in built.of_kind("busbar") if part.key.startswith(stem)]
        found |= {box.name: part.tag for box, part in zip(
            built.layout.of_kind(kind), bars, strict=False)}  # fmt: skip
    for box in built.layout.of_kind("entry"):
        found[box.name] = ", ".join(_entering(built, box.name))
    return found


def _entering(built: Installation, name: str) -> Iterator[str]:
    """Tags of the cables of an entry, and of the protective conductors that go with them."""
    if name == EARTH_ENTRY:
        others = {tag for box in built.layout.of_kind("entry") if box.name != EARTH_ENTRY
                  for tag in _entering(built, box.name)}  # fmt: skip
        yield from (one.tag for one in built.earths if one.route and one.tag not in others
                    and BAR in (one.start_words, one.end_words))  # fmt: skip
        return
    source, _, plane = name.removeprefix("cable entry, ").partition(", ")
    stem = _ENTERING.get(source, "battery")
    here = [one for one in built.cables if one.key.startswith(stem)]
    if source == "array":
        numbers = {one.roof.name: number for number, one in enumerate(built.site.sites, 1)}
        own = plane_key(stem, numbers.get(plane, 1))
        here = [one for one in here if one.route == own]
    ways = {one.route for one in here}
    yield from (one.tag for one in (*built.cables, *built.earths)
                if one in here or (one.current == "earth" and one.route in ways))  # fmt: skip


def held_by(built: Installation) -> dict[str, list[str]]:
    """Tags of what is in, at or under each thing of the room, by its name.

    What stands outside the room, and what hangs loose, is left out.
    """
    tags = room_tags(built)
    own = _plain(tags.values())
    found: dict[str, list[str]] = defaultdict(list)
    for part in built.parts:
        if part.place == "power room" and part.tag not in own and not part.loose:
            for number, name in enumerate(_holders(built, part, tags), start=1):
                one_each = part.count > 1 and stem_of(part.key) in _ONE_EACH
                found[name].append(f"{part.tag}.{number}" if one_each else part.tag)
    return dict(found)


def _plain(listed: Iterable[str]) -> set[str]:
    """Tags of lists of them, without the number of one among several."""
    return {tag.partition(".")[0] for tags in listed for tag in tags.split(", ")}


def held_words(built: Installation) -> dict[str, str]:
    """What is in, at or under each thing of the room in words; of racks each unit on its tier."""
    tiers, units = _tiers(built), {part.tag for part in built.of_kind("battery")}
    found = {}
    for name, tags in held_by(built).items():
        others = [tag for tag in tags if tag not in units or name not in tiers]
        said = [*tiers.get(name, ()), *([f"with {', '.join(others)}"] if others else [])]
        found[name] = "; ".join(said)
    return found


def _tiers(built: Installation) -> dict[str, list[str]]:
    """Units of each tier of each rack as they stand from the left, by the rack's name."""
    site, racks = built.site, racks_of(built.site)
    columns: dict[tuple[str, int], list[tuple[int, str]]] = defaultdict(list)
    for board, places in units_of(site, racks).items():
        part = built.by_key["battery" if board == "shared" else f"battery-{board}"]
        for place in places:
            tag = part.tag if part.count == 1 else f"{part.tag}.{place.number}"
            columns[racks.boxes[place.row - 1].name, place.tier].append((place.column, tag))
    found: dict[str, list[str]] = defaultdict(list)
    for (name, tier), units in sorted(columns.items()):
        units.sort()
        many = f" to {units[-1][1]}" if len(units) > 1 else ""
        found[name] = found[name] or ["units from the left"]
        found[name].append(f"tier {tier} {units[0][1]}{many}")
    return dict(found)


def _holders(built: Installation, part: Part, tags: Mapping[str, str]) -> list[str]:
    kind = next((kind for stem, kind in _IN if part.key.startswith(stem)), None)
    if kind is None:
        return []
    of_outputs = part.where.startswith("inverter output board")
    names = [box.name for box in built.layout.of_kind("board" if of_outputs else kind)
             if ("inverter output" in box.name) == of_outputs]  # fmt: skip
    if kind == "controller":  # of the same roof plane
        own = built.by_key[plane_key(kind, plane_number(part.key))].tag
        return [name for name in names if own in _plain([tags[name]])]
    board = part.board or next((one for one in BOARDS if part.key.endswith(f"-{one}")), "")
    by_board: dict[str, list[str]] = {
        one: [name for name in names if name.rstrip(" 0123456789").endswith(f", {one}")]
        for one in BOARDS
    }
    if board and any(by_board.values()):  # none where the thing of its board has no place
        return by_board[board]
    return names


def without_place(built: Installation) -> list[str]:
    """Tags of parts of the room that are no thing of its layout, and in none."""
    tags = _plain((*room_tags(built).values(), *map(", ".join, held_by(built).values())))
    return [part.tag for part in built.parts
            if part.place == "power room" and not part.loose and part.tag not in tags]
