"""``python -m solarcalc`` is the command line."""

import sys

from solarcalc.cli import main

if __name__ == "__main__":
    sys.exit(main())
