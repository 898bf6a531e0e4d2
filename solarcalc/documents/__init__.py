"""Documents of a site, each with one reader: trees of blocks, set as HTML and as PDF."""
