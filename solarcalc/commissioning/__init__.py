"""Tests at the end of the work: what to measure, what to expect, what a wrong value means."""
