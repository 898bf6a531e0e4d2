"""Hour by hour: sun, store, grid and generator, and two boards; what is supplied and what is not.

`simulate` runs one system with all its flows, `frontier` ten thousand pairs of array and bank.
Both bring the compiler in when they are called, not before; the first use after a change of the
code compiles for some seconds, and the machine code is then kept on disk.
"""
