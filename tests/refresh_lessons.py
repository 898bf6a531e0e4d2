"""Write the notebooks of the lessons anew from their sources, ``data/lesson_texts``.

    python tests/refresh_lessons.py

Run it from the checkout after a change of a lesson's text; a test holds notebooks to their sources.
"""

from __future__ import annotations

from solarcalc.lessons.notebooks import write_notebooks

if __name__ == "__main__":
    for written in write_notebooks():
        print(f"wrote {written}")
