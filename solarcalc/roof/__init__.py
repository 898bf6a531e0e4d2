"""Rows on one rectangular roof plane: how they stand, how many fit around what is there."""
