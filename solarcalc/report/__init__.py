"""One self-contained HTML report a site, out of executed workbooks."""

from solarcalc.report.records import Findings, ReportError, SiteSummary
from solarcalc.report.write import write_report

__all__ = ["Findings", "ReportError", "SiteSummary", "write_report"]
