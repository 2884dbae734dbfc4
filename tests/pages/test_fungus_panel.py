"""The fungi of a tree in a browser: certainty, candidates, next look, doubt; by hand and key."""

import pytest

from pipeline.render.context import RenderContext
from pipeline.render.wording_fungi import PHOTOGRAPHS, how_often
from tests.pages.conftest import PHONE, Opener
from tests.render.map_world import SEEN_AGAIN, sighted_trees

pytestmark = pytest.mark.page
NAME = "forester_map.html"


def _tree(sighting: int) -> str:
    return f"#tree=LM-{int(sighted_trees(240)[sighting]) + 1:05d}"


def test_candidates_stand_in_order_with_their_probabilities_as_text(
    open_page: Opener, pages_run: RenderContext
) -> None:
    opened = open_page(pages_run.out / NAME, after=_tree(0))
    fungus = opened.page.locator("section.fungus")
    labels = fungus.locator(".bars .label").all_inner_texts()
    assert labels == [
        "Ganoderma applanatum",
        "Ganoderma adspersum",
        "Ganoderma, another species",
        "any other of the listed fungi",
        "another fungus, in no list here",
    ]
    odds = fungus.locator(".bars .odds").all_inner_texts()
    assert odds[0] == "97 %, about 97 in 100"
    assert odds[-1] == "< 1 %, less than 1 in 100"
    latin = fungus.locator(".label i[lang=la]")
    assert latin.count() == 3
    assert latin.first.evaluate("n => getComputedStyle(n).fontStyle") == "italic"
    width = fungus.locator(".gauge i").first.evaluate(
        "n => n.getBoundingClientRect().width / n.parentNode.clientWidth"
    )
    assert width == pytest.approx(0.97, abs=0.02)
    assert opened.complaints == []


def test_it_says_what_decided_the_age_and_what_to_look_at_next(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME, after=_tree(0)).page
    text = page.locator("section.fungus").inner_text()
    assert "The pores, gills or teeth below and the month speak for Ganoderma applanatum" in text
    assert "The host tree speaks against it." in text
    assert "2 sightings add up: 25 November 2026" in text
    assert "at least 6 years" in text
    assert "Scratch the underside with a fingernail" in text
    assert "Easily mistaken: Ganoderma applanatum and Ganoderma adspersum" in text
    assert "a thumb dents" in text
    assert "Send photographs" not in text


def test_where_it_is_unsure_it_says_so_and_asks_for_photographs(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME, after=_tree(5)).page
    fungus = page.locator("section.fungus")
    assert fungus.locator("h4").inner_text().startswith("Unsure: perhaps ")
    assert "Whether it rots this tree is unsure" in fungus.inner_text()
    page = open_page(pages_run.out / NAME, after=_tree(13)).page
    assert page.locator(".expert li").all_inner_texts() == list(PHOTOGRAPHS)


def test_what_grows_on_the_ground_speaks_neither_for_nor_against_the_tree(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME, after=_tree(8)).page
    fungus = page.locator("section.fungus")
    assert "neither good nor bad" in fungus.inner_text()
    assert fungus.locator(".rot").count() == 0


def test_a_fungus_where_no_tree_is_listed_is_shown_all_the_same(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME, after=_tree(1)).page
    text = page.locator("#thread").inner_text()
    assert "Not rated" in text
    assert "A fungus was seen here: go and see what stands" in text
    assert page.locator("section.fungus").count() == 1


def test_parts_are_shaded_as_they_are_probable_and_told_in_words(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME, after=_tree(9)).page
    shades = page.locator("svg.parts path[fill-opacity]").evaluate_all(
        "all => all.map((p) => Number(p.getAttribute('fill-opacity')))"
    )
    row = pages_run.table("scoring.identifications").slice(9, 1).to_pylist()[0]
    told = [row[f"probability_{part}"] for part in ("branch", "stem", "butt", "roots")]
    assert shades == pytest.approx(told, abs=1e-3)
    words = page.locator(".rot li .odds").all_inner_texts()
    assert words == [how_often(share) for share in told]


