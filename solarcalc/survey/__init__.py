"""The survey as a spreadsheet and as a page for a phone, and what comes back from them."""
