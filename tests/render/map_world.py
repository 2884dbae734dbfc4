"""A small invented town as the tables of a finished run, for tests of pages.

It is drawn with a fixed seed and has a place for each thing that a page must show: every rating,
trees without a rating, evidence, sightings of each kind of match, zones, wards, streets, a street
whose name is markup, jobs placed and left out, and reviews of each urgency.
"""

import json
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import shapely

from pipeline.published.table import Library
from pipeline.render.context import RenderContext
from pipeline.settings.model import City, InputFile, Inputs, Output, RunSettings, Settings
from pipeline.settings.quarter import Quarter
from pipeline.tables.catalogue import TABLES
from pipeline.tables.schema import Column, Kind
from pipeline.tables.store import RunStore

Numbers = np.ndarray[Any, np.dtype[Any]]
Places = tuple[Numbers, Numbers]
Values = Iterable[Any] | None
AS_OF = date(2026, 11, 25)
EPSG = 32618
SEEN_AGAIN = 4  # this sighting is of the fungus of the first
MARKUP = "<script>alert('x')</script> Lane"
_X0, _Y0, _BLOCK = 585_000.0, 4_720_000.0, 110.0
_TAXA = (
    "ganoderma_applanatum", "kretzschmaria_deusta", "laetiporus_sulphureus", "meripilus_giganteus",
    "inonotus_hispidus", "armillaria_mellea",
)  # fmt: skip
_SPECIES = ("Acer platanoides", "Quercus robur", "Fagus sylvatica", "Tilia cordata",
            "Platanus x hispanica", "Aesculus hippocastanum", "Fraxinus excelsior")  # fmt: skip
_NAMES = ("Alder", "Mill", "Harbour", "Chapel", "Orchard", "Station", "Quarry", "Heron", "Weaver",
          "Linden", "Tanner", "Market", "Abbey", "Foundry", "Lock", "Bridge")  # fmt: skip
_BLANK: dict[Kind, Any] = {
    Kind.TEXT: "", Kind.LABEL: "", Kind.INT8: 0, Kind.INT16: 0, Kind.INT32: 0, Kind.INT64: 0,
    Kind.FLOAT: 0.0, Kind.BOOL: False, Kind.DATE: AS_OF,
}  # fmt: skip


def say(statement: str, values: Mapping[str, Any]) -> str:
    """Sentences of the small world: the statement's own text."""
    return str(values.get("say", statement.replace("_", " ")))


def fill(store: RunStore, table: str, rows: int, /, **columns: Values) -> None:
    """Write a table; columns that are not given are empty, or the type's blank."""
    schema = TABLES[table]
    store.write(
        schema,
        pa.table(
            {c.name: _column(c, rows, columns.get(c.name)) for c in schema.columns},
        ),
    )


def _column(column: Column, rows: int, given: Values) -> pa.Array:
    if given is None:
        blank = column.allowed[0] if column.allowed else _BLANK[column.kind]
        low = column.low if column.low is not None and not column.allowed else None
        blank = max(blank, type(blank)(low)) if low is not None else blank
        given = [None if column.nullable else blank] * rows
    kind = pa.string() if column.kind is Kind.LABEL else column.arrow_type
    if isinstance(given, np.ndarray):
        given = given.tolist()
    return pa.array([None if v is None else v for v in given], kind)


def context(folder: Path, trees: int = 240, *, city: str = "Larkmere") -> RenderContext:
    """A finished run with so many trees in `folder`, as pages see it."""
    store = RunStore(folder)
    store.epsg = EPSG
    _ground(store, trees)
    draw = np.random.default_rng(7)
    places = _trees(store, trees, draw)
    _ratings(store, trees, draw)
    _sightings(store, trees, draw, places)
    _jobs(store, trees, places)
    return RenderContext(settings(city), store, Library(), folder, say)


def settings(city: str = "Larkmere") -> RunSettings:
    """Settings of the small world."""
    return RunSettings(
        settings=Settings(
            city=City(name=city, population=21_000),
            inputs=Inputs(trees=(InputFile(files=("trees.csv",)),)),
            output=Output(contact="Parks and Trees Office, Town Hall"),
        ),
        settings_path=Path("larkmere.toml"),
        data_dir=Path(),
        as_of=AS_OF,
        first_quarter=Quarter(2027, 1),
        overrides_dir=None,
        column_maps_dir=Path(),
        rules_dir=Path(),
    )


