"""What is missing, divided: dust, a lost string, shade, days without power, a full battery."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.followup.daily import (
    YEAR_DAYS,
    Confidence,
    Finding,
    Measured,
    day_numbers,
    day_table,
    judged_steps,
    some_named,
    spells_of,
)
from solarcalc.followup.segments import (
    Piece,
    ShadePlace,
    line_of,
    noise_of,
    shade_places,
    straight_pieces,
    without_outliers,
)

LEAST_STEP_FRAC = float(constant("followup.least_step_frac"))
LEAST_FALL_FRAC = float(constant("followup.least_fall_frac"))
EXPECTED = "Expected of a clean array without faults or shading"
MEASURED = "Measured"
"""First and last line of the losses of a file."""
LEAST_DUST_DAYS = int(constant("followup.least_dust_days"))
LEAST_RECOVERY_FRAC = float(constant("followup.least_recovery_frac"))
SURE = float(constant("followup.sure"))
SAME_HOURS_FRAC = float(constant("followup.same_hours_frac"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Separated:
    """A record taken apart.

    Parameters
    ----------
    days : DataFrame
        From `day_table`, with ``level`` the fitted line of the ratio.
    findings : tuple of Finding
    losses_kwh : dict of str to float
        Expected energy and what became of it, in order; the parts add up to the measured [kWh].
    shade : tuple of ShadePlace
    noise_frac : float
        Scatter of the ratio from day to day; the smaller, the smaller the faults that show.
    """

    days: pd.DataFrame = field(repr=False)
    findings: tuple[Finding, ...]
    losses_kwh: dict[str, float]
    shade: tuple[ShadePlace, ...]
    noise_frac: float

    @property
    def least_step_frac(self) -> float:
        """Smallest lasting step that this record can show, of the array [0 to 1].

        Four times the error of a level over ten days on either side, and at least 5 %.
        """
        return float(max(LEAST_STEP_FRAC, 4.0 * self.noise_frac * math.sqrt(2.0 / 10.0)))


def separate(measured: Measured, *, string_count: int) -> Separated:
    """Take a record apart.

    Parameters
    ----------
    measured : Measured
        Clock already set right.
    string_count : int
        Strings in parallel.
    """
    days = day_table(measured)
    spells = _spells(days, measured, string_count)
    out = days["outage"].copy()
    for spell in spells:
        days.loc[spell.stamps, "outage"] = False
        out[spell.stamps] = True
    checked = days[days["ratio"].notna() & ~out]
    if len(checked) < 3:
        return _too_short(days, measured)
    day = day_numbers(pd.DatetimeIndex(checked.index))
    value = checked["ratio"].to_numpy(float)
    pieces = straight_pieces(day, without_outliers(value))
    days["level"] = pd.Series(line_of(day, pieces), index=checked.index)
    days["level"] = days["level"].ffill().bfill()
    dates = np.array([stamp.date() for stamp in pd.DatetimeIndex(checked.index)], dtype=object)
    parts = _Parts(measured=measured, days=days, dates=dates, pieces=pieces,
                   noise=noise_of(value), strings=string_count)  # fmt: skip
    found = [*parts.steps(), *map(parts.spell, spells), *parts.dust()]
    level = days["level"].reindex(pd.DatetimeIndex(measured.power_w.index).normalize())
    places = shade_places(measured, level.set_axis(measured.power_w.index))
    found, places = _told_once(found, places)
    found = [*found, *(_shade_finding(place, days) for place in places), *parts.outages()]
    found += _full_finding(days, measured)
    return Separated(
        days=days, findings=tuple(found), shade=places, noise_frac=parts.noise,
        losses_kwh=_losses(days, found),
    )  # fmt: skip


def _too_short(days: pd.DataFrame, measured: Measured) -> Separated:
    days["level"] = np.nan
    note = Finding(**worded("followup", "few-days", count=int(days["ratio"].notna().sum())))
    return Separated(
        days=days, findings=(note, *_full_finding(days, measured)), shade=(), noise_frac=1.0,
        losses_kwh=_losses(days, []),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Step:
    """A sudden fall before a piece, strings that it may be, and the piece that ends it."""

    place: int
    before: float
    after: float
    error: float
    lost: int
    until: int | None = None

    @property
    def drop(self) -> float:
        """Of what the array gave before, [0 to 1]."""
        return (self.before - self.after) / max(self.before, 1e-9)


SPELL_DAYS = 7
"""Longest run of days on end that is too short for a level; the median of three times as many
around does not follow it, nor one that is half as long again."""
LEAST_OF_STRING = 0.6
"""Share of a string that a day must miss to count; common practice, no source."""
NEAR_WHOLE_FRAC = 0.03
"""How far a fall may be from that of whole strings, of the array; common practice, no source."""
BACK_FRAC = 0.6
"""Share of the way to a level from which it is reached; common practice, no source."""
DAYS_BESIDE, DAYS_EARLIER = 21, 7
"""Days by a fall whose hours are compared; how much sooner its shade may seem to begin."""
LEAST_HELD_FRAC = 0.05
"""Share of the energy expected, in hours of a full battery, from which a lost string's share of
all hours is no longer told alone; common practice, no source."""
MOST_OUT_FRAC = 0.01
"""Share of a year's energy from which its outages are looked into; common practice, no source."""
MOST_OPEN = 6
"""Falls at one time whose ends are told apart."""


