"""A crew's sheet: the day in order, hazards on top, a form that comes back."""

import csv
import re
from pathlib import Path

import pyarrow as pa
import pytest
from lxml import html

from pipeline.render.context import RenderContext
from pipeline.render.pages import crew_sheet
from pipeline.tables.inputs import WORK_DONE
from tests.render import map_world, sheet_world
from tests.render.map_world import MARKUP
from tests.render.sheet_world import CREWS, DAYS, STOPS

FIRST = "2027-01-04_lift-north"


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run with its crew sheets written."""
    made = sheet_world.context(tmp_path_factory.mktemp("run"))
    crew_sheet.write(made)
    return made


def _sheet(run: RenderContext, stem: str = FIRST) -> html.HtmlElement:
    return html.fromstring((run.out / "crews" / f"{stem}.html").read_bytes())


def test_each_crew_day_has_a_sheet_and_a_form(run: RenderContext) -> None:
    names = {path.name for path in (run.out / "crews").iterdir()}
    stems = {FIRST, "2027-01-05_lift-north", "2027-01-04_ground"}
    assert names == {"index.html", *(f"{s}.html" for s in stems),
                     *(f"{s}_return.csv" for s in stems), *(f"{s}.gpx" for s in stems)}  # fmt: skip


def test_stops_stand_in_driving_order_with_their_times(run: RenderContext) -> None:
    cards = _sheet(run).xpath('//article[contains(@class, "stop")]')
    assert [card.get("id") for card in cards] == [f"s{n}" for n in range(1, STOPS + 1)]
    times = [card.xpath('.//span[@class="at"]')[0].text for card in cards]
    assert times[0] == "07:40\N{EN DASH}08:42"
    assert times == sorted(times)


def test_a_job_of_several_days_says_which_day_it_is(run: RenderContext) -> None:
    last = _sheet(run).xpath(f'//h2[@id="t{STOPS}"]')[0].text_content()
    first = _sheet(run, "2027-01-05_lift-north").xpath('//h2[@id="t1"]')[0].text_content()
    assert last.endswith("(day 1 of 2)")
    assert first.endswith("(day 2 of 2)")


def test_hazards_come_before_anything_else_on_a_card(run: RenderContext) -> None:
    for card in _sheet(run).xpath('//article[contains(@class, "stop")]'):
        order = [child.tag for child in card]
        assert order.index("ul") == 1  # right after the heading
        assert order.index("dl") > order.index("ul")


def test_the_place_opens_by_a_geo_link_and_nothing_asks_the_network(run: RenderContext) -> None:
    page = _sheet(run)
    links = [str(link) for link in page.xpath("//article//a/@href") if link.startswith("geo:")]
    assert len(links) == STOPS
    assert all(re.fullmatch(r"geo:4\d\.\d{4,6},-7\d\.\d{4,6}", link) for link in links)
    text = (run.out / "crews" / f"{FIRST}.html").read_text(encoding="utf-8")
    assert "http" not in text.replace("https://example.org", "").replace("http-equiv", "")


def test_text_of_the_city_stays_text(run: RenderContext) -> None:
    texts = [path.read_text(encoding="utf-8") for path in (run.out / "crews").glob("*.html")]
    assert not any("<script>alert" in text for text in texts)
    assert any(MARKUP.split()[0].replace("<", "&lt;").replace(">", "&gt;")[:12] in text
               for text in texts)  # fmt: skip


def test_a_sheet_of_many_stops_stays_small(tmp_path: Path) -> None:
    made = sheet_world.context(tmp_path)
    crew_sheet.write(made)
    size = (tmp_path / "crews" / f"{FIRST}.html").stat().st_size
    frame = 16_000  # styles, drawing and head of the page
    assert size < frame + STOPS * 2_600


def test_the_form_has_the_columns_that_ingest_reads(run: RenderContext) -> None:
    raw = (run.out / "crews" / f"{FIRST}_return.csv").read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(raw.splitlines()))
    assert list(rows[0]) == [column.name for column in WORK_DONE.columns]
    assert len(rows) == STOPS
    assert [row["job_id"] for row in rows] == [f"J{n}" for n in range(STOPS)]
    assert {row["done_on"] for row in rows} == {""}  # a job is not done before somebody says so
    words = next(c.allowed for c in WORK_DONE.columns if c.name == "action")
    assert {row["action"] for row in rows} <= set(words)


def test_days_of_a_crew_lead_to_each_other(run: RenderContext) -> None:
    ahead = _sheet(run).xpath('//nav[@class="ways"]/a/@href')
    back = _sheet(run, "2027-01-05_lift-north").xpath('//nav[@class="ways"]/a/@href')
    assert "2027-01-05_lift-north.html" in ahead
    assert f"{FIRST}.html" in back
    assert f"{FIRST}.html" not in ahead


def test_straight_lines_are_said(run: RenderContext) -> None:
    assert "straight lines" not in _sheet(run).text_content()
    assert "Some distances are straight lines" in _sheet(run, "2027-01-04_ground").text_content()
    assert "All distances are straight lines" in _sheet(run, "2027-01-05_lift-north").text_content()


def test_the_index_lists_every_day_once(run: RenderContext) -> None:
    page = html.fromstring((run.out / "crews" / "index.html").read_bytes())
    links = [str(link) for link in page.xpath("//td//a/@href") if link.endswith(".html")]
    assert sorted(links) == sorted(
        [f"{FIRST}.html", "2027-01-04_ground.html", "2027-01-05_lift-north.html"]
    )
    heads = [head.text_content() for head in page.xpath('//th[@scope="row"]')]
    assert heads == ["Monday 4 January 2027", "Tuesday 5 January 2027"]
    assert len(DAYS) == len(heads)
    assert all(crew in page.text_content() for crew in CREWS)


def test_without_routes_the_index_says_so(tmp_path: Path) -> None:
    made = map_world.context(tmp_path)
    written = crew_sheet.write(made)
    assert [path.name for path in written] == ["index.html"]
    assert "No crew-day is planned" in written[0].read_text(encoding="utf-8")


def test_file_names_are_plain_and_never_collide() -> None:
    names = ["Lift North", "Lift-North", "Équipe 1", "\N{CJK UNIFIED IDEOGRAPH-6728}", "../x"]
    made = crew_sheet.slugs(names)
    assert made["Lift North"] == "lift-north"
    assert made["Lift-North"] == "lift-north-2"
    assert made["Équipe 1"] == "equipe-1"
    assert len(set(made.values())) == len(names)
    assert all(re.fullmatch(r"[a-z0-9-]+", slug) for slug in made.values())


def test_times_round_to_the_minute() -> None:
    assert crew_sheet.clock(449.6) == "07:30"
    assert crew_sheet.clock(0) == "00:00"


def test_the_form_takes_its_columns_from_the_declaration() -> None:
    stops = pa.table({"job_id": ["J"], "tree_id": ["T"], "action": ["remove"]})
    form = crew_sheet.return_form(stops)
    assert form.column_names == [column.name for column in WORK_DONE.columns]


def test_break_school_yard_and_a_rough_order_are_told(tmp_path: Path) -> None:
    made = sheet_world.context(tmp_path)
    routes, stops = made.table("planning.routes"), made.table("planning.stops")
    count, begins = routes.num_rows, stops["arrive_min"].to_pylist()
    begins[1] += 60.0
    sheet_world.change(
        made.store, "planning.routes", break_start_min=[720.0] * count, break_min=[30.0] * count,
        searched=[False] * count,
    )  # fmt: skip
    sheet_world.change(made.store, "planning.stops", begin_min=begins)
    inner = made.settings.settings
    crews = tuple(c.model_copy(update={"load_min": 10.0, "unload_min": 15.0}) for c in inner.crews)
    changed = made.settings.model_copy(
        update={"settings": inner.model_copy(update={"crews": crews})}
    )
    again = RenderContext(changed, made.store, made.library, tmp_path, map_world.say)
    crew_sheet.write(again)
    texts = [path.read_text(encoding="utf-8") for path in (tmp_path / "crews").glob("*_*.html")]
    assert all("Break: 12:00 to 12:30, wherever you are." in text for text in texts)
    assert all("the routing library (pyvrp) was not installed" in text for text in texts)
    assert all("After the return 15 minutes to empty the chips." in text for text in texts)
    assert sum("a school is near" in text for text in texts) == 1
