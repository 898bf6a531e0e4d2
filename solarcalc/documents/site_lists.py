"""Sheets 8 to 13 of the site pack: schedules and lists as tables."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from itertools import groupby

from solarcalc.basis.check import Check
from solarcalc.basis.files import data_rows
from solarcalc.basis.phrases import plain
from solarcalc.basis.text import capital
from solarcalc.documents.crew import Crew
from solarcalc.documents.facts import Finding, findings_of, tails, trade_words
from solarcalc.documents.tree import (
    Block,
    Cell,
    Word,
    Words,
    beside,
    box,
    cell,
    columns,
    fill,
    heading,
    sentence,
    soft,
    strong,
    table,
)
from solarcalc.installation import schedules
from solarcalc.installation.records import Part
from solarcalc.programme.days import day_list, day_words, spells_of
from solarcalc.programme.tasks import LOCAL, Task
from solarcalc.protection.case import Device
from solarcalc.quote.bill import unit_words
from solarcalc.sitepack.pick_list import Pick
from solarcalc.sitepack.switching import NOT_IN_AN_EMERGENCY, lock_points
from solarcalc.views import sitepack as lists

Row = Mapping[str, object]
LONGEST, MACHINE, CABLE = 44, 64, 78
"""Letters of an item on the pick list: the schedule of cables and protection says the rest."""
GROUPS = (("strings", "S"), ("cables", "W"), ("earths", "PE"), ("devices", "[A-Z]+"))
"""Labels that are tags, by the letters they begin with; the last takes all others."""


def schedule(crew: Crew) -> Iterator[Block]:
    """Sheet 8: what is laid and what protects it, then devices that protect no cable alone."""
    built = crew.design.installation
    bought = {row["tag"]: row for row in schedules.cable_rows(built)}
    rows = schedules.cable_and_protection_rows(built)
    heads = ("tag", "from", "to", "length", "lies", "cores", "size", "kind_of_cable", "device",
             "rated", "type", "breaking")  # fmt: skip
    yield heading(crew.t("sp_cables"), 3)
    yield table(
        [crew.t(f"sp_{head}") for head in heads],
        [_cable(crew, row, bought[str(row["tag"]).split(" × ")[0]]) for row in rows if row["tag"]],
        look="schedule", right=(3,), shares=(6, 20, 20, 8, 9, 12, 7, 22, 6, 6, 26, 8),
    )  # fmt: skip
    yield sentence(" ".join((crew.t("sp_measure"), *_how_laid(crew))))
    devices = table(
        [crew.t(f"sp_{head}") for head in ("device", "type", "rated", "breaking", "where")],
        [[_text(row["device"]), crew.p(row["type"]), _ampere(row["I_n [A]"]),
          _text(row["breaking [kA]"]), crew.p(row["from"])] for row in rows if not row["tag"]],
        look="schedule", shares=(8, 36, 8, 10, 36),
    )  # fmt: skip
    earths = table(
        [crew.t(f"sp_{head}") for head in ("tag", "from", "to", "length", "lies", "size")],
        [[_text(row["tag"]), crew.p(row["from"]), crew.p(row["to"]),
          f"{crew.p(row['length [m]'])}{_star(row)}", crew.p(row["method"]), crew.p(row["size"])]
         for row in schedules.earth_rows(built)],
        look="schedule", right=(3,), shares=(9, 37, 36, 11, 8, 9),
    )  # fmt: skip
    yield beside([heading(crew.t("sp_other_devices"), 3), devices],
                 [heading(crew.t("sp_earth_conductors"), 3), earths])  # fmt: skip
    yield from _open(crew)


def _how_laid(crew: Crew) -> Iterator[str]:
    """What the letters of the methods stand for, and how much of a cable lies in no plan."""
    built = crew.design.installation
    if laid := schedules.laid_words(built):
        said = crew.p("; ").join(f"{drawn} {crew.p(words)}" for drawn, words in laid)
        yield crew.t("sp_laid_as", methods=said)
    board, tags = schedules.source_terminals(built)
    if board:
        yield crew.t("sp_source_terminals", board=crew.p(board), tags=crew.p(tags))
    for tags, ground_m, rest_m in schedules.ground_and_rest(built):
        yield crew.t("sp_rest_of_way", tags=crew.p(tags), ground=crew.p(f"{ground_m:g}"),
                     rest=crew.p(f"{rest_m:g}"))  # fmt: skip


def _star(row: Row) -> str:
    """Marks a length that nobody has measured."""
    return "" if row["length measured"] == "yes" else " *"


LAID_ANYWAY = "wiring/duct-made-cables"
"""Its remedy is in the papers already: what is laid is a duct made for cables."""


def open_for_safety(crew: Crew) -> tuple[Finding, ...]:
    """Reviews of safety that nobody has accepted, those of one rule and remedy together."""
    return findings_of(
        check for check in crew.design.all_checks
        if check.kind == "safety" and check.outcome in ("review", "failed")
        and not check.accepted and check.rule != LAID_ANYWAY
    )  # fmt: skip


def _open(crew: Crew) -> Iterator[Block]:
    """What the electrician settles before work starts; nothing where nothing is open."""
    found = [[_joined(crew, tails([_said(crew, check.item) for check in one.checks])),
              _joined(crew, [_against(crew, check) for check in one.checks]),
              _said(crew, one.checks[0].remedy)] for one in open_for_safety(crew)]
    if found:
        yield table([crew.t(f"sp_open_{head}") for head in ("item", "found", "action")], found,
                    caption=crew.t("sp_open"), look="schedule", shares=(40, 42, 76))  # fmt: skip


def _said(crew: Crew, text: str) -> str:
    return crew.p(trade_words(text))


def _joined(crew: Crew, said: Iterable[str]) -> str:
    return crew.p("; ").join(dict.fromkeys(said))


def _against(crew: Crew, check: Check) -> str:
    """What was found, and in brackets what is asked for: either may be of several parts."""
    return crew.t("sp_open_against", found=_said(crew, check.found_words),
                  limit=_said(crew, check.limit_words))  # fmt: skip


def _cable(crew: Crew, row: Row, bought: Row) -> list[Cell]:
    """A cable: its length is marked where nobody has measured it."""
    rated = _text(bought["rated [V]"]).replace(" ", " V ")
    kind = ", ".join(filter(None, (_text(bought["material"]), _text(bought["insulation"]), rated)))
    alone = row["device"] == "–"
    return [
        _text(row["tag"]), crew.p(row["from"]), crew.p(row["to"]),
        f"{crew.p(row['length [m]'])}{_star(bought)}", crew.p(row["method"]),
        crew.p(bought["cores"]), f"{crew.p(row['size [mm²]'])} mm²", crew.p(kind),
        _text(row["device"]), _ampere(row["I_n [A]"]),
        crew.t("sp_none") if alone else crew.p(row["type"]), crew.p(row["breaking [kA]"]),
    ]  # fmt: skip


def _ampere(value: object) -> str:
    return f"{value} A" if value else "–"


def _text(value: object) -> str:
    return str(value)


def pick_list(crew: Crew) -> Iterator[Block]:
    """Sheet 9: what goes on which van on which day, in two columns."""
    parts = parts_by_key(crew)
    yield sentence(crew.t("sp_pick_words"))
    groups: dict[tuple[date, str], list[list[Cell]]] = defaultdict(list)
    for one in lists.picks(crew.design):
        if not one.note.startswith("work"):
            groups[one.day, one.crew].append(_pick(crew, one, parts.get(one.key, ())))
    rails = crew.design.programme.at("rails")
    if tilted(crew) and rails is not None:  # they come with what they are fixed on
        groups[rails.start.date(), rails.crew].append(
            ["☐", crew.t("sp_tilt_frames"), crew.t("sp_by_maker"), ""])
    rows: list[list[Cell]] = []
    many = len({who for _, who in groups}) > 1
    for day, who in sorted(groups, key=lambda one: one[0]):
        van = f"{crew.p(day_words(day))}, {crew.p(who)}" if many else crew.p(day_words(day))
        rows += [[cell(strong(van), columns=4)], *groups[day, who]]
    heads = ["", *(crew.t(f"sp_{head}") for head in ("item", "quantity", "serial"))]
    yield columns([table(heads, rows, right=(2,), look="schedule", shares=(4, 63, 11, 12))])


def _pick(crew: Crew, one: Pick, parts: Sequence[Part]) -> list[Cell]:
    number = crew.n(one.quantity, 0 if float(one.quantity).is_integer() else 1)
    numbered = one.key.startswith(NUMBERED)
    device = next((part.device for part in parts if part.device is not None), None)
    longest = CABLE if one.key.startswith("cable-") else MACHINE if numbered else LONGEST
    name = plain(one.name)
    said: list[Word] = [crew.p(short(name, longest) if device is None else asked(name, device))]
    if parts:
        said = [strong(f"{crew.p(joined_tags(part.tag for part in parts))} "), *said]
    elif one.note:
        said += [soft(f", {crew.p(one.note)}")]
    box_ = "" if not numbered else (
        fill(4.0) if one.quantity == 1.0 else crew.t("sp_serial_list"))  # fmt: skip
    return ["☐", cell(said), f"{number} {unit_words(one.unit)}".strip(), box_]


def asked(name: str, device: Device) -> str:
    """A device as it is loaded: rating and poles of its line in the bill, then what tells it apart.

    A fuse in a switch that isolates it is loaded as that switch.
    """
    kept = name.split(", ")[: 4 if device.rated_a is not None else 3]
    if device.in_switch:
        kept[0] = "Fuse-switch-disconnector with fuses"
    volts = [f"{device.rated_v:g} V"] if device.rated_a is not None else []
    return ", ".join(dict.fromkeys((*kept, *volts, *device.asked)))


TILT_HOLD = "H2a"
"""Before rails are fixed: the maker's design of the frames that tilt the modules is on site."""


