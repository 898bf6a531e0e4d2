"""Many sites in one go: run the workbooks, write the reports, list them on one page."""

from solarcalc.batch.run import BatchResult, report_sites

__all__ = ["BatchResult", "report_sites"]
