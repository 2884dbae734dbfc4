"""Index, report and crew sheets in a browser: offline, silent, fit for thumbs and paper."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page

from pipeline.render.context import RenderContext
from pipeline.render.exports import lists
from pipeline.render.pages import crew_sheet, index, run_report
from tests.pages.conftest import DESKTOP, PHONE, Opener
from tests.render import sheet_world
from tests.render.sheet_world import STOPS

pytestmark = pytest.mark.page
SHEET = "crews/2027-01-04_lift-north.html"
PAGES = (index.NAME, run_report.NAME, "crews/index.html", SHEET)
_THUMB_PX = 44


@pytest.fixture(scope="session")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run with its sheets and lists written."""
    made = sheet_world.context(tmp_path_factory.mktemp("sheets"))
    for write in (crew_sheet.write, lists.write_queue, lists.write_review, run_report.write,
                  index.write):  # fmt: skip
        write(made)
    return made


def _page(open_page: Opener, path: Path, size: tuple[int, int] = DESKTOP) -> Page:
    return open_page(path, size=size, scripts=False).page


@pytest.mark.parametrize("name", PAGES)
def test_a_page_asks_for_itself_only_and_complains_of_nothing(
    open_page: Opener, sheets: RenderContext, name: str
) -> None:
    opened = open_page(sheets.out / name, scripts=False)
    assert opened.requests == [(sheets.out / name).as_uri()]
    assert opened.complaints == []


@pytest.mark.parametrize("name", PAGES)
def test_a_phone_never_scrolls_sideways(
    open_page: Opener, sheets: RenderContext, name: str
) -> None:
    page = _page(open_page, sheets.out / name, PHONE)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]


def test_every_button_is_as_large_as_a_thumb(open_page: Opener, sheets: RenderContext) -> None:
    page = _page(open_page, sheets.out / SHEET, PHONE)
    pressed = page.locator(".go, .strip a").all()
    assert len(pressed) > STOPS
    boxes = [link.bounding_box() for link in pressed]
    assert min(box["height"] for box in boxes if box is not None) >= _THUMB_PX


def test_the_list_leads_to_each_stop_and_on_to_the_next(
    open_page: Opener, sheets: RenderContext
) -> None:
    page = _page(open_page, sheets.out / SHEET, PHONE)
    page.locator(".strip a").nth(2).click()
    assert page.url.endswith("#s3")
    page.locator("#s3 .next a", has_text="Next stop").click()
    assert page.url.endswith("#s4")
    top = page.locator("#s4").bounding_box()
    assert top is not None
    assert 0 <= top["y"] < PHONE[1] / 2


def test_hazards_stand_above_the_place_on_every_card(
    open_page: Opener, sheets: RenderContext
) -> None:
    page = _page(open_page, sheets.out / SHEET, PHONE)
    for number in range(1, STOPS + 1):
        hazards = page.locator(f"#s{number} .hz").bounding_box()
        place = page.locator(f"#s{number} .facts").bounding_box()
        assert hazards is not None
        assert place is not None
        assert hazards["y"] + hazards["height"] <= place["y"]


def test_marks_of_hazards_and_ratings_are_drawn(open_page: Opener, sheets: RenderContext) -> None:
    page = _page(open_page, sheets.out / SHEET)
    used = page.locator("article use").all()
    targets = {use.get_attribute("href") for use in used}
    assert targets
    assert all(page.locator(f"symbol{target}").count() == 1 for target in targets)


@pytest.mark.parametrize("paper", [(210.0, 297.0), (215.9, 279.4)], ids=["A4", "Letter"])
def test_two_cards_fit_a_printed_page(
    open_page: Opener, sheets: RenderContext, paper: tuple[float, float]
) -> None:
    page = _page(open_page, sheets.out / SHEET)
    printed = page.pdf(width=f"{paper[0]}mm", height=f"{paper[1]}mm")
    sheets_of_paper = len(re.findall(rb"/Type\s*/Page\b(?!s)", printed))
    assert sheets_of_paper == 1 + STOPS / 2  # the day, then two stops to a page


def test_ratings_are_never_green(open_page: Opener, sheets: RenderContext) -> None:
    page = _page(open_page, sheets.out / index.NAME)
    fills = page.eval_on_selector_all(
        ".words circle[fill]", "all => all.map(one => getComputedStyle(one).fill)"
    )
    assert len(fills) == 5
    for fill in fills:
        red, green, _ = (int(part) for part in re.findall(r"\d+", fill)[:3])
        assert green <= red


def test_text_of_the_city_never_runs(open_page: Opener, sheets: RenderContext) -> None:
    for name in PAGES:
        page = open_page(sheets.out / name, scripts=False).page
        assert page.locator("script").count() == 0


def test_dark_paper_keeps_its_contrast(open_page: Opener, sheets: RenderContext) -> None:
    page = _page(open_page, sheets.out / SHEET)
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        ink, ground = page.eval_on_selector(
            ".hz b", "one => [getComputedStyle(one).color, "
            "getComputedStyle(one.closest('.hz')).backgroundColor]"
        )  # fmt: skip
        # WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text.
        assert _contrast(ink, ground) >= 4.5


def _contrast(first: str, second: str) -> float:
    darker, lighter = sorted(_luminance(one) for one in (first, second))
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