def tilted(crew: Crew) -> bool:
    """Whether modules are tilted over the roof, on frames that the mounting's maker designs."""
    return any(plan.places.rows.lift_deg > 0.0 for plan in lists.module_plans(crew.design))


TAGGED = ("inverter", "controller", "battery", "generator", "combiner", "busbar", "board")
"""Kinds of parts that are no devices and are loaded under their tags."""
NUMBERED = ("module", "inverter", "controller", "battery", "generator")
"""Things whose serial number is written down."""


def short(name: str, longest: int = LONGEST) -> str:
    """The first parts of a name that are no longer together than so many letters.

    Examples
    --------
    >>> short("Isolator, direct current, 40 A, 2 poles, 500 V, DC-PV2, lockable open", 40)
    'Isolator, direct current, 40 A, 2 poles'
    """
    kept, *parts = name.split(", ")
    for part in parts:
        if len(kept) + len(part) + 2 > longest:
            break
        kept = f"{kept}, {part}"
    return kept


def parts_by_key(crew: Crew) -> dict[str, list[Part]]:
    """Devices and machines that a line of the bill is for, by its key."""
    found: dict[str, list[Part]] = defaultdict(list)
    for part in crew.design.installation.parts:
        tagged = part.tag and (part.device is not None or part.kind in TAGGED)
        if part.bought is not None and tagged:
            found[lists.bought_key(part.bought)].append(part)
    return found


