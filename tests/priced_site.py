"""A site with its costs out of the invented price list, as a design has them."""

from __future__ import annotations

from pathlib import Path

from solarcalc.quote.costs import priced_costs
from solarcalc.quote.prices import read_price_list
from solarcalc.sitefile.site import Site


def priced(site: Site) -> Site:
    """The same site, its costs filled in."""
    prices = read_price_list("invented", Path())
    return site.model_copy(update={"costs": priced_costs(site, prices, "site.toml")})