def _side(trees: int) -> int:
    return max(3, int(np.sqrt(trees / 26)))


def _street_name(number: int) -> str:
    return (
        MARKUP
        if number == 1
        else f"{_NAMES[number % len(_NAMES)]} {('Street', 'Road')[number // len(_NAMES) % 2]}"
    )


def _ground(store: RunStore, trees: int) -> None:
    side = _side(trees)
    far = side * _BLOCK
    lines, names, classes = [], [], []
    for n in range(side + 1):
        wave = 14 * np.sin(np.arange(side + 1) * 0.9 + n)
        along = np.arange(side + 1) * _BLOCK
        lines += [np.column_stack((_X0 + along, _Y0 + n * _BLOCK + wave)),
                  np.column_stack((_X0 + n * _BLOCK + wave, _Y0 + along))]  # fmt: skip
        names += [_street_name(2 * n), _street_name(2 * n + 1)]
        classes += ["secondary" if n % 4 == 0 else "residential"] * 2
    shapes = [shapely.LineString(line) for line in lines]
    count = len(shapes)
    fill(store, "ingest.streets", count, street_key=range(count), name=names, street_class=classes,
         street_id=[f"s{n}" for n in range(count)], geometry=shapely.to_wkb(shapes))  # fmt: skip
    half = far / 2
    wards = [shapely.box(_X0 + x - 30, _Y0 + y - 30, _X0 + x + half + 30, _Y0 + y + half + 30)
             for x in (0, half) for y in (0, half)]  # fmt: skip
    fill(store, "ingest.wards", 4, ward_key=range(4), name=["Northgate", "Quayside", "Millfield",
         "Eastmoor"], geometry=shapely.to_wkb(wards))  # fmt: skip
    block = _BLOCK
    water = shapely.Point(_X0 + far * 0.72, _Y0 + far * 0.7).buffer(far * 0.11)
    park = shapely.box(_X0 + block, _Y0 + block, _X0 + 2.6 * block, _Y0 + 2.4 * block)
    houses = [shapely.box(x + 25, y + 28, x + 60, y + 48) for x in _X0 + np.arange(side) * block
              for y in _Y0 + np.arange(side) * block]  # fmt: skip
    base = [water, park, *houses]
    fill(store, "ingest.basemap", len(base), basemap_key=range(len(base)),
         kind=["water", "park", *["building"] * len(houses)], geometry=shapely.to_wkb(base),
         name=["Lark Mere", "Long Park", *[None] * len(houses)])  # fmt: skip
    zones = [shapely.box(_X0 + 60, _Y0 + 60, _X0 + 190, _Y0 + 160),
             shapely.Point(_X0 + 300, _Y0 + 200),
             shapely.LineString([(_X0, _Y0), (_X0 + far, _Y0)])]  # fmt: skip
    fill(store, "ingest.zones", 3, zone_key=range(3), zone_id=["z1", "z2", "z3"],
         name=["Heron School", "Bus stop Chapel Road", "Mill walk"],
         kind=["school", "bus_stop", "path"], how=["survey"] * 3,
         occupancy=["frequent", "frequent", "occasional"],
         geometry=shapely.to_wkb(zones))  # fmt: skip