def _closed(open_: Sequence[_Step], level: float, strings: int) -> tuple[_Step, ...]:
    """Which of the falls that last ended, by the level that the array has come back to.

    Each set of them leaves a level of its own, by the strings that are still out and the shares
    of other falls; the highest that is reached is the one.
    """
    known = open_[-MOST_OPEN:]
    if not known:
        return ()
    last, out = known[-1], sum(one.lost for one in known)

    def left(closed: tuple[_Step, ...]) -> float:
        still = out - sum(one.lost for one in closed)
        value = last.before * (strings - still) / max(strings - (out - last.lost), 1)
        for one in known:
            if not one.lost and one is last and one not in closed:
                value *= 1.0 - one.drop
            elif not one.lost and one is not last and one in closed:
                value /= max(1.0 - one.drop, 1e-3)
        return value

    sets = [closed for count in range(len(known) + 1) for closed in combinations(known, count)]
    sets.sort(key=lambda closed: (left(closed), [one.place for one in closed]))
    for closed, under in zip(sets[:0:-1], sets[-2::-1], strict=True):
        if level > left(under) + BACK_FRAC * (left(closed) - left(under)) + 1e-9:
            return closed
    return ()


@dataclass(frozen=True, kw_only=True)
class _Spell:
    """A few days on which so many strings gave nothing, with what they took of the array."""

    stamps: pd.DatetimeIndex
    lost: int
    drop: float
    ended: bool


def _spells(days: pd.DataFrame, measured: Measured, strings: int) -> list[_Spell]:
    """Days on end that miss the share of whole strings, too few to be a level of their own.

    Beside the median of the days around, at all hours alike. One day alone may be anything, and
    an array that gives nothing has no strings to count.
    """
    ratio = days["ratio"].dropna()
    if strings < 2 or len(ratio) < 2 * SPELL_DAYS:
        return []
    usual = ratio.rolling(3 * SPELL_DAYS, center=True, min_periods=SPELL_DAYS).median()
    drop, noise = (1.0 - ratio / usual.mask(usual <= 0.0)).fillna(0.0), noise_of(ratio.to_numpy())
    low = drop >= max(SURE * noise, LEAST_OF_STRING / strings)
    found = []
    for _, run in drop[low].groupby((~low).cumsum()[low]):
        stamps, share = pd.DatetimeIndex(run.index), float(run.median())
        beside = [drop[: stamps[0]].iloc[-3:-1], drop[stamps[-1] :].iloc[1:3]]
        count, near = round(share * strings), max(NEAR_WHOLE_FRAC, 2.0 * noise / len(run) ** 0.5)
        if (2 <= len(run) <= SPELL_DAYS and 1 <= count < strings
                and all(one.empty or one.mean() <= 0.5 * share for one in beside)
                and abs(share - count / strings) <= near
                and _same_hours(measured, stamps[0].date(), stamps[-1].date(), share, noise)):
            found.append(_Spell(stamps=stamps, lost=count, drop=share,
                                ended=stamps[-1] != ratio.index[-1]))  # fmt: skip
    return found


