"""The forester's map in a browser: offline, silent, true to the tables, usable by hand and key."""

import pytest

from pipeline.render import marks
from pipeline.render.context import RenderContext
from pipeline.terms import RatingWord
from tests.pages.conftest import PHONE, Opener
from tests.render import map_world

pytestmark = pytest.mark.page
NAME = "forester_map.html"


def test_it_opens_offline_with_one_request_and_no_complaint(
    open_page: Opener, pages_run: RenderContext
) -> None:
    opened = open_page(pages_run.out / NAME)
    opened.page.locator(".rows button[data-tree]").first.click()
    opened.page.wait_for_timeout(200)
    asked = [url for url in opened.requests if not url.startswith(("data:", "blob:"))]
    assert len(asked) == 1
    assert asked[0].startswith("file:")
    assert opened.complaints == []


def test_marks_drawn_are_the_ratings_of_the_table(
    open_page: Opener, pages_run: RenderContext
) -> None:
    opened = open_page(pages_run.out / NAME)
    counted = opened.page.evaluate(
        "Array.from(soundwood.trees.rating).reduce((n, r) => (n[r]++, n), [0,0,0,0,0,0])"
    )
    told = pages_run.store.query(
        "select case when rated then rating else 5 end r, count(*) n "
        "from scoring.tree_ratings group by 1"
    )
    expected = dict(zip(told["r"].to_pylist(), told["n"].to_pylist(), strict=True))
    assert counted == [expected.get(r, 0) for r in range(6)]
    visited = opened.page.evaluate(
        "(() => { let n = 0; soundwood.trees.within(0, 0, 1, 1, () => n++); return n; })()"
    )
    assert visited == 240
    assert opened.page.locator("#count-view").inner_text() == "240"


def test_the_canvas_is_not_empty_and_shows_the_worst_rating(
    open_page: Opener, pages_run: RenderContext
) -> None:
    opened = open_page(pages_run.out / NAME)
    opened.page.wait_for_timeout(300)
    found = opened.page.evaluate(
        """(() => {
          const wanted = [0x57, 0x10, 0x19];
          let n = 0;
          for (const tile of document.querySelectorAll(".leaflet-trees-pane canvas")) {
            const d = tile.getContext("2d").getImageData(0, 0, tile.width, tile.height).data;
            for (let i = 0; i < d.length; i += 4)
              if (d[i] === wanted[0] && d[i + 1] === wanted[1] && d[i + 2] === wanted[2]) n++;
          }
          return n;
        })()"""
    )
    assert found > 20


def test_first_comes_what_needs_a_person_now(open_page: Opener, pages_run: RenderContext) -> None:
    page = open_page(pages_run.out / NAME).page
    first = page.locator("#pane-now .rows li").first.inner_text()
    assert "root plate is lifting" in first
    urgent = pages_run.store.query("select count(*) n from scoring.reviews where urgency = 0")
    assert page.locator("#count-now").inner_text() == str(urgent["n"][0].as_py())


