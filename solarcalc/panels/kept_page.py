"""Kept variants on the page: a table, an overlay of their months, entries to copy."""

from __future__ import annotations

import html
from collections.abc import Sequence

from solarcalc import page
from solarcalc.basis.hours import MONTHS
from solarcalc.figures.style import DARK, MID, WARM
from solarcalc.panels.charts import Chart
from solarcalc.panels.kept import Kept, KeptVariant
from solarcalc.panels.live import APART
from solarcalc.panels.numbers import Numbers
from solarcalc.sitefile.variants import OWN

_INKS = ((DARK, ""), (WARM, ""), (MID, ""), (DARK, "2 3"), (WARM, "2 3"), (MID, "2 3"))
_MOST_LINES = len(_INKS)
OUTDATED = "site file changed since"


def kept_html(found: Kept, own: Numbers, digest: str) -> str:
    """What is kept of a site beside its baseline; a note where nothing is.

    Parameters
    ----------
    found : Kept
    own : Numbers
        Of the baseline.
    digest : str
        Of the site file as it stands: what was kept of another is marked.
    """
    told = page.box_html(found.told) if found.told else ""
    if not found.variants:
        return told + "<p>No variants kept yet: move a control, then Keep.</p>"
    names = [one.name + (f" ({OUTDATED})" if one.digest != digest else "")
             for one in found.variants]
    rows = [[OWN, *own.rows().values()]]
    rows += [[name, *one.numbers.rows().values()]
             for name, one in zip(names, found.variants, strict=True)]
    heads = ["variant", *own.rows()]
    right = [False] + [True] * (len(heads) - 1)
    table = page.table_html([page.heading(head) for head in heads], rows, right,
                            "Variants kept of this site", APART)
    entries = "\n\n".join(one.entry for one in found.variants)
    return (f"{told}{table}{_overlay(found.variants, own)}"
            "<details><summary>Entries of [[variants]], to copy into the site file</summary>"
            f"<pre>{html.escape(entries)}</pre></details>")


def _overlay(variants: Sequence[KeptVariant], own: Numbers) -> str:
    """Energy not supplied by month where there is any, else potential AC energy."""
    shown = [one for one in variants if one.numbers.missing_kwh][-_MOST_LINES:]
    missing = any(sum(one) > 0.5 for one in
                  (own.missing_kwh, *(each.numbers.missing_kwh for each in shown)))
    what = "energy not supplied" if missing else "potential AC energy"

    def series(numbers: Numbers) -> list[float]:
        return numbers.missing_kwh if missing else numbers.potential_kwh

    if not shown or not series(own):
        return ""
    top = max(max(series(one)) for one in (own, *(each.numbers for each in shown)))
    chart = Chart(x=(-0.3, 11.3), y=(0.0, 1.1 * max(top, 1.0)), x_names=MONTHS,
                  y_words=f"{what} [kWh]", title=f"Kept variants: {what} by month")
    chart.line(range(12), series(own), ghost=True, label=OWN)
    for one, (ink, dash) in zip(shown, _INKS, strict=False):
        chart.line(range(12), series(one.numbers), ink=ink, dash=dash, label=one.name)
    return chart.svg()
