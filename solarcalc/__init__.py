"""Computation behind the solarcalc workbooks: from a site file to a report."""

import sys

__version__ = "0.1.0"

if "IPython" in sys.modules:
    from IPython import get_ipython

    from solarcalc.basis.kernel import small_kernel

    if (shell := get_ipython()) is not None:
        small_kernel(shell)
