"""Notebooks in JupyterLab as a reader meets them: opened, run, waited for, read and looked at."""

import itertools
import json
import os
import urllib.request
from dataclasses import dataclass
from pathlib import Path

import nbformat
from selenium.common.exceptions import NoSuchElementException, StaleElementReferenceException
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

SCREENSHOTS = os.environ.get("MOTORLEARN_SCREENSHOTS")
_PASSING = (NoSuchElementException, StaleElementReferenceException)
_WORKSPACES = itertools.count()

# Whether the notebook at this path is in front, complete, and its kernel at rest.
_RESTS = """
const panel = window.jupyterapp && window.jupyterapp.shell.currentWidget;
if (!panel || !panel.context || panel.context.path !== arguments[0]) return false;
const session = panel.context.isReady && panel.sessionContext.session;
return !!(session && session.kernel && session.kernel.status === "idle");
"""
_RUN = """
const [commands, done] = [window.jupyterapp.commands, arguments[0]];
commands.execute("notebook:clear-all-cell-outputs").then(() => {
  commands.execute("notebook:run-all-cells");
  done();
});
"""
# Of every code cell with code: whether it ran, and the errors it shows.
_CELLS = """
return window.jupyterapp.shell.currentWidget.content.widgets
  .filter((cell) => cell.model.type === "code" && cell.model.sharedModel.source.trim())
  .map((cell) => [
    cell.model.executionCount !== null,
    cell.outputArea.model.toJSON().filter((output) => output.output_type === "error"
      || (output.output_type === "stream" && output.name === "stderr"))
      .map((output) => output.evalue || output.text),
  ]);
"""


@dataclass(frozen=True)
class Lab:
    """A running JupyterLab: its address, and the folder it works in."""

    address: str
    folder: Path

    def notebook(self, name, new_name, old, new):
        """Copy a notebook with one passage of its code changed, as a reader would change it."""
        book = nbformat.read(self.folder / "notebooks" / name, as_version=4)
        cells = [cell for cell in book.cells if cell.cell_type == "code" and old in cell.source]
        assert len(cells) == 1, f"{old!r} stands in {len(cells)} cells of {name}"
        cells[0].source = cells[0].source.replace(old, new)
        nbformat.write(book, self.folder / "notebooks" / new_name)
        return new_name

    def stop_kernels(self):
        """End every session, so that no test finds the kernel of another."""
        with urllib.request.urlopen(f"{self.address}/api/sessions", timeout=10) as answer:
            sessions = json.load(answer)
        for session in sessions:
            address = f"{self.address}/api/sessions/{session['id']}"
            request = urllib.request.Request(address, method="DELETE")
            urllib.request.urlopen(request, timeout=30).close()


def run_all(browser, lab, notebook):
    """Open a notebook, clear what was stored and start every cell.

    Every opening has a workspace of its own. JupyterLab keeps the layout of a workspace on the
    server: in a shared one it first brings back the notebook of the test before, whose kernel is
    at rest, and the commands would run that one.
    """
    path, workspace = f"notebooks/{notebook}", next(_WORKSPACES)
    browser.get(f"{lab.address}/lab/workspaces/test-{workspace}/tree/{path}")
    wait(browser, lambda d: d.execute_script(_RESTS, path))
    browser.execute_async_script(_RUN)


def run_to_the_end(browser, lab, notebook):
    """Open a notebook, run it and wait until every cell has run; refuse any error output."""
    run_all(browser, lab, notebook)
    wait_for_the_end(browser)


def wait_for_the_end(browser, seconds=240):
    """Wait until every cell has run, and no longer than until the first error."""

    def over(driver):
        cells = driver.execute_script(_CELLS)
        return all(ran for ran, _ in cells) or any(errors for _, errors in cells)

    wait(browser, over, seconds)
    cells = browser.execute_script(_CELLS)
    assert cells and [errors for _, errors in cells] == [[] for _ in cells]
    assert not browser.find_elements(By.CSS_SELECTOR, "[data-mime-type$='jupyter.error']")


def wait(browser, condition, seconds=90):
    return WebDriverWait(browser, seconds, 0.1, ignored_exceptions=_PASSING).until(condition)


def find(browser, css):
    return browser.find_element(By.CSS_SELECTOR, css)


def shown(browser, css):
    """The first element in sight, or False."""
    return next((e for e in browser.find_elements(By.CSS_SELECTOR, css) if e.is_displayed()), False)


def to_centre(browser, element):
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)


def look(browser, name):
    """Keep a picture of the screen for a human eye, where a folder for it is named."""
    if SCREENSHOTS:
        browser.save_screenshot(str(Path(SCREENSHOTS) / f"{name}.png"))
