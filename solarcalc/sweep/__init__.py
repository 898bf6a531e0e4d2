"""Very many arrays over a year, compiled: their energy in one table, and which of them is best.

A plane (tilt, azimuth, cleaning plan) is made ready once and shared by all pitches, ways round
and counts up (`kernels`); the module's power is a fit to its diode and the cost of
shade the circuit's own table (both `device`). The first use after a change of the code compiles for
about ten seconds; the machine code is then kept on disk, and brought in within a second. Import
this stage where it is used: it imports numba, which takes as long again. Neither starts a thread.
"""
