"""Pictures of a quote: what it hangs on, where the money goes, when it comes back."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from solarcalc.basis.hours import MONTHS
from solarcalc.basis.quantity import in_percent, three_figures
from solarcalc.basis.text import brief, small
from solarcalc.figures.style import DARK, INK, LIGHT, MID, PALE, WARM, sheet, styled
from solarcalc.quote.answer import Swing
from solarcalc.quote.economics import Economics, price_rise_words
from solarcalc.quote.offer import Offer, group_prices

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_BARS = 10
_LINES = (("-", DARK), ("--", WARM), ("-.", MID), (":", INK))


@styled
def draw_tornado(
    swings: Sequence[Swing], *, answer: str, unit: str, invented: bool = False
) -> Figure:
    """The answer with each input low and high, the widest on top.

    Parameters
    ----------
    swings : sequence of Swing
        Sorted; those that move nothing are left out.
    answer : str
        What is answered, in words: ``"net present value"``.
    unit : str
        Of the answer.
    invented : bool
        Whether the prices are.
    """
    shown = [one for one in swings if one.width > 0.0][:MOST_BARS]
    figure, (axis,) = sheet(7.2, 1.2 + 0.34 * max(len(shown), 1))
    if not shown:
        axis.set_title(f"No input changes the {answer}")
        axis.set_axis_off()
        return figure
    middle = shown[0].as_planned
    for place, one in enumerate(shown):
        for end, ink, hatch in ((one.at_low, LIGHT, "////"), (one.at_high, DARK, "")):
            axis.barh(place, end - middle, left=middle, height=0.62, color=ink, edgecolor=INK,
                      lw=0.6, hatch=hatch)  # fmt: skip
        _label_ends(axis, place, one, middle)
    axis.axvline(middle, color=INK, lw=1.2)
    axis.set_yticks(range(len(shown)), [one.name for one in shown])
    axis.invert_yaxis()
    axis.margins(x=0.16)
    axis.set(xlabel=f"{answer} [{unit}]; as designed {three_figures(middle)}{_note(invented)}",
             title=f"Largest effect on {small(answer)}: {shown[0].name}")
    axis.plot([], [], marker="s", ls="none", ms=8, mfc=LIGHT, mec=INK, label="input low")
    axis.plot([], [], marker="s", ls="none", ms=8, mfc=DARK, mec=INK, label="input high")
    axis.legend(loc="lower right", fontsize=7.5, framealpha=0.95)
    axis.spines["left"].set_visible(False)
    axis.tick_params(axis="y", length=0)
    return figure


def _label_ends(axis: Axes, place: int, one: Swing, middle: float) -> None:
    """The input's value at each end of its bar, where the ends lie on two sides of the middle."""
    for end, given in ((one.at_low, one.low_input), (one.at_high, one.high_input)):
        if end == middle:
            continue
        left = end < middle
        axis.annotate(_input(given, percent=one.percent), (end, place),
                      xytext=(-3 if left else 3, 0), textcoords="offset points",
                      ha="right" if left else "left", va="center", fontsize=7.0)  # fmt: skip


@styled
def draw_cost_groups(offers: Mapping[str, Offer]) -> Figure:
    """Price before tax by group, one set of bars an offer.

    Parameters
    ----------
    offers : mapping of str to Offer
        By name, at most four.
    """
    named = dict(list(offers.items())[:len(_LINES)])
    parts = {name: group_prices(offer) for name, offer in named.items()}
    groups = list(dict.fromkeys(group for found in parts.values() for group in found))
    first = next(iter(named.values()))
    figure, (axis,) = sheet(7.2, 1.3 + (0.12 + 0.24 * len(named)) * max(len(groups), 1))
    inks = ((DARK, ""), (LIGHT, "////"), (WARM, ""), (PALE, "...."))
    high = 0.8 / len(named)
    for number, ((name, found), (ink, hatch)) in enumerate(zip(parts.items(), inks, strict=False)):
        places = np.arange(len(groups)) + (number - (len(named) - 1) / 2.0) * high
        amounts = [found.get(group, 0.0) for group in groups]
        axis.barh(places, amounts, height=0.92 * high, color=ink, hatch=hatch, edgecolor=INK,
                  lw=0.6, label=name)  # fmt: skip
        for place, amount in zip(places, amounts, strict=True):
            axis.annotate(three_figures(amount), (amount, place), xytext=(3, 0), va="center",
                          textcoords="offset points", fontsize=7.0)  # fmt: skip
    axis.set_yticks(range(len(groups)), groups)
    axis.invert_yaxis()
    axis.margins(x=0.12, y=0.02)
    own = next(iter(parts.values()))
    most = max(own, key=lambda group: own[group], default="nothing")
    share = own.get(most, 0.0) / first.price if first.price > 0.0 else 0.0
    axis.set(xlabel=f"price before tax [{first.currency}]{_note(first.invented)}",
             title=f"Largest part of the price, {in_percent(share, 0)} %: {most}")
    if len(named) > 1:
        axis.legend(loc="lower right", fontsize=7.5, framealpha=0.95)
    return figure


