"""Tasks, crew and calendar: what is done on which day, and what waits for what."""
