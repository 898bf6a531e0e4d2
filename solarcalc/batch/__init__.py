"""Many sites in one go: run the workbooks, write the reports, list them on one page."""
