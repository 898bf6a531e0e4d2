"""One self-contained HTML report a site, out of executed workbooks."""
