"""Strings, cables, where the power room stands, pipes."""
