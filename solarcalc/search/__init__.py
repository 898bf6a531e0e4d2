"""Whole systems for one site: very many run through the year, and the best of them built."""