def test_the_frequency_words_are_those_of_the_package(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    shares = [step / 1000 for step in range(0, 1001, 7)]
    assert page.evaluate("(shares) => shares.map(Fungi.often)", shares) == [
        how_often(share) for share in shares
    ]


def test_the_filter_goes_by_the_most_probable_fungus_and_by_doubt(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    page.locator("#toggle-filters").click()
    choice = page.get_by_label("Fungus, most likely")
    on_tree = {int(t): n for n, t in enumerate(sighted_trees(240)) if t >= 0 and n != SEEN_AGAIN}
    table = pages_run.table("scoring.identifications").to_pylist()
    same = {t for t, n in on_tree.items() if table[n]["taxon_1"] == "ganoderma_applanatum"}
    assert same
    named = choice.locator("option", has_text="Ganoderma applanatum")
    assert named.inner_text() == f"Ganoderma applanatum ({len(same)})"
    choice.select_option(named.get_attribute("value"))
    shown = "Array.from(soundwood.trees.shown).reduce((n, s) => n + s, 0)"
    assert page.evaluate(shown) == len(same)
    choice.select_option("unsure")
    unsure = {
        t
        for t, n in on_tree.items()
        if table[n]["needs_expert"]
        or table[n]["decay_evidence"] == "unsure"
        or table[n]["probability_1"] < 0.5
    }
    assert page.evaluate(shown) == len(unsure)
    choice.select_option("")
    assert page.evaluate(shown) == 240


def test_a_sighting_without_a_tree_has_a_panel_that_a_key_opens_and_closes(
    open_page: Opener, pages_run: RenderContext
) -> None:
    opened = open_page(pages_run.out / NAME)
    page = opened.page
    entry = page.locator("#pane-now .rows button:not([data-tree])", has_text="Two trees").first
    entry.focus()
    page.keyboard.press("Enter")
    assert page.locator("#thread .kicker").first.inner_text() == "Sighting without a known tree"
    assert page.locator("section.fungus .bars li").count() >= 4
    assert page.evaluate("document.activeElement.id") == "thread-title"
    page.keyboard.press("Escape")
    assert page.locator("#thread").is_hidden()
    assert opened.complaints == []


def test_a_click_on_such_a_sighting_keeps_its_panel_open(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    at = page.evaluate(
        """(() => {
          const s = soundwood.page.extras.sightings, k = s.tree.findIndex((tree) => tree < 0);
          map.setView([s.lat[k], s.lon[k]], 19, { animate: false });
          const p = map.latLngToContainerPoint([s.lat[k], s.lon[k]]);
          const box = map.getContainer().getBoundingClientRect();
          return [p.x + box.x, p.y + box.y];
        })()"""
    )
    page.wait_for_timeout(200)
    page.mouse.click(*at)
    page.wait_for_timeout(100)
    assert page.locator("#thread").is_visible()
    assert page.locator("section.fungus").count() == 1


def test_a_sighting_tells_its_best_name_and_how_sure_it_is(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    said = page.evaluate("soundwood.page.thread.fungi.best(1)")
    assert said == "most likely Kretzschmaria deusta, about 6 in 10"


def test_what_the_drawing_says_is_not_said_twice(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    said = page.evaluate(
        """(() => {
          const P = soundwood.page, T = P.thread, i = P.find(LOOKED);
          T.drawn = new Set(T.rows(i, "fungus").map((row) => T.facts.said[row]));
          P.choose(i);
          return document.querySelectorAll('li[data-link=fungus] > p').length;
        })()""".replace("LOOKED", repr(_tree(0).removeprefix("#tree=")))
    )
    assert said == 0


@pytest.mark.parametrize("sighting", [0, 1, 5, 8])
def test_on_a_phone_nothing_is_cut_off(
    open_page: Opener, pages_run: RenderContext, sighting: int
) -> None:
    page = open_page(pages_run.out / NAME, size=PHONE, after=_tree(sighting)).page
    wide = page.locator("section.fungus *").evaluate_all(
        """all => all.filter((n) => { const b = n.getBoundingClientRect();
          return b.width && (b.right > innerWidth || b.left < 0); }).length"""
    )
    assert wide == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
