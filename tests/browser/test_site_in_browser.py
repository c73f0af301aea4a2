"""The folder of pages from a disk, in a browser that reaches no network: links, a vote, sizes."""

import pytest
from looks import pale_texts
from selenium.webdriver.common.by import By
from test_demonstration_pages import SIZES, SMALL, shown

import motorlearn as ml
from motorlearn.teaching.demonstrations.lessons import LESSONS
from motorlearn.teaching.site import folder as site_folder

pytestmark = pytest.mark.browser

SMALL_LINKS = SMALL.replace("button, input, summary", "ul.pages a, nav a")


@pytest.fixture(scope="module")
def first_page(tmp_path_factory):
    """The folder with two demonstrations, which are like all the others."""
    with pytest.MonkeyPatch.context() as patched:
        few = {name: LESSONS[name] for name in ("ceiling", "adaptation")}
        patched.setattr(site_folder, "LESSONS", few)
        place = tmp_path_factory.mktemp("lecture") / "site"
        return ml.teaching.write_site(place, seats=4, class_seed=2)


@pytest.fixture(params=SIZES)
def window(request, programs, tmp_path):
    with shown(programs, request.param, tmp_path) as window:
        yield window


def test_every_page_opens_from_the_first_and_complains_of_nothing(first_page, window):
    window.get(first_page.as_uri())
    assert not window.execute_script(SMALL_LINKS)
    links = [link.get_attribute("href") for link in window.find_elements(By.TAG_NAME, "a")]
    assert len(links) == 17
    for address in links:
        window.get(address)
        assert window.find_element(By.TAG_NAME, "h1").text.strip(), address
        wide = window.execute_script(
            "return document.documentElement.scrollWidth - window.innerWidth"
        )
        assert wide <= 0, address
    assert not window.get_log("browser")


def test_a_demonstration_is_voted_on(first_page, window):
    window.get(first_page.as_uri())
    window.find_element(By.PARTIAL_LINK_TEXT, LESSONS["ceiling"].title).click()
    first = LESSONS["ceiling"].predictions[0]
    choices = window.find_elements(By.CSS_SELECTOR, "#predictions button")
    next(choice for choice in choices if choice.text == first).click()
    window.find_element(By.ID, "reveal").click()
    assert window.find_element(By.ID, "verdict").text
    assert window.find_element(By.CSS_SELECTOR, "#picture svg").is_displayed()


def test_texts_of_the_first_page_and_of_a_notebook_stand_out(first_page, window):
    for page in (first_page, first_page.parent / "notebooks" / "05_compare.html"):
        window.get(page.as_uri())
        assert pale_texts(window, window.find_element(By.TAG_NAME, "body")) == []