@styled
def draw_cash_flows(
    found: Mapping[str, Economics], *, currency: str, invented: bool = False,
    fit: Collection[str] = (),
) -> Figure:
    """Sum of the yearly flows of each variant, the payback marked.

    Parameters
    ----------
    found : mapping of str to Economics
        By name, at most four.
    currency : str
    invented : bool
        Whether the prices are.
    fit : collection of str
        Names that the title may say are soonest paid back: none that is worse in what it does.
        A single one needs no other's leave.
    """
    figure, (axis,) = sheet(7.2, 3.4)
    shown = list(found.items())[:len(_LINES)]
    _flows(axis, found, currency=currency, invented=invented)
    axis.set_title(_finding(shown, fit))
    return figure


@styled
def draw_variants(
    missing_kwh: Mapping[str, Sequence[float]], found: Mapping[str, Economics], *,
    currency: str, invented: bool = False,
) -> Figure:  # fmt: skip
    """Variants over one another: energy not supplied by month, and their cumulative cash flow.

    Parameters
    ----------
    missing_kwh : mapping of str to sequence of float
        By name, at most four: energy not supplied from January to December [kWh].
    found : mapping of str to Economics
        By name; those that have an answer.
    currency : str
    invented : bool
        Whether the prices are.
    """
    figure, (months, axis) = sheet(7.2, 2.9, 2)
    shown = dict(list(missing_kwh.items())[:len(_LINES)])
    for (name, kwh), (line, ink) in zip(shown.items(), _LINES, strict=False):
        months.plot(range(1, 13), kwh, ls=line, color=ink, lw=1.6, label=name)
    months.set_xticks(range(1, 13), [name[0] for name in MONTHS])
    months.set(xlabel="month", ylabel="energy not supplied [kWh]", title=_least(shown))
    months.set_ylim(bottom=0.0)
    months.grid(axis="y", color=PALE)
    months.legend(loc="best", fontsize=7.0, framealpha=0.95)
    _flows(axis, found, currency=currency, invented=invented, beside=tuple(shown))
    axis.set(ylabel=f"[{currency}]", title=f"Cumulative cash flow{_note(invented)}")
    return figure


def _least(shown: Mapping[str, Sequence[float]]) -> str:
    sums = {name: round(sum(kwh)) for name, kwh in shown.items()}
    least = min(sums.values())
    names = [name for name, kwh in sums.items() if kwh == least]
    said = "all alike" if len(names) == len(sums) > 1 else names[0]
    return f"Least, {three_figures(float(least))} kWh/year: {brief(said, 22)}"


def _flows(
    axis: Axes, found: Mapping[str, Economics], *, currency: str, invented: bool,
    beside: Sequence[str] = (),
) -> None:  # fmt: skip
    """A line of cumulative cash flow for each, payback and battery replacements marked.

    Names of the picture `beside` have their lines as there.
    """
    styles = dict(zip(beside or found, _LINES, strict=False))
    shown = [(name, one) for name, one in found.items() if name in styles]
    for name, one in shown:
        line, ink = styles[name]
        sums = np.cumsum(one.net)
        back = one.payback_years
        words = "no payback" if back is None else f"payback in {back:.1f} years"
        axis.plot(range(len(sums)), sums, ls=line, color=ink, lw=1.6,
                  label=f"{brief(name, 22)}: {words}" if beside else f"{name}: {words}")
        if back is not None:
            axis.plot([back], [0.0], marker="o", ms=8, mfc="white", mec=ink, mew=1.8, zorder=4)
        for year in one.replacement_years:
            axis.plot([year], [sums[year]], marker="v", ms=6, color=ink, zorder=3)
    if any(one.payback_years is not None for _, one in shown):
        axis.plot([], [], marker="o", ls="none", ms=8, mfc="white", mec=INK, label="payback")
    if any(one.replacement_years for _, one in shown):
        axis.plot([], [], marker="v", ls="none", ms=6, color=INK, label="battery replacement")
    axis.axhline(0.0, color=INK, lw=1.0)
    axis.grid(axis="y", color=PALE)
    axis.legend(loc="best", fontsize=7.5, framealpha=0.95)
    axis.xaxis.set_major_locator(MaxNLocator(integer=True))
    rise = price_rise_words(shown[0][1].plan.price_escalation_frac) if shown else ""
    axis.set(xlabel=f"years{', ' if rise else ''}{rise}",
             ylabel=f"cumulative cash flow [{currency}]{_note(invented)}")


def _finding(shown: Sequence[tuple[str, Economics]], fit: Collection[str]) -> str:
    paid = [(one.payback_years, name) for name, one in shown if one.payback_years is not None]
    if not paid:
        return "No payback within the life of the system"
    backs = [one for one in paid if len(shown) == 1 or one[1] in fit]
    if not backs:
        return "Payback: see also supply and failed checks of each variant"
    years, name = min(backs)
    return f"Simple payback period {years:.1f} years" + (
        f": {name}" if len(shown) > 1 else ""
    )


def _note(invented: bool) -> str:
    return ", invented example prices" if invented else ""


def _input(value: float, *, percent: bool) -> str:
    return f"{three_figures(100.0 * value)} %" if percent else three_figures(value)
