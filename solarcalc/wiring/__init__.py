"""Strings, cables, where the power room stands, ducts."""
