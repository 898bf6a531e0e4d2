"""JupyterLab on the loopback with a browser before it, for tests and for `tests/bench/explore.py`.

Measured in the browser itself: from the event of a key or of the mouse to the end of the frame
that paints the panel's picture, or its numbers, anew.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from solarcalc.basis.files import workbooks_folder

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
REPOSITORY = Path(__file__).resolve().parents[1]

ERROR = '[data-mime-type="application/vnd.jupyter.stderr"]'
"""An error of a cell, or a warning, as JupyterLab shows it."""
WATCH = """
() => {
  const panel = [...document.querySelectorAll('.jp-OutputArea-output .widget-vbox')]
    .find(one => one.querySelector('.widget-html svg'));
  const boxes = [...panel.querySelectorAll('.widget-html')];
  const picture = boxes.find(one => one.querySelector('svg'));
  const numbers = boxes.find(one => one.querySelector('th[scope=row]'));
  window.sc = {began: 0, picture: 0, numbers: 0};
  const note = name => new MutationObserver(() => {
    requestAnimationFrame(() => setTimeout(() => { sc[name] = performance.now(); }, 0));
  });
  const look = {childList: true, subtree: true, characterData: true};
  note('picture').observe(picture, look);
  if (numbers) note('numbers').observe(numbers, look);
  for (const kind of ['keydown', 'pointerdown', 'pointermove'])
    document.addEventListener(kind, event => { sc.began = event.timeStamp; }, true);
}
"""


def why_no_browser() -> str:
    """Why no browser can be driven here; empty where one can."""
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        return "playwright is not installed (the extra: screen)"
    return "" if CHROMIUM else "no chromium on this machine"


@contextlib.contextmanager
def lab(folder: Path, state: Path) -> Iterator[str]:
    """JupyterLab with copies of the workbooks in `folder`; gives its address.

    Parameters
    ----------
    folder : Path
        Filled with the workbooks.
    state : Path
        Where panels keep variants, and where Jupyter keeps its own things.
    """
    for path in workbooks_folder().glob("*.ipynb"):
        shutil.copy(path, folder)
    shutil.copytree(workbooks_folder() / "lessons", folder / "lessons", dirs_exist_ok=True,
                    ignore=shutil.ignore_patterns("progress"))
    port = _free_port()
    environment = os.environ | {
        "SOLARCALC_STATE": str(state / "variants"), "JUPYTER_CONFIG_DIR": str(state / "config"),
        "JUPYTER_RUNTIME_DIR": str(state / "runtime"), "PYTHONPATH": str(REPOSITORY),
        "JUPYTER_DATA_DIR": str(state / "data"), "JUPYTERLAB_SETTINGS_DIR": str(state / "settings"),
    }
    log = (state / "lab.log").open("wb")
    server = subprocess.Popen(
        [sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1", f"--port={port}",
         "--allow-root", "--IdentityProvider.token=", "--LabApp.expose_app_in_browser=True",
         "--LabApp.news_url=None", "--LabApp.check_for_updates_class="
         "jupyterlab.NeverCheckForUpdate", f"--ServerApp.root_dir={folder}"],
        env=environment, stdout=subprocess.DEVNULL, stderr=log,
        start_new_session=True,
    )  # fmt: skip
    log.close()
    address = f"http://127.0.0.1:{port}"
    try:
        _wait_for(address, server)
        yield address
    finally:
        os.killpg(server.pid, signal.SIGTERM)
        with contextlib.suppress(subprocess.TimeoutExpired):
            server.wait(15.0)
        if server.poll() is None:
            os.killpg(server.pid, signal.SIGKILL)


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def _wait_for(address: str, server: subprocess.Popen[bytes]) -> None:
    for _ in range(240):
        if server.poll() is not None:
            raise RuntimeError("JupyterLab ended before it answered")
        with contextlib.suppress(OSError), urllib.request.urlopen(f"{address}/api", timeout=2.0):
            return
        time.sleep(0.25)
    raise RuntimeError("JupyterLab does not answer")


@contextlib.contextmanager
def browser() -> Iterator[Any]:
    """A page of Debian's chromium that reaches the loopback alone."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = started.new_page(viewport={"width": 1500, "height": 1100})
        page.route("**/*", lambda route: route.continue_()
                   if route.request.url.startswith(("http://127.0.0.1", "data:", "blob:", "ws:"))
                   else route.abort())  # fmt: skip
        try:
            yield page
        finally:
            started.close()


def open_workbook(page: Any, address: str, name: str) -> None:
    """A workbook in a tab of its own, its kernel ready."""
    page.goto(f"{address}/lab/tree/{name}.ipynb?reset")
    page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
    page.wait_for_function(
        "() => { const now = window.jupyterapp?.shell?.currentWidget?.sessionContext;"
        " return now?.session?.kernel?.status === 'idle'; }", timeout=60_000)


def run_all(page: Any) -> float:
    """Run all cells; seconds until the last one is done."""
    began = time.perf_counter()
    page.evaluate("() => window.jupyterapp.commands.execute('notebook:run-all-cells')")
    return time.perf_counter() - began


def save_and_end(page: Any) -> None:
    """Save the workbook, and shut its kernel down."""
    page.evaluate("""async () => {
      const now = window.jupyterapp.shell.currentWidget;
      await now.context.save();
      await now.sessionContext.shutdown();
    }""")


def change_parameters(page: Any, source: str) -> None:
    """Other text in the cell tagged parameters."""
    page.evaluate("""source => {
      for (const cell of window.jupyterapp.shell.currentWidget.model.cells)
        if ((cell.getMetadata('tags') || []).includes('parameters'))
          cell.sharedModel.setSource(source);
    }""", source)


def show_all_cells(page: Any) -> None:
    """Outputs out of sight stand in the page as well."""
    page.evaluate("""() => { const book = window.jupyterapp.shell.currentWidget.content;
      book.notebookConfig = {...book.notebookConfig, windowingMode: 'none'}; }""")


def fill_in(page: Any, cells: Mapping[str, str]) -> None:
    """Other text for code cells, by a word that each holds."""
    page.evaluate("""cells => {
      for (const cell of window.jupyterapp.shell.currentWidget.model.cells)
        for (const [word, source] of Object.entries(cells))
          if (cell.type === 'code' && cell.sharedModel.getSource().includes(word))
            cell.sharedModel.setSource(source);
    }""", dict(cells))


def first_handle(page: Any) -> Any:
    """The handle of the first slider of the panel, in sight."""
    handle = page.locator(".jp-OutputArea-output .noUi-handle").first
    handle.scroll_into_view_if_needed()
    return handle


def watch(page: Any) -> None:
    """Begin to note when the panel's picture and numbers change."""
    page.wait_for_selector(".widget-html svg", timeout=60_000)
    page.evaluate(WATCH)


def no_change() -> type[Exception]:
    """What `times` raises where nothing was drawn anew in its time."""
    from playwright.sync_api import TimeoutError as Late

    return Late


def times(page: Any, *, timeout_s: float = 10.0) -> tuple[float, float]:
    """Milliseconds from the last event to the picture, and to the numbers that follow it.

    Numbers painted before the picture are those of Run All, which a busy browser paints late.
    """
    page.wait_for_function("() => sc.picture > sc.began && sc.numbers >= sc.picture",
                           timeout=timeout_s * 1000.0, polling=5)  # fmt: skip
    found = json.loads(page.evaluate("() => JSON.stringify(sc)"))
    return found["picture"] - found["began"], found["numbers"] - found["began"]
