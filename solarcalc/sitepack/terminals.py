"""Terminals of a battery: every joint from the plus bar through the units to the minus bar."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from solarcalc.installation.ends import LUGS_FROM_MM2
from solarcalc.installation.records import Conductor, Installation, Part
from solarcalc.powerroom.racks import racks_of, split_after
from solarcalc.sitefile.battery import Battery

Row = dict[str, object]
BETWEEN_RACKS = "link between racks, not designed: the electrician designs this cable"
TERMINAL_COLUMNS = ("from", "to", "conductor", "size", "through", "lugs")


@dataclass(frozen=True, kw_only=True)
class Joint:
    """One conductor from one terminal to another.

    Parameters
    ----------
    start, end : str
        Terminals: a tag, the number of the unit or bar, and its sign: ``"G2.3+"``.
    tag : str
        Of the conductor or link; empty for a bar's own metal.
    size : str
    through : tuple of str
        Tags of the fuse and isolator in it, in the order from the first terminal.
    lugs : int
        Pressed on its ends.
    """

    start: str
    end: str
    tag: str
    size: str
    through: tuple[str, ...] = ()
    lugs: int = 0


@dataclass(frozen=True, kw_only=True, eq=False)
class BankTerminals:
    """A bank with the tags of everything at it.

    Parameters
    ----------
    built : Installation
    board : str
        Whose bank it is; empty for one that serves both.
    battery : Battery
        Record of the site file; its units in parallel are those of this bank.
    """

    built: Installation
    board: str
    battery: Battery

    def part(self, stem: str) -> Part | None:
        """The part of this bank with that stem; None where there is none."""
        return self.built.by_key.get(self.key(stem))

    def key(self, stem: str) -> str:
        """Key of what this bank has under a stem."""
        return f"{stem}-{self.board}" if self.board else stem

    def _tag(self, stem: str) -> str:
        part = self.part(stem)
        return part.tag if part else ""

    def conductor(self, stem: str) -> Conductor | None:
        """The conductor of this bank with that stem; None where there is none."""
        return next((one for one in self.built.conductors if one.key == self.key(stem)), None)

    def at(self, tag: str) -> str:
        """Key of the part at whose end a device stands in the bank's conductors."""
        runs = (self.conductor("battery_main"), self.conductor("battery_string"))
        ends = {key: end for run in runs if run
                for keys, end in ((run.at_start, run.start), (run.at_end, run.end))
                for key in keys}  # fmt: skip
        part = next(one for one in self.built.parts if one.tag == tag.partition(".")[0])
        return ends[part.key]

    def unit(self, string: int, number: int) -> str:
        """Tag of a unit: the number counts through all strings, from 1."""
        return f"{self._tag('battery')}.{(string - 1) * self.battery.units_in_series + number}"

    def bar(self, sign: str) -> str:
        """The bar of that sign that inverters and controllers hang on."""
        return f"{self._tag('busbar')}{sign}"

    @property
    def bar_of_strings(self) -> str:
        """Tag of the bars that strings meet at; empty for a single string."""
        return self._tag("string-bar")

    @property
    def several(self) -> bool:
        """Whether strings meet at bars of their own."""
        return self.part("string-bar") is not None

    @cached_property
    def joints(self) -> tuple[Joint, ...]:
        """Every joint: links of each string, its leads, then the main conductors."""
        series, strings = self.battery.units_in_series, self.battery.units_in_parallel
        found: list[Joint] = []
        for string in range(1, strings + 1):
            found += self._links(string, series)
            if self.several:
                found += self._leads(string, series)
        return (*found, *self._mains(series))

    def _links(self, string: int, series: int) -> Iterator[Joint]:
        link, size = self._tag("battery-link"), self._link_size()
        for number in range(1, series):
            across = self.split_after == (string - 1) * series + number
            yield Joint(
                start=f"{self.unit(string, number)}−", end=f"{self.unit(string, number + 1)}+",
                tag=f"{link}.{(string - 1) * (series - 1) + number}",
                size=BETWEEN_RACKS if across else size,
            )  # fmt: skip

    @cached_property
    def split_after(self) -> int:
        """Number of the last unit of a string in the first rack; 0: each string in one rack."""
        site = self.built.site
        return split_after(site, racks_of(site)).get(self.board or "shared", 0)

    def _link_size(self) -> str:
        """A link carries what the lead of its string carries."""
        like = self.conductor("battery_link") or self.conductor("battery_string") or (
            self.conductor("battery_main"))  # fmt: skip
        return f"as its lead, {like.size_name}, or the maker's link" if like else "the maker's link"

    def _leads(self, string: int, series: int) -> Iterator[Joint]:
        lead = self.conductor("battery_string")
        if lead is None:
            return
        bars, fuse = self._tag("string-bar"), self.part("battery-string-fuse")
        tag = f"{lead.tag}.{string}" if lead.count > 1 else lead.tag
        lugs, ends = (2, 2 * (lead.size_mm2 >= LUGS_FROM_MM2)) if lead.lug_count else (0, 0)
        through = (fuse.tag_at("+", string),) if fuse else ()
        yield Joint(start=f"{bars}+", end=f"{self.unit(string, 1)}+", tag=tag,
                    size=_size(lead), through=through,
                    lugs=(lugs + ends * len(through)) * lead.in_parallel)  # fmt: skip
        back = tuple(filter(None, (fuse.tag_at("−", string),))) if fuse else ()
        yield Joint(start=f"{self.unit(string, series)}−", end=f"{bars}−", tag=tag,
                    size=_size(lead), lugs=(lugs + ends * len(back)) * lead.in_parallel,
                    through=back)  # fmt: skip

    def _mains(self, series: int) -> Iterator[Joint]:
        """What stands in the conductor in the plus; in the minus what has two poles."""
        main = self.conductor("battery_main")
        if main is None:
            return
        bars = self._tag("string-bar")
        near = (f"{bars}+", f"{bars}−") if self.several else (
            f"{self.unit(1, 1)}+", f"{self.unit(1, series)}−")  # fmt: skip
        stand = [self.built.by_key[key] for key in reversed((*main.at_start, *main.at_end))]
        lugs, large = (2 if main.lug_count else 0), main.size_mm2 >= LUGS_FROM_MM2
        for sign, end in zip("+−", near, strict=True):
            tags = tuple(filter(None, (part.tag_at(sign) for part in stand)))
            ends = (self.bar("+"), end) if sign == "+" else (end, self.bar("−"))
            yield Joint(start=ends[0], end=ends[1], tag=main.tag, size=_size(main),
                        lugs=(lugs + 2 * large * len(tags)) * main.in_parallel,
                        through=tags if sign == "+" else tags[::-1])  # fmt: skip


def _size(one: Conductor) -> str:
    return one.size_name if one.in_parallel == 1 else f"{one.in_parallel} × {one.size_name}"


def banks_at(built: Installation) -> tuple[BankTerminals, ...]:
    """The banks of a site, each with its terminals."""
    return tuple(
        BankTerminals(built=built, board="" if board == "shared" else board, battery=battery)
        for board, battery in built.site.banks.items()
    )


def terminal_rows(built: Installation) -> list[Row]:
    """Every joint of every bank, from terminal to terminal, with a box for the torque."""
    return [
        {
            "bank": bank.board or "both boards", "from": one.start, "to": one.end,
            "conductor": one.tag, "size": one.size, "through": ", ".join(one.through) or "–",
            "lugs": one.lugs, "torque [Nm]": "", "initials": "",
        }
        for bank in banks_at(built) for one in bank.joints
    ]  # fmt: skip
