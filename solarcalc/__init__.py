"""Computation behind the solarcalc workbooks: from a site file to a report."""

__version__ = "0.1.0"