def _trees(store: RunStore, trees: int, draw: np.random.Generator) -> Places:
    side = _side(trees)
    far = side * _BLOCK
    street = draw.integers(0, 2 * (side + 1), trees)
    along, off = draw.uniform(0, far, trees), draw.choice([-6.0, 6.0], trees)
    across = street // 2 * _BLOCK + 14 * np.sin(along / _BLOCK * 0.9 + street // 2) + off
    x = _X0 + np.where(street % 2 == 0, along, across)
    y = _Y0 + np.where(street % 2 == 0, across, along)
    status = draw.choice(["standing", "dead", "stump", "vacant"], trees, p=[0.95, 0.01, 0.02, 0.02])
    fill(store, "ingest.trees", trees, tree_key=range(trees), row=range(1, trees + 1),
         tree_id=[f"LM-{n:05d}" for n in range(1, trees + 1)], x_m=x, y_m=y,
         species=draw.choice(_SPECIES, trees), species_how=["exact"] * trees,
         dbh_cm=np.round(draw.gamma(4, 10, trees) + 5), status=status,
         street=[_street_name(int(n)) for n in street],
         ward=np.array(["Northgate", "Quayside", "Millfield", "Eastmoor"])[
             (x > _X0 + far / 2) * 2 + (y > _Y0 + far / 2)],
         owner=draw.choice(["public", "private"], trees, p=[0.95, 0.05]),
         notes=["note of the file, not for the public"] * trees,
         address=["12 Private Way"] * trees)  # fmt: skip
    fill(store, "ingest.sources", 1, source_key=[0], file=["trees.csv"], rows_in=[trees],
         rows_accepted=[trees])  # fmt: skip
    return x, y


def ratings_of(trees: int) -> np.ndarray[Any, np.dtype[np.int8]]:
    """Rating of each tree: every word occurs, most trees are not assessed."""
    n = np.arange(trees)
    rating = np.where(n % 13 == 0, 2, np.where(n % 4 == 0, 1, 0))
    rating = np.where(n % 29 == 3, 3, rating)
    return np.where(n % 97 == 5, 4, rating).astype(np.int8)


def _ratings(store: RunStore, trees: int, draw: np.random.Generator) -> None:
    rating = ratings_of(trees)
    status = np.array(store.read(TABLES["ingest.trees"], columns=("status",))["status"].to_pylist())
    rated = np.isin(status, ("standing", "dead"))
    evidence = rating >= 2
    taxon = [str(_TAXA[k % len(_TAXA)]) if e else None for k, e in enumerate(evidence)]
    words = {name: [int(r) if e else None for r, e in zip(rating, evidence, strict=True)]
             for name in ("failure", "impact", "likelihood", "consequence")}  # fmt: skip
    actions = np.array(["inspect", "retain_monitor", "drill", "reduce_crown", "remove"])[rating]
    looked = [AS_OF - timedelta(days=int(d)) if r else None
              for d, r in zip(draw.integers(3, 300, trees), rating, strict=True)]  # fmt: skip
    fill(store, "scoring.tree_ratings", trees, tree_key=range(trees), rated=rated,
         assessed=rating > 0, evidence=evidence, rating=rating,
         worst_part=[1 if e else None for e in evidence],
         worst_zone=[k % 3 if e else None for k, e in enumerate(evidence)], **words,
         harm_per_year=10.0 ** (rating - 8.0), taxon_id=taxon,
         action_code=[int(r) + 1 if e else None for r, e in zip(rating, evidence, strict=True)],
         inspection_due_on=[AS_OF + timedelta(days=400) if r and k % 7 else None
                            for k, r in enumerate(rating)],
         no_climb=rating >= 3, make_safe=rating == 4, last_looked_on=looked,
         best_action=actions, program_action=actions, program_rating=rating,
         fact_set=np.where(evidence, np.arange(trees) + 10, rating))  # fmt: skip
    rows = np.flatnonzero(evidence)
    share = np.round(draw.uniform(0.2, 0.9, rows.size), 2)
    fill(store, "scoring.decay", rows.size, tree_key=rows, part=[1] * rows.size,
         basis=["fungus"] * rows.size, rot=[1] * rows.size, taxon_id=[taxon[r] for r in rows],
         decayed_share=share, decayed_share_low=share - 0.1, decayed_share_high=share + 0.08,
         diameter_cm=[60.0] * rows.size,
         opening_share=[0.15 if r % 3 == 0 else None for r in rows])  # fmt: skip
    _facts(store, rating, rows, taxon)
    fill(store, "scoring.candidate_actions", 2 * rows.size, tree_key=np.repeat(rows, 2),
         action=["retain_monitor", "remove"] * rows.size, chosen=[True, False] * rows.size,
         residual_rating=[2, 1] * rows.size, rule_id=["a1"] * 2 * rows.size)  # fmt: skip