def _same_hours(
    measured: Measured, first: date, last: date | None, drop: float, noise: float
) -> bool:
    """Whether morning, noon and afternoon fell alike, three weeks before and after.

    After a fall that ended sooner, to its last day.
    """
    index = pd.DatetimeIndex(measured.power_w.index)
    at, day = pd.Timestamp(first, tz=index.tz), pd.Timedelta(days=1)
    end = at + DAYS_BESIDE * day
    if last is not None:
        end = min(end, pd.Timestamp(last, tz=index.tz) + day)
    near = (index >= at - DAYS_BESIDE * day) & (index < end)
    used = judged_steps(measured) & near
    ratio = (measured.power_w / measured.expected_w)[used]
    later = ratio.index >= at
    azimuth = measured.sun_azimuth_deg[used]
    thirds = pd.qcut(azimuth.rank(method="first"), 3, labels=False)
    falls = []
    for third in range(3):
        part = (thirds == third).to_numpy()
        old, new = ratio[part & ~later], ratio[part & later]
        if len(old) >= 8 and len(new) >= 8:
            falls.append(1.0 - float(new.median()) / float(old.median()))
    slack = max(SAME_HOURS_FRAC * drop, 0.06, 2.0 * noise)
    return bool(falls) and all(abs(fall - drop) <= slack for fall in falls)


