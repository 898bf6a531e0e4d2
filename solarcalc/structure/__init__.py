"""Wind on the array, and what holds it down: pressure, zones, ballast, fixings."""