def test_a_tree_opens_its_thread_by_key_and_closes_with_escape(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    button = page.locator("#pane-now .rows button[data-tree]").first
    button.focus()
    page.keyboard.press("Enter")
    knots = page.locator("#thread .knots > li")
    assert knots.count() == 8
    assert page.locator("#thread .knots > li.missing").count() == 0
    thread = page.locator("#thread").inner_text()
    assert "Do not climb" in thread
    assert "Heron School" in thread
    assert "imminent" in thread
    assert page.evaluate("document.activeElement.id") == "thread-title"
    page.keyboard.press("Escape")
    assert page.locator("#thread").is_hidden()
    assert page.evaluate("document.activeElement.dataset.tree") == button.get_attribute("data-tree")


def test_a_click_on_the_map_opens_the_tree_under_it(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    page.evaluate("void map.setView(soundwood.trees.latLng(100), 19, {animate: false})")
    page.wait_for_timeout(200)
    box = page.locator("#map_city").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_timeout(400)
    assert page.evaluate("soundwood.page.chosen") == 100


def test_a_link_to_a_tree_opens_it(open_page: Opener, pages_run: RenderContext) -> None:
    page = open_page(pages_run.out / NAME, after="#tree=LM-00006").page
    assert "LM-00006" in page.locator("#thread header").inner_text()


def test_a_link_to_no_tree_says_so(open_page: Opener, pages_run: RenderContext) -> None:
    for asked in ("NOPE", "%E0%A4%A"):
        opened = open_page(pages_run.out / NAME, after=f"#tree={asked}")
        assert opened.page.locator("#hits").inner_text() == "No tree with this id in this run."
        assert opened.complaints == []


def test_what_is_not_rated_shows_its_status_only(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    page.evaluate("soundwood.page.choose(Array.from(soundwood.trees.rating).indexOf(5))")
    assert page.locator("#thread .knots").count() == 0
    said = page.locator("#thread").inner_text()
    assert "Not rated: the inventory calls this a" in said
    assert "Sounding" not in said


def test_the_caution_is_on_the_first_screen_of_a_phone(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME, size=PHONE).page
    line = page.locator(".aid-first")
    assert line.inner_text() == "Screening aid. Not inspected is not low."
    box, side = line.bounding_box(), page.locator("#side").bounding_box()
    assert box is not None
    assert side is not None
    assert 0 < box["y"] < side["y"] < PHONE[1]
    page.evaluate("soundwood.page.choose(0)")
    told = page.locator("#thread .aid")
    assert told.is_visible()
    near = told.bounding_box()
    assert near is not None
    assert near["y"] < PHONE[1] * 0.6


def test_filters_leave_only_what_was_asked(open_page: Opener, pages_run: RenderContext) -> None:
    page = open_page(pages_run.out / NAME).page
    page.locator("#toggle-filters").click()
    page.get_by_label("Only trees with evidence").check()
    evidence = pages_run.store.query("select count(*) n from scoring.tree_ratings where evidence")
    count = evidence["n"][0].as_py()
    assert page.locator("#shown").inner_text() == f"{count} trees shown."
    page.get_by_label("Quarter").select_option("2027Q2")
    planned = pages_run.store.query(
        "select count(distinct tree_key) n from planning.queue join planning.jobs using (job_key) "
        "where quarter = '2027Q2'"
    )
    assert page.locator("#shown").inner_text() == f"{planned['n'][0].as_py()} trees shown."


def test_search_finds_ids_and_streets_and_markup_stays_text(
    open_page: Opener, pages_run: RenderContext
) -> None:
    opened = open_page(pages_run.out / NAME)
    page = opened.page
    page.locator("#find").fill("lm-00017")
    page.keyboard.press("Enter")
    assert "LM-00017" in page.locator("#thread header").inner_text()
    page.locator("#find").fill("<script>")
    assert map_world.MARKUP in page.locator("#hits").inner_text()
    assert page.locator("#hits script").count() == 0
    page.locator("#hits button").first.click()
    assert map_world.MARKUP in page.locator("#pane-view").inner_text()
    assert opened.complaints == []


def test_search_puts_the_id_itself_before_ids_that_hold_it(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    ids = ["17640", "76401", "A-17640", "A-07640", "7640"]
    page.evaluate(
        "ids => { soundwood.trees.texts = Array.from({length: 240}, (_, i) => ids[i] ?? `x${i}`);"
        " soundwood.trees.words.street[1] = 'Road 7640'; }",
        ids,
    )
    page.locator("#find").fill("7640")
    hits = page.locator("#hits button").evaluate_all("all => all.map(b => b.firstChild.data)")
    assert hits == ["7640", "A-07640", "76401", "17640", "A-17640", "Road 7640"]
    page.keyboard.press("Enter")
    assert page.evaluate("soundwood.trees.idOf(soundwood.page.chosen)") == "7640"


def test_sightings_show_their_accuracy_and_candidates(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    page.evaluate("void map.setZoom(17, {animate: false})")
    page.wait_for_timeout(200)
    kinds = page.evaluate(
        "soundwood.page.sightings.getLayers().map((l) => l instanceof L.Circle ? 'circle' : "
        "l instanceof L.CircleMarker ? 'point' : 'line')"
    )
    assert {"circle", "point", "line"} <= set(kinds)
    page.locator("#show-sightings").uncheck()
    assert page.evaluate("soundwood.page.sightings.getLayers().length") == 0


def test_a_review_that_asks_which_tree_shows_each_with_its_odds(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    page.locator("#pane-now .rows button", has_text="say which one it is").first.click()
    page.wait_for_timeout(200)
    panel = page.locator("#thread")
    assert "Which tree is it on?" in panel.inner_text()
    assert "4 m from the point" in panel.inner_text()
    assert "85 %" in page.locator(".leaflet-tooltip.share").all_inner_texts()
    candidate = panel.locator(".which button").first
    name = candidate.inner_text()
    candidate.click()
    assert name in page.locator("#thread .kicker").inner_text()


def test_labels_of_candidates_do_not_cover_each_other(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    # The point and four trees around it stand closer together than their labels are wide.
    page.evaluate(
        """(() => {
          const p = soundwood.page, s = p.extras.sightings, k = s.match.indexOf("ambiguous");
          const here = toWorld(L.latLng(s.lat[k], s.lon[k])), step = 8 / (256 * 2 ** 20), near = [];
          soundwood.trees.within(here[0] - 1e-5, here[1] - 1e-5, here[0] + 1e-5, here[1] + 1e-5,
            (i) => near.push(i));
          const trees = near.slice(0, 4), own = soundwood.trees.world.bind(soundwood.trees);
          const side = (yes) => step * (yes ? 1 : -1);
          soundwood.trees.world = (i) => {
            const n = trees.indexOf(i);
            return n < 0 ? own(i) : [here[0] + side(n % 2), here[1] + side(n > 1)];
          };
          s.candidates = [...trees, -1].map((i) => [s.key[k], i, 0.2, 1, 0]);
          p.chooseSighting(k);
        })()"""
    )
    # On a busy machine the labels come late, and those of an earlier choice still fade out.
    sized = "e => { const b = e.getBoundingClientRect(); return [b.x, b.y, b.right, b.bottom]; }"
    page.wait_for_function(
        "() => [...document.querySelectorAll('.leaflet-tooltip.share')]"
        ".filter(e => e.getBoundingClientRect().width).length === 5"
    )
    page.wait_for_timeout(200)
    told = page.locator(".leaflet-tooltip.share").evaluate_all(f"all => all.map({sized})")
    boxes = [box for box in told if box[2] > box[0]]
    assert len(boxes) == 5
    for n, (west, north, east, south) in enumerate(boxes):
        for left, top, right, bottom in boxes[:n]:
            assert east <= left or right <= west or south <= top or bottom <= north


@pytest.mark.parametrize("look", ["start", "thread", "filters"])
def test_a_phone_never_scrolls_sideways(
    open_page: Opener, pages_run: RenderContext, look: str
) -> None:
    page = open_page(pages_run.out / NAME, size=PHONE).page
    if look == "thread":
        page.locator("#grip").click()
        page.locator(".rows button[data-tree]").first.click()
    if look == "filters":
        page.locator("#toggle-filters").click()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    assert page.evaluate("document.body.scrollWidth") <= PHONE[0]


def test_the_mark_of_the_page_is_the_mark_of_the_package(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME).page
    shape = """Array.from(%s.querySelectorAll("circle, path"), (n) =>
        [n.tagName, n.getAttribute("class"), Number(n.getAttribute("r"))])"""
    drawn = page.evaluate(shape % "Mark.section(3, {share: .6, low: .5, high: .7, opening: .25})")
    made = page.evaluate(
        "(text) => { const box = document.createElement('div'); box.innerHTML = text; return "
        + shape % "box"
        + "; }",
        str(marks.section_mark(marks.Section(RatingWord.HIGH, 0.6, 0.5, 0.7, 0.25))),
    )
    assert [row[:2] for row in drawn] == [row[:2] for row in made]
    assert [row[2] for row in drawn] == pytest.approx([row[2] for row in made], abs=0.06)


def test_without_scripts_it_says_where_the_lists_are(
    open_page: Opener, pages_run: RenderContext
) -> None:
    page = open_page(pages_run.out / NAME, scripts=False).page
    assert "This map needs scripts" in page.locator("body").inner_text()