@dataclass(frozen=True, kw_only=True)
class _DustRun:
    """Falls one after the other that no rise parts."""

    pieces: tuple[Piece, ...]
    places: tuple[int, ...]

    @property
    def fall(self) -> float:
        """Of what the array gave when it began, steps between them left out, [0 to 1]."""
        return 1.0 - math.prod(piece.end / max(piece.start, 1e-9) for piece in self.pieces)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Parts:
    measured: Measured
    days: pd.DataFrame
    dates: NDArray[np.object_]
    pieces: tuple[Piece, ...]
    noise: float
    strings: int

    def steps(self) -> list[Finding]:
        """Sudden falls, until the level comes back."""
        found, open_ = list[_Step](), list[_Step]()
        for place in range(1, len(self.pieces)):
            before, after = self.pieces[place - 1], self.pieces[place]
            closed = _closed(open_, after.start, self.strings)
            found = [replace(one, until=place) if one in closed else one for one in found]
            open_ = [one for one in open_ if one not in closed]
            drop = (before.end - after.start) / max(before.end, 1e-9)
            error = float(np.hypot(before.error, after.error)) / max(before.end, 1e-9)
            if drop < LEAST_STEP_FRAC or drop < SURE * error:
                continue
            left = max(self.strings - sum(one.lost for one in open_), 1)
            lost = round(drop * left)
            near = abs(drop - lost / left) <= max(2.0 * error, NEAR_WHOLE_FRAC)
            one = _Step(place=place, before=before.end, after=max(after.start, 0.0), error=error,
                        lost=lost if self.strings > 1 and near else 0)  # fmt: skip
            found.append(one)
            open_.append(one)
        return [self._step(one, found) for one in found]

    def _days_of(self, one: _Step) -> tuple[date, date | None]:
        last = None if one.until is None else self.dates[self.pieces[one.until].first - 1]
        return self.dates[self.pieces[one.place].first], last

    def _step(self, one: _Step, found: Sequence[_Step]) -> Finding:
        first, last = self._days_of(one)
        cost, drop, lost = self._cost(one, found), one.drop, one.lost
        hours = _same_hours(self.measured, first, last, drop, self.noise)
        if lost and hours:
            sure: Confidence = "high" if one.error < 0.25 / self.strings else "medium"
            return Finding(
                **self._string_words(one, lost_kwh=cost, first=first, last=last,
                                     passed=last is not None),
                size=drop, lost_kwh=cost, since=first, until=last, confidence=sure,
                outcome="failed" if last is None else "review", count=lost, of=self.strings,
            )  # fmt: skip
        return Finding(
            size=drop, lost_kwh=cost, since=first, until=last,
            **worded("followup", "drop-at-all-hours" if hours else "drop-by-hour",
                     drop=100 * drop, first=first),
        )  # fmt: skip

    def _string_words(
        self, one: _Step | _Spell, *, lost_kwh: float, first: date, last: date | None,
        passed: bool = False,
    ) -> dict[str, Any]:  # fmt: skip
        """What a lost string is told as: a share of all hours is no energy while a battery is full.

        With `passed` for days that are over, by their last day.
        """
        inside = self._between(first, last)
        expected, held = (float(self.days.loc[inside, name].sum())
                          for name in ("expected_kwh", "held_kwh"))
        share = held / expected if expected > 0.0 else 0.0
        drop, held = 100 * one.drop, 100 * share
        if passed and share < LEAST_HELD_FRAC:
            return worded("followup", "strings-for-days", lost=one.lost, strings=self.strings,
                          drop=drop, first=first, until=last)
        if share < LEAST_HELD_FRAC:
            return worded("followup", "step", lost=one.lost, strings=self.strings, drop=drop,
                          first=first)
        if passed:
            return worded("followup", "strings-for-days-while-full", lost=one.lost,
                          strings=self.strings, drop=drop, first=first, until=last,
                          lost_kwh=lost_kwh, held=held)
        return worded("followup", "step-while-full", lost=one.lost, strings=self.strings,
                      drop=drop, first=first, lost_kwh=lost_kwh, held=held)

    def spell(self, one: _Spell) -> Finding:
        """Strings that were out for a few days, or are since a few days."""
        inside = self.days.loc[one.stamps]
        free = (inside["expected_kwh"] - inside["held_kwh"]) * (inside["level"] - inside["ratio"])
        first, last = one.stamps[0].date(), one.stamps[-1].date()
        cost = float(free.clip(lower=0.0).sum())
        return Finding(
            **self._string_words(one, lost_kwh=cost, first=first, last=last, passed=one.ended),
            size=one.drop, lost_kwh=cost, since=first,
            until=last if one.ended else None, outcome="review" if one.ended else "failed",
            confidence="medium", count=one.lost, of=self.strings,
        )  # fmt: skip

    def dust(self) -> list[Finding]:
        """Slow falls; a jump up after one shows a wash or rain; one that nothing ended goes on.

        A string that is lost cleans nothing: the fall after such a step goes on from where the
        fall before it stood, and both are one. None begins above what the array gave at any other
        time of the record, when it was clean.
        """
        found, run, pieces = [], _DustRun(pieces=(), places=()), self._begun_clean()
        for place, piece in enumerate(pieces):
            if not self._falls(piece):
                continue
            goes_on = bool(run.places) and run.places[-1] == place - 1 and \
                piece.start < run.pieces[-1].end
            run = _DustRun(pieces=(*run.pieces * goes_on, piece),
                           places=(*run.places * goes_on, place))  # fmt: skip
            after = pieces[place + 1] if place + 1 < len(pieces) else None
            if after is not None and after.start < piece.end and self._falls(after):
                continue  # told with the next one
            least = piece.end + LEAST_RECOVERY_FRAC * run.fall * piece.start
            if after is not None and after.start < least and run.fall < 2.0 * LEAST_FALL_FRAC:
                continue
            back = any(one.start >= least for one in pieces[place + 1 :])
            found.append(self._dusty(run, cleaned=back, open_end=after is None))
        return found

    def _begun_clean(self) -> list[Piece]:
        """Pieces, none of which begins above the highest end of all others."""
        most = [max(one.start, one.end) for one in self.pieces]
        clean = [max([*most[:place], *most[place + 1 :]], default=math.inf)
                 for place in range(len(most))]  # fmt: skip
        return [replace(one, start=min(one.start, max(its, one.end)))
                for one, its in zip(self.pieces, clean, strict=True)]

    def _falls(self, piece: Piece) -> bool:
        level = max(piece.start, 1e-9)
        length = (self.dates[piece.last] - self.dates[piece.first]).days
        error = 2.0 * self.noise * (3.0 / max(piece.count, 1)) ** 0.5
        return bool(piece.fall / level >= LEAST_FALL_FRAC and piece.fall >= SURE * error
                    and length >= LEAST_DUST_DAYS)  # fmt: skip

    def _dusty(self, run: _DustRun, *, cleaned: bool, open_end: bool) -> Finding:
        first = self.dates[run.pieces[0].first]
        last = self.dates[run.pieces[-1].last]
        days, cost, kept, left = (last - first).days, 0.0, 1.0, 1.0
        for place, piece in enumerate(run.pieces):
            if place:  # a lost string is dusty, too
                left *= piece.start / run.pieces[place - 1].end
            inside = self._between(self.dates[piece.first], self.dates[piece.last])
            share = (piece.start / kept - self.days.loc[inside, "level"]).clip(lower=0.0) / left
            cost += float((share * self._free_kwh()[inside]).sum())
            kept *= piece.end / piece.start
        fall = run.fall
        return Finding(
            size=fall, lost_kwh=cost, since=first, until=last if cleaned else None,
            **worded("followup", "dust-cleaned" if cleaned else
                     "dust-goes-on" if open_end else "dust-stays",
                     fall=100 * fall, days=days, a_day=100 * fall / max(days, 1)),
        )  # fmt: skip

    def outages(self) -> list[Finding]:
        """Days of less than half of what the days around gave, spell by spell.

        Those of a year count together, however long the record is; one at its end goes on.
        """
        days = self.days
        lost = ((days["level"] - days["ratio"]).clip(lower=0.0) * days["expected_kwh"]).where(
            days["outage"], 0.0)  # fmt: skip
        a_year = max(float(days["expected_kwh"].sum()), 1e-9) * min(YEAR_DAYS / len(days), 1.0)
        by_year = lost.rolling(YEAR_DAYS, min_periods=1).sum() / a_year
        last = days["ratio"].last_valid_index()
        found = []
        for stamps in spells_of(pd.DatetimeIndex(days.index[days["outage"]])):
            cost, year = float(lost[stamps].sum()), pd.Timedelta(days=YEAR_DAYS - 1)
            goes_on = len(stamps) > 1 and stamps[-1] == last
            much = float(by_year[stamps[0] : stamps[-1] + year].max()) > MOST_OUT_FRAC
            found.append(Finding(
                **worded("followup", "outages", out_count=len(stamps), s="s" * (len(stamps) > 1),
                         named=some_named(stamps)),
                size=cost / a_year, lost_kwh=cost, since=stamps[0].date(),
                until=None if goes_on else stamps[-1].date(), count=len(stamps),
                outcome="failed" if goes_on else "review" if much else "passed",
            ))  # fmt: skip
        return found

    def _between(self, first: date, last: date | None) -> NDArray[np.bool_]:
        day = np.array(pd.DatetimeIndex(self.days.index).date)
        return np.asarray((day >= first) & (True if last is None else day <= last), dtype=bool)

    def _free_kwh(self) -> pd.Series:
        return self.days["expected_kwh"] - self.days["held_kwh"]

    def _cost(self, one: _Step, found: Sequence[_Step]) -> float:
        """What a fall cost [kWh]: strings by what each of the others gave that day.

        Dust on what was left took its share of what was lost, too; where nothing was left, what
        was given before is lost.
        """
        level = self.days["level"]
        inside = self._between(*self._days_of(one))
        if one.lost:
            left = pd.Series(float(self.strings), index=level.index)
            for other in found:
                left -= other.lost * self._between(*self._days_of(other))
            share = one.lost * (level / left.where(left > 0.0)).ffill().bfill()
        else:
            none_left = one.after <= LEAST_STEP_FRAC * one.before
            dusted = level * 0.0 + 1.0 if none_left else level / one.after
            share = (one.before - one.after) * dusted
        return float((share * self._free_kwh())[inside].sum())