def joined_tags(tags: Iterable[str]) -> str:
    """Tags with those that follow one another as a range.

    Examples
    --------
    >>> joined_tags(["F2", "F3", "F4", "Q1", "F9"])
    'F2 to F4, F9, Q1'
    """
    numbers: dict[str, list[int]] = defaultdict(list)
    others = []
    for tag in dict.fromkeys(tags):
        if found := re.fullmatch(r"([A-Z]+)(\d+)", tag):
            numbers[found[1]].append(int(found[2]))
        else:
            others.append(tag)
    said = [f"{stem}{span}" for stem, all_of in numbers.items()
            for span in _spans(stem, sorted(all_of))]
    return ", ".join((*said, *others))


def _spans(stem: str, numbers: Sequence[int]) -> Iterator[str]:
    for _, run in groupby(enumerate(numbers), key=lambda one: one[1] - one[0]):
        of = [number for _, number in run]
        if len(of) == 2:
            yield f"{of[0]}, {stem}{of[1]}"
        else:
            yield f"{of[0]} to {stem}{of[-1]}" if len(of) > 1 else f"{of[0]}"


def tools_and_labels(crew: Crew) -> Iterator[Block]:
    """Sheet 10: what protects, what one works and measures with, what is lifted and labelled."""
    rows = lists.tool_rows(crew.design)
    of = {kind: [row for row in rows if row["kind"] == kind]
          for kind in ("protective equipment", "tool", "instrument", "lift")}
    worn, used = ([["☐", one] for one in _ticked(crew, of[kind])]
                  for kind in ("protective equipment", "tool"))
    half = -(-2 * len(used) // 5)  # what is calibrated comes first and takes two lines
    yield beside(
        [table(["", crew.t("sp_ppe")], worn, shares=(3, 40))],
        [table(["", crew.t("sp_tool")], used[:half], shares=(3, 40))],
        [table(["", crew.t("sp_tool")], used[half:], shares=(3, 40))],
        shares=(12, 10, 10),
    )  # fmt: skip
    yield table(
        ["", *(crew.t(f"sp_{head}") for head in ("item", "rated", "serial", "calibrated"))],
        [["☐", crew.p(row["item"]), crew.p(row["rated"]), *_to_fill(row)]
         for row in of["instrument"]],
        caption=crew.t("sp_instruments"), look="schedule", shares=(3, 38, 46, 18, 18),
    )  # fmt: skip
    yield table([crew.t(f"sp_{head}") for head in ("lift_item", "weight", "by")],
                [[capital(crew.p(row["item"])), crew.p(row["rated"]) or fill(4.0),
                  crew.p(row["standard"]) or fill(8.0)] for row in of["lift"]],
                caption=crew.t("sp_lifts"), look="schedule", shares=(60, 20, 40))  # fmt: skip
    yield from _labels(crew)


def _to_fill(row: Row) -> tuple[Words, Words]:
    none = row["calibrated until"] == "–"
    return "–" if none else fill(6.0), "–" if none else fill(6.0)


def _ticked(crew: Crew, rows: Iterable[Row]) -> Iterator[Words]:
    """Each thing with what it is rated for, and a date to fill in where it is calibrated."""
    for row in rows:
        rated = f" ({crew.p(row['rated'])})" if row["rated"] else ""
        due = [f", {crew.t('sp_calibrated').lower()} ", fill(5.0)]
        yield [f"{crew.p(row['item'])}{rated}", *(due if row["calibrated until"] == "" else ())]


def _labels(crew: Crew) -> Iterator[Block]:
    """Signs a line each; tags a line a kind: what is on them stands on the sheets named."""
    rows = schedules.label_rows(crew.design.installation)
    signs = [row for row in rows if str(row["label"]).startswith(SIGN)]
    listed = [[str(row["label"]).removeprefix(SIGN), _on_sign(crew, row), crew.p(row["where"]),
               str(row["count"])] for row in sorted(signs, key=_sign_number)]
    numbers = {_sign_number(row) for row in signs}
    missing = [str(one) for one in range(1, max(numbers, default=0)) if one not in numbers]
    unused = f" ({', '.join(missing)}{crew.p(': ')}{crew.t('sp_no_sign')})" if missing else ""
    yield table(
        [crew.t(f"sp_{head}") for head in ("sign", "words_on_it", "where", "count")], listed,
        caption=crew.t("sp_signs") + unused, right=(3,), look="schedule", shares=(5, 54, 60, 8),
    )  # fmt: skip
    yield table([crew.t(f"sp_{head}") for head in ("tags_labels", "words_on_it", "where", "count")],
                [_group(crew, key, members) for key, members in grouped_labels(rows)],
                right=(3,), look="schedule", shares=(54, 45, 28, 8))  # fmt: skip
    yield sentence(crew.t("sp_labels_in_all",
                          count=schedules.label_count(crew.design.installation)))


SIGN = "Sign "
"""Begins a label that is a sign and no tag."""


def _on_sign(crew: Crew, row: Row) -> str:
    """Words of a sign; the order of switching stands on a sheet of its own."""
    words = str(row["words on it"])
    if ": 1 loads" in words:
        return crew.p(words.partition(":")[0]) + crew.p(": ") + crew.t("sp_as_sheet", sheet=13)
    return crew.p(words)


def _sign_number(row: Row) -> int:
    return int(str(row["label"]).removeprefix(SIGN))


def grouped_labels(rows: Sequence[Row]) -> list[tuple[str, list[Row]]]:
    """Labels that are tags, by kind; empty kinds are left out."""
    found: dict[str, list[Row]] = {key: [] for key, _ in GROUPS}
    for row in rows:
        label = str(row["label"])
        if not label.startswith(SIGN):
            found[next(key for key, stem in GROUPS if re.match(rf"{stem}\d", label))].append(row)
    return [(key, members) for key, members in found.items() if members]


def _group(crew: Crew, key: str, rows: Sequence[Row]) -> list[Cell]:
    """All tags of a kind; those that may be undone by nobody, or for a test only, are named."""
    tags = [tag for row in rows for tag in label_tags(str(row["label"]))]
    total = sum(int(str(row["count"])) for row in rows)
    return [cell([strong(f"{crew.t(f'sp_group_{key}')}{crew.p(': ')}"), crew.p(joined_tags(tags))]),
            crew.t(f"sp_words_{key}"), crew.t(f"sp_place_{key}"), str(total)]  # fmt: skip


def label_tags(label: str) -> list[str]:
    """The tags of a label without the number of each one of many.

    Examples
    --------
    >>> label_tags("W11.1 to W11.8"), label_tags("S1+, S1−")
    (['W11'], ['S1+', 'S1−'])
    """
    if " to " in label:
        return [label.partition(".")[0].partition(" ")[0]]
    return label.split(", ")


TORQUE_MM = 5.5
"""Least height of a line of sheet 11 [mm]."""


def torques(crew: Crew) -> Iterator[Block]:
    """Sheet 11: values stay empty until they are copied from the data sheet."""
    rows = lists.torque_rows(crew.design)
    joints = [row for row in rows if row["unit"] == "Nm"]
    settings = [row for row in rows if row["unit"] != "Nm"]
    yield box([sentence(strong(crew.t("sp_warning")), f" {crew.t('sp_copy')}")], look="warning")
    yield table(
        [crew.t(f"sp_{head}") for head in ("joint", "tag", "count", "with", "torque", "page",
                                           "initials", "marked")],
        [[crew.p(row["what"]), _tags(crew, row), str(row["joints"]), crew.p(row["tool"]),
          None, None, None, None] for row in joints]
        + ([[crew.t("sp_tilt_joints"), "", None, "", None, None, None, None]]
           if tilted(crew) else []),
        caption=crew.t("sp_joints"), look="tests", tall_mm=TORQUE_MM, right=(2,),
        shares=(40, 18, 11, 28, 13, 20, 12, 14),
    )  # fmt: skip
    yield table(
        [crew.t(f"sp_{head}") for head in ("setting", "tag", "by_design", "set_to", "page",
                                           "initials", "read_back")],
        [[crew.p(row["what"]), _tags(crew, row), _setting(crew, row), None, None, None, None]
         for row in settings],
        caption=crew.t("sp_settings"), look="tests", tall_mm=TORQUE_MM, right=(2,),
        shares=(56, 18, 20, 16, 20, 12, 14),
    )  # fmt: skip


def _tags(crew: Crew, row: Row) -> str:
    return crew.p(joined_tags(str(row["tags"]).split(", ")))


def _setting(crew: Crew, row: Row) -> str:
    value = str(row["by the design"])
    return crew.p(f"{value} {row['unit']}" if value[:1] in "−-0123456789" else value)


def days(crew: Crew) -> Iterator[Block]:
    """Sheet 12: each task of each day, what stops it, and what can hurt beside it."""
    built = {row["task"]: row for row in data_rows("task_sheets")}
    more = more_holds(crew)
    rows: list[list[Cell]] = []
    for day in day_list(crew.design.programme):
        named = crew.p(day_words(day.day).rpartition(" ")[0])
        drying = [crew.t("sp_drying", what=crew.p(one)) for one in day.drying]
        for planned, begin, end in spells_of(crew.design.programme, day.day):
            told = ". ".join(filter(None, (_danger(crew, planned.task), *drying)))
            holds, by = _sheets(built, planned.task)
            holds = ", ".join(filter(None, (holds, *more.get(planned.task.key, ()))))
            rows.append([named, crew.p(planned.task.name), str(planned.people),
                         crew.n((end - begin).total_seconds() / 3600.0, 1),
                         _stops(crew, planned.task), holds, by, told])
            drying = []
        if drying:
            rows.append([named, crew.t("sp_no_work"), "", "", "", "", "", ". ".join(drying)])
    heads = ("day", "task", "people", "hours", "stop", "hold", "by_sheets", "caution")
    yield table([crew.t(f"sp_{head}") for head in heads], rows, right=(2, 3), look="schedule",
                shares=(10, 30, 7, 6, 12, 9, 9, 68))


ACCEPTED_ON = {
    "wiring": "cables", "protection": "boards", "powerroom": "battery", "battery": "battery",
    "earthing": "earth", "roof": "rails", "stages": "rails", "programme": "set-up",
}
"""Task that an accepted item stands beside, by the package of its check; else connections."""


def accepted_for_safety(crew: Crew) -> list[Check]:
    """Items of safety that a person has accepted in review."""
    return [check for check in crew.design.all_checks
            if check.kind == "safety" and check.outcome == "review" and check.accepted]


def more_holds(crew: Crew) -> dict[str, list[str]]:
    """Holds of this site alone, by task: accepted items, and the design of tilt frames."""
    there = [one.task.key for one in crew.design.programme.planned]
    found: dict[str, list[str]] = defaultdict(list)
    if tilted(crew):
        found["rails"].append(TILT_HOLD)
    for number, check in enumerate(accepted_for_safety(crew), start=1):
        task = ACCEPTED_ON.get(check.rule.partition("/")[0], "connections")
        found[task if task in there else there[0]].append(f"A{number}")
    return found


def _stops(crew: Crew, task: Task) -> str:
    if task.at_height:
        return crew.t("sp_rain_wind")
    return crew.t("sp_rain") if task.outdoor else ""


def _sheets(built: Mapping[str, Mapping[str, str]], task: Task) -> tuple[str, str]:
    row = built.get(task.key, {"holds": "", "sheets": ""})
    return row["holds"].replace(" ", ", "), row["sheets"].replace(" ", ", ")


def _danger(crew: Crew, task: Task) -> str:
    """What can hurt, in full on each day of a task: not all of its people read the first day."""
    own = [part for part in task.caution.split("; ") if part != LOCAL]  # the job card says it
    return crew.p("; ".join(own))


def switching(crew: Crew, office: str = "") -> Iterator[Block]:
    """Sheet 13, which also goes on the wall: off, on and emergency side by side."""
    rows = lists.switching_rows(crew.design)
    made = []
    for sequence, members in groupby(rows, key=lambda row: row["sequence"]):
        key = "sp_emergency_sequence" if sequence == "emergency" else f"sp_{sequence}"
        last = [] if sequence == "emergency" else [crew.t("sp_prove")]
        made.append([
            heading(crew.t(key), 3),
            table([crew.t("sp_no"), crew.t("sp_device"), crew.t("sp_do"), *last],
                  [_step(crew, row, prove=bool(last)) for row in members], look="schedule",
                  shares=(7, 20, 36, 34) if last else (7, 20, 50)),
            *(_last_words(crew, office) if sequence == "emergency" else ()),
        ])  # fmt: skip
    yield beside(*made, shares=(8, 8, 5))


def _step(crew: Crew, row: Row, *, prove: bool) -> list[Cell]:
    device = cell([strong(f"{row['tag']} "), crew.p(row["what"])])
    lock = [strong(f". {capital(crew.p(row['lock']))}")] if row["lock"] else []
    do = cell([crew.p(row["do"]), *lock])
    return [str(row["step"]), device, do, *([crew.p(row["then prove"])] if prove else ())]


def _last_words(crew: Crew, office: str) -> list[Block]:
    locked = joined_tags(part.tag for part in lock_points(crew.design.installation))
    return [
        box([sentence(strong(crew.t("sp_danger")), f" {crew.p(NOT_IN_AN_EMERGENCY)}"),
             sentence(f"{crew.t('sp_emergency')}{crew.p(': ')}", fill(8.0)),
             sentence(crew.t("sp_ends_with"), " ", office or fill(12.0))], look="danger"),
        sentence(strong(f"{crew.t('sp_lock_and_tag')} "), crew.p(locked)),
    ]  # fmt: skip
