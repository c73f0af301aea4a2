"""Notebooks of the study series are opened in JupyterLab, run and read off the screen."""

import nbformat
import pytest
from lab_pages import look, run_to_the_end, to_centre, wait
from selenium.webdriver.common.by import By

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("notebook", ["03_score.ipynb", "06_mixed_models.ipynb"])
def test_a_notebook_of_the_study_series_runs_to_its_end(browser, lab, notebook):
    checked = printed_in(lab.folder / "notebooks" / notebook)
    run_to_the_end(browser, lab, notebook)
    outputs = browser.find_elements(By.CSS_SELECTOR, ".jp-OutputArea-output")
    on_screen = " ".join(" ".join(output.text.split()) for output in outputs)
    assert checked and [words for words in checked if words not in on_screen] == []
    pictures = browser.find_elements(By.CSS_SELECTOR, ".jp-OutputArea-output img")
    assert pictures
    for number, picture in enumerate(pictures):
        to_centre(browser, picture)
        wait(browser, lambda d, picture=picture: drawn_width(d, picture) > 300, 30)
        look(browser, f"{notebook}-{number}")


def printed_in(file):
    """What the stored notebook prints where it must print the same on every machine."""
    cells = nbformat.read(file, as_version=4).cells
    kept = [cell for cell in cells if "nbval-check-output" in cell.metadata.get("tags", [])]
    outputs = [output for cell in kept for output in cell.outputs]
    return [" ".join(o.text.split()) for o in outputs if o.output_type == "stream"]


def drawn_width(browser, picture):
    return browser.execute_script(
        "return arguments[0].complete && arguments[0].naturalWidth", picture
    )