def _shade_finding(place: ShadePlace, days: pd.DataFrame) -> Finding:
    total = float(days["expected_kwh"].sum())
    return Finding(
        size=place.deficit_frac, lost_kwh=place.lost_kwh, since=place.since,
        confidence="high" if place.agreed_frac > 0.75 and place.deficit_frac > 0.15 else "medium",
        **worded("followup", "shade", missing=100 * place.deficit_frac, low=place.from_deg,
                 high=place.to_deg, clock_hours=place.hours,
                 share=100 * place.lost_kwh / max(total, 1e-9)),
    )  # fmt: skip


def _told_once(
    found: Sequence[Finding], places: Sequence[ShadePlace]
) -> tuple[list[Finding], tuple[ShadePlace, ...]]:
    """Findings without the falls that new shade made, and the shade with what those cost.

    Shade at some hours lowers the whole day, which then falls from its first day on; a fall that is
    a string's is none of its doing.
    """
    left, shade = list[Finding](), list(places)
    for one in found:
        made = [number for number, place in enumerate(shade) if _made(place, one)]
        if not made or one.since is None:
            left.append(one)
            continue
        most = max(made, key=lambda number: shade[number].lost_kwh)
        rest = one.lost_kwh - sum(shade[number].lost_kwh for number in made)
        began = min(shade[most].since or one.since, one.since)
        shade[most] = replace(shade[most], since=began,
                              lost_kwh=shade[most].lost_kwh + max(rest, 0.0))  # fmt: skip
    return left, tuple(shade)


