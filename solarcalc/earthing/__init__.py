"""The earth electrode, the conductors joined to it, and what lightning asks."""