def _facts(store: RunStore, rating: Numbers, rows: Numbers, taxon: list[str | None]) -> None:
    rows_of_facts: list[tuple[int, int, str, str]] = []
    for shared, text in ((0, "Nobody has looked at this tree inside the inspection cycle."),
                         (1, "An inspector looked and noted no defect.")):  # fmt: skip
        rows_of_facts.append((shared, 0, "seen", text))
    for tree in rows.tolist():
        lines = (
            ("seen", "Two brackets were seen on the butt on 14 October 2026, attached to wood."),
            ("fungus", f"Most likely {taxon[tree]}, about 8 in 10; next best 1 in 10."),
            ("wood", "About half of the diameter is decayed, 30 to 60 % in 8 of 10 estimates."),
            ("failure", "A conk of this fungus at the butt makes failure probable."),
            ("target", "The stem reaches Heron School, where people are for about 1 hour in 5."),
            ("consequence", "A stem of 60 cm falling from 8 m onto people is severe."),
            ("rating", f"Likely, and severe: the rating is step {rating[tree]} of 4."),
            ("action", "Reduce the crown by 31 March 2027; that would leave it at moderate."),
        )
        for seq, (link, text) in enumerate(lines):
            rows_of_facts.append((tree + 10, seq, link, text))
    sets, seqs, links, said = zip(*rows_of_facts, strict=True)
    fill(store, "scoring.facts", len(sets), fact_set=sets, seq=seqs, link=links,
         statement=["told"] * len(sets),
         values=[json.dumps({"say": text, "share": 0.5}) for text in said],
         source=["umass_kretzschmaria" if k % 4 == 3 else None for k in range(len(sets))],
         assumed=[k % 5 == 4 for k in range(len(sets))])  # fmt: skip


def _sightings(store: RunStore, trees: int, draw: np.random.Generator, places: Places) -> None:
    rows = np.flatnonzero(ratings_of(trees) >= 2)
    count = rows.size
    kinds = np.array(["by_id", "by_place", "ambiguous", "unmatched"])[np.arange(count) % 4]
    joined = np.isin(kinds, ("by_id", "by_place"))
    fill(store, "ingest.sightings", count, sighting_key=range(count), row=range(1, count + 1),
         sighting_id=[f"S{n}" for n in range(count)], accuracy_m=[8.0] * count,
         x_m=places[0][rows] + draw.normal(0, 5, count), seen_on=[AS_OF] * count,
         y_m=places[1][rows] + draw.normal(0, 5, count), match=kinds,
         taxon_id=[_TAXA[n % len(_TAXA)] for n in range(count)],
         observer=["observer-one"] * count, notes=["private remark"] * count,
         tree_key=sighted_trees(trees),
         match_note=[None if j else "several_trees_near" for j in joined])  # fmt: skip
    _identifications(store, ratings_of(trees)[rows])
    fill(store, "ingest.sighting_matches", count, sighting_key=range(count), tree_key=rows,
         weight=[0.8] * count, distance_m=[4.0] * count)  # fmt: skip
    own = sighted_trees(trees)
    fill(store, "scoring.sighting_trees", count, sighting_key=range(count),
         tree_key=np.where(own >= 0, own, rows),
         named=kinds == "by_id", distance_m=[4.0] * count, distance_weight=[0.8] * count,
         probability=[0.85] * count, attached=own >= 0)  # fmt: skip
    now = np.flatnonzero(ratings_of(trees) == 4)
    fill(store, "ingest.quarantine", 1, quarantine_key=[0], row=[17], code=["no_place"],
         reason=["The row has no place."], remedy=["Add coordinates and feed it back."],
         danger=["root plate is lifting"], original=["{}"])  # fmt: skip
    first = json.dumps({"say": "A row was set aside whose words mean danger: the root plate is "
                               "lifting."})  # fmt: skip
    make_safe = json.dumps({"say": "Isolate the target now; nobody has acknowledged it yet."})
    which = json.dumps({"say": "Two trees stand near this sighting: say which one it is."})
    unsure = np.flatnonzero(~joined)
    total = 1 + now.size + unsure.size
    fill(store, "scoring.reviews", total, review_key=range(total),
         urgency=[0] * (1 + now.size) + [2] * unsure.size,
         code=["danger_set_aside", *["make_safe"] * now.size, *["ambiguous"] * unsure.size],
         tree_key=[-1, *now.tolist(), *[-1] * unsure.size],
         sighting_key=[-1, *[-1] * now.size, *unsure.tolist()],
         quarantine_key=[0, *[-1] * (now.size + unsure.size)],
         detail=[first, *[make_safe] * now.size, *[which] * unsure.size])  # fmt: skip