def _made(place: ShadePlace, fall: Finding) -> bool:
    """Whether shade at this place made a fall of the days, by when both began."""
    if fall.kind != "step" or place.since is None or fall.since is None:
        return False
    later = (place.since - fall.since).days
    return -DAYS_EARLIER <= later <= DAYS_BESIDE and (
        fall.until is None or place.since <= fall.until)


def curtailed_kwh(measured: Measured) -> pd.Series:
    """What a clean array without faults had to spare while the battery was full, by day [kWh].

    All that is missing in those hours: dust or a lost string took nothing from anybody while
    nothing needed the energy.

    Parameters
    ----------
    measured : Measured
    """
    by_day = pd.DatetimeIndex(measured.power_w.index).normalize()
    held = measured.full & measured.known
    spare = (measured.expected_w - measured.power_w).where(held, 0.0).clip(lower=0.0)
    by_days: pd.Series = (spare * measured.step_h / 1000.0).groupby(by_day).sum()
    return by_days


def _full_finding(days: pd.DataFrame, measured: Measured) -> list[Finding]:
    lost = float(curtailed_kwh(measured).sum())
    total = float(days["expected_kwh"].sum())
    share = lost / total if total > 0.0 else 0.0
    if share < 0.005:
        return []
    return [
        Finding(
            **worded("followup", "full-finding", share=100 * share), size=share, lost_kwh=lost,
            outcome="passed",
        )
    ]


def _losses(days: pd.DataFrame, found: list[Finding]) -> dict[str, float]:
    expected, measured = float(days["expected_kwh"].sum()), float(days["measured_kwh"].sum())
    losses = {EXPECTED: expected}
    names = {
        "dust": "Soiling between cleanings",
            "string": "Strings out of operation", "step": "Sudden drops",
        "shade": "Shading not in the design", "outage": "Days of little or no power",
        "full battery": "Energy curtailed, battery full",
    }  # fmt: skip
    for kind, name in names.items():
        cost = sum(finding.lost_kwh for finding in found if finding.kind == kind)
        if cost > 0.0:
            losses[name] = -cost
    losses["Unexplained"] = measured - sum(losses.values())
    losses[MEASURED] = measured
    return losses
