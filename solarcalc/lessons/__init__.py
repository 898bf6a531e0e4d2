"""Lessons: a question from the roof, a prediction, one idea, and tasks checked by computation."""