def sighted_trees(trees: int) -> Numbers:
    """Tree of each sighting: half of them have none, and one tree has its fungus seen twice."""
    rows = np.flatnonzero(ratings_of(trees) >= 2)
    tree = np.where(np.arange(rows.size) % 4 < 2, rows, -1)
    tree[SEEN_AGAIN : SEEN_AGAIN + 1] = tree[:1]  # a small world holds fewer
    return tree


def _identifications(store: RunStore, rating: Numbers) -> None:
    """Names from nearly sure to unsure, every rot, decay that is sure, unsure and none."""
    count = rating.size
    n = np.arange(count)
    n[SEEN_AGAIN : SEEN_AGAIN + 1] = 0
    first = np.array([0.97, 0.62, 0.41])[n % 3]
    taxon = np.array(_TAXA)
    shares = {f"probability_{part}": np.round((n + at) % 5 / 5 + 0.1, 2)
              for at, part in enumerate(("roots", "butt", "stem", "branch"))}  # fmt: skip
    evidence = np.where(n == 5, "unsure", np.where(n == 8, "no", "yes"))
    fill(store, "scoring.identifications", count, sighting_key=range(count), body_key=n,
         decay_evidence=evidence, taxon_1=taxon[n % 6], probability_1=first,
         taxon_2=np.where(n % 6 == 0, "ganoderma_adspersum", taxon[(n + 1) % 6]),
         probability_2=np.array([0.02, 0.2, 0.3])[n % 3],
         taxon_3=np.where(n % 6 == 0, "ganoderma", taxon[(n + 2) % 6]),
         probability_3=np.array([0.002, 0.1, 0.15])[n % 3], probability_unlisted=[0.003] * count,
         rot_type=np.array(["unknown", "white", "brown", "soft"])[n % 4],
         probability_rot=[0.97] * count, **shares, significance=[3.5] * count,
         probability_serious=np.where(rating[n] >= 3, 0.93, 0.05),
         needs_expert=n % 3 == 1,
         next_look=["bruising" if k % 2 == 0 else None for k in n.tolist()],
         least_years=np.where(n == 0, 6.0, 1.0), years_running=np.where(n == 0, 2, 1),
         decided_by=["under_surface|month"] * count, against=["host"] * count)  # fmt: skip


def _jobs(store: RunStore, trees: int, places: Places) -> None:
    rating = ratings_of(trees)
    rows = np.flatnonzero(rating >= 2)
    count = rows.size
    actions = np.array(["inspect", "retain_monitor", "drill", "reduce_crown", "remove"])[rating]
    fill(store, "planning.jobs", count, job_key=range(count), tree_key=rows,
         job_id=[f"J{n}" for n in range(count)], action=actions[rows], part=[1] * count,
         rating=rating[rows], deadline_on=[AS_OF + timedelta(days=90)] * count,
         hours=[4.0] * count, x_m=places[0][rows], y_m=places[1][rows],
         machine=["lift"] * count, crew_type=["lift"] * count)  # fmt: skip
    placed = np.arange(count)[np.arange(count) % 5 != 4]
    left = np.arange(count)[np.arange(count) % 5 == 4]
    quarter = np.where(placed < count / 2, "2027Q1", "2027Q2")
    fill(store, "planning.queue", placed.size, queue_rank=range(1, placed.size + 1),
         job_key=placed, quarter=quarter, crew_id=["north"] * placed.size,
         day=[date(2027, 1, 14) if q == "2027Q1" else None for q in quarter])  # fmt: skip
    fill(store, "planning.unscheduled", left.size, job_key=left,
         reason=["no_hours_left"] * left.size,
         detail=["4 crew-hours needed, 0 left in the four quarters."] * left.size)  # fmt: skip
