"""Settings of the documentation site: ``sphinx-build -W docs site``.

What has its home in the code or the data is written into ``docs/made`` first. Nothing is fetched
from another host, neither now nor by a reader.
"""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from generate.all_pages import write_all  # noqa: E402

from solarcalc import __version__  # noqa: E402

project = "solarcalc"
author = "the contributors of solarcalc"
release = __version__
extensions = ["myst_parser"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["generate", "pictures"]
nitpicky = True
myst_heading_anchors = 3
myst_enable_extensions = ["colon_fence"]
suppress_warnings = ["misc.highlighting_failure"]
highlight_language = "text"

html_theme = "furo"
html_title = f"solarcalc {__version__}"
html_show_sphinx = False
html_copy_source = False
html_show_copyright = False
html_theme_options = {"top_of_page_buttons": []}

write_all(HERE / "made")
