"""What a printer makes of the short report and of the page to sign: so many sheets of A4."""

import base64
import sys
from pathlib import Path

import pytest

import motorlearn as ml
from motorlearn.report import supervisor_page

sys.path.insert(0, str(Path(__file__).parents[1] / "gallery"))
import studies

pytestmark = pytest.mark.browser

SIX = ("ring push", "hits, one group", "time", "two transfers", "three groups", "pilot")
A4 = {"paperWidth": 8.27, "paperHeight": 11.69, "preferCSSPageSize": True, "printBackground": True}


def sheets(browser, page):
    """Number of sheets a page prints on."""
    browser.get(page.resolve().as_uri())
    printed = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", A4)["data"])
    return printed.count(b"/Type /Page\n")


@pytest.fixture(scope="module", params=SIX)
def analysis(request):
    return ml.analyse_study((studies.COMPUTED | studies.REFUSED)[request.param]())


def test_the_page_to_sign_is_one_sheet(browser, analysis, tmp_path):
    page = supervisor_page(analysis).write(tmp_path / "page.html")
    assert sheets(browser, page) == 1


def test_the_short_report_has_at_most_six_sheets(browser, analysis, tmp_path):
    page = ml.write_report(analysis, tmp_path / "report", short=True, draft=False, quiet=True)
    assert 1 <= sheets(browser, page) <= 6


def test_a_link_into_the_appendix_opens_its_section(browser, tmp_path):
    page = ml.write_report(studies.timed_task(), tmp_path / "report", quiet=True)
    browser.get(page.resolve().as_uri())
    folded = browser.find_elements("css selector", "details")
    assert folded and not any(section.get_attribute("open") for section in folded)
    link = browser.find_element("css selector", 'a[href="#tab-participants"]')
    browser.execute_script("arguments[0].click()", link)
    table = browser.find_element("id", "tab-participants")
    assert table.is_displayed()
    browser.find_element("id", "open-all").click()
    assert all(section.get_attribute("open") for section in folded)
