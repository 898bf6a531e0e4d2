"""The logger's file against what was promised: what is lost, to what, and what to do."""
