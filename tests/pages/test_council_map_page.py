"""The council page in a browser: offline, silent, whole without its map, fit for a phone."""

import pytest

from pipeline.render.context import RenderContext
from tests.pages.conftest import PHONE, Opener

pytestmark = pytest.mark.page
NAME = "council_map.html"


def test_it_opens_offline_with_one_request_and_no_complaint(
    open_page: Opener, pages_run: RenderContext
) -> None:
    opened = open_page(pages_run.out / NAME)
    opened.page.locator(".locate").first.click()
    opened.page.wait_for_timeout(200)
    asked = [url for url in opened.requests if not url.startswith(("data:", "blob:"))]
    assert len(asked) == 1
    assert opened.complaints == []


def test_the_map_shows_as_many_trees_as_the_table(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    assert page.evaluate("soundwood.trees.size") == page.locator("tbody tr").count() > 0


def test_each_row_finds_its_own_tree_on_the_map(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    for row in (0, 2):
        page.locator(f".locate[data-row='{row}']").click()
        tree = page.locator(f"#tree-{row} th").inner_text().split("\n")[0]
        card = page.locator("#card").inner_text()
        assert tree in card
        assert page.locator(f"#tree-{row} td").nth(0).inner_text().strip() in card


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_phone_never_scrolls_sideways(
    open_page: Opener, pages_run: RenderContext, *, scripts: bool
) -> None:
    page = open_page(pages_run.out / NAME, size=PHONE, scripts=scripts).page
    if scripts:
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    else:
        box = page.locator("table").bounding_box()
        assert box is not None
        assert box["x"] + box["width"] <= PHONE[0]


def test_without_scripts_the_table_stands_and_the_map_is_gone(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME, scripts=False).page
    assert page.locator("#frame").is_hidden()
    assert page.locator(".locate").first.is_hidden()
    assert page.locator("tbody tr").first.is_visible()
    assert "complete without it" in page.locator("body").inner_text()


def test_every_control_has_a_name_and_can_be_reached_by_key(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    nameless = page.evaluate(
        """Array.from(document.querySelectorAll("button, a[href], input, select, summary")).filter(
        (n) => !(n.textContent.trim() || n.getAttribute("aria-label") || n.title)).length"""
    )
    assert nameless == 0
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    small = page.evaluate(
        """Array.from(document.querySelectorAll("button")).filter((n) => n.offsetParent &&
        (n.offsetHeight < 24 || n.offsetWidth < 24)).length"""
    )
    assert small == 0  # WCAG 2.2, 2.5.8: targets of at least 24 by 24 pixels
