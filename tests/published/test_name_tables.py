"""The tables of names: fungi, trees, map tags, road classes, words; closed, sourced, useful."""

import csv
import gzip
import re
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest

from pipeline.published.table import Library
from pipeline.tables.inputs import OCCUPANCY, POSITIONS, TREE_STATUS, ZONE_KINDS

PUBLISHED = Path(__file__).resolve().parent.parent.parent / "config" / "published"
KEYS = {
    "taxa": ("taxon_id",),
    "taxon_names": ("name",),
    "action_codes": ("action_code",),
    "tree_species": ("species",),
    "tree_names": ("name",),
    "danger_words": ("word",),
    "osm_targets": ("key", "value"),
    "street_classes": ("road_class",),
    "status_words": ("word",),
}
BASES = {"published", "elicited", "common practice", "from memory"}
READ = {"original", "abstract", "secondary", "from memory"}
LANGUAGES = {"en", "de", "fr", "es"}
ACTION_CODES = {"R0", "R1", "R2", "R3", "R4", "R5"}
FAILURE_MODES = {"root_plate", "brittle_butt", "stem", "branch", "none"}

# OpenStreetMap's own road values, from its tagging schema; "unknown" is this project's.
OWN_ROAD_CLASSES = {"unknown"}
# FungalTraits is a table of genera; where ours differs, the reason stands here.
ROT_EXCEPTIONS = {
    "rigidoporus_ulmarius": "tree-hazard books tell of a brown butt rot; the genus is mostly white",
    "rigidoporus": "follows its one listed species",
    "sphaerobolus_stellatus": "rots mulch, never the wood of a tree: no rot type for a tree",
    "sphaerobolus": "follows its one listed species",
}
# What inventories write where no tree is named.
SAYS_NOTHING = {"", "tree(s)", "tree", "shrub", "private shrub", "potential site"}

Row = dict[str, str]


def _rows(name: str) -> list[Row]:
    with (PUBLISHED / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def _words(rows: Iterable[Row], column: str) -> set[str]:
    return {word for row in rows for word in row[column].split(";") if word}


def _key(text: str) -> str:
    """A scientific name as a city writes it, without common name, cultivar, rank and 'sp.'."""
    text = text.split("::", maxsplit=1)[0].lower().replace("\N{MULTIPLICATION SIGN}", "x")
    text = re.split(r"['\"]", text)[0]
    text = re.sub(r"\b(subsp|ssp|var)\.? ", " ", text)
    text = re.sub(r"\b(spp|sp|sps|species)\b\.?", "", text)
    return " ".join(text.split()).removesuffix(" x")


@pytest.mark.parametrize("name", KEYS)
def test_every_row_is_whole_and_sourced(name: str) -> None:
    sources = tomllib.loads((PUBLISHED / "sources.toml").read_text(encoding="utf-8"))
    rows = _rows(name)
    assert rows
    assert list(rows[0])[-4:] == ["basis", "source", "locator", "note"]
    for row in rows:
        assert None not in row
        assert None not in row.values()
        assert row["basis"] in BASES
        assert row["source"] in sources
        if row["basis"] == "published":
            assert row["locator"]
            assert sources[row["source"]]["read"] != "from memory"


@pytest.mark.parametrize("name", KEYS)
def test_keys_are_unique_whatever_the_case(name: str) -> None:
    keys = Counter(tuple(row[k].lower() for k in KEYS[name]) for row in _rows(name))
    assert [key for key, count in keys.items() if count > 1] == []
    assert all(part.strip() == part and part for key in keys for part in key)


@pytest.mark.parametrize("name", KEYS)
def test_lines_end_alike(name: str) -> None:
    content = (PUBLISHED / f"{name}.csv").read_bytes()
    assert b"\r" not in content
    assert content.endswith(b"\n")


def test_sources_say_how_far_they_were_read() -> None:
    sources = tomllib.loads((PUBLISHED / "sources.toml").read_text(encoding="utf-8"))
    used = {row["source"] for name in KEYS for row in _rows(name)}
    for name in used:
        entry = sources[name]
        assert set(entry) == {
            "authors", "year", "title", "publisher", "identifier", "read", "note",
        }  # fmt: skip
        assert entry["read"] in READ
        assert isinstance(entry["year"], int)


def test_taxa_speak_the_closed_vocabularies() -> None:
    rows = _rows("taxa")
    assert sum(row["rank"] == "species" for row in rows) >= 113
    assert len(rows) >= 114
    assert {row["rank"] for row in rows} == {"species", "genus"}
    assert {row["kind"] for row in rows} == {"decay", "not_wood_decay"}
    assert {row["rot_type"] for row in rows} == {"white", "brown", "soft", "none"}
    assert {row["fruit_lifespan"] for row in rows} == {"annual", "perennial"}
    assert {row["action_code"] for row in rows} == ACTION_CODES
    assert _words(rows, "failure_modes") <= FAILURE_MODES
    assert _words(rows, "positions") <= set(POSITIONS)
    assert _words(rows, "regions") == {"north_america", "europe"}
    for row in rows:
        parts = [row[f"attacks_{part}"] for part in ("roots", "butt", "stem", "branch")]
        assert set(parts) <= {"0", "1"}
        assert 0 <= int(row["significance"]) <= 5
        # A fungus that rots no wood bears on no part of a tree, and asks nothing of it.
        if row["kind"] == "not_wood_decay":
            assert (row["rot_type"], row["action_code"], row["significance"]) == ("none", "R0", "0")
            assert set(parts) == {"0"}
        else:
            assert row["rot_type"] != "none"
            assert row["action_code"] != "R0"


def test_seasons_are_months() -> None:
    for row in _rows("taxa"):
        for window in row["season_months"].split(";"):
            months = [int(month) for month in window.split("-")]
            assert len(months) in {1, 2}
            assert all(1 <= month <= 12 for month in months)


def test_a_genus_is_as_serious_as_its_most_serious_species() -> None:
    rows = _rows("taxa")
    for genus in (row for row in rows if row["rank"] == "genus"):
        name = genus["accepted_name"]
        species = [
            row
            for row in rows
            if row["rank"] == "species" and row["accepted_name"].split()[0] == name
        ]
        if not species:
            assert name.endswith("spp.")
            continue
        assert genus["action_code"] == max(row["action_code"] for row in species)
        for part in ("roots", "butt", "stem", "branch"):
            assert genus[f"attacks_{part}"] == max(row[f"attacks_{part}"] for row in species)
        assert genus["basis"] == "elicited"


def test_every_fungus_name_leads_to_a_taxon_and_every_taxon_has_a_name() -> None:
    taxa = {row["taxon_id"] for row in _rows("taxa")}
    names = _rows("taxon_names")
    assert {row["taxon_id"] for row in names} == taxa
    assert {row["kind"] for row in names} == {"accepted", "synonym", "common", "genus"}
    assert {row["language"] for row in names} == LANGUAGES | {"la"}


@pytest.mark.parametrize(
    ("name", "taxon_id"),
    [
        # Synonymy: Mycobank-style nomenclature as in the floras named in sources.toml; the German
        # names are those of the remarks in an Austrian city's open tree list (from memory).
        ("Ustulina deusta", "kretzschmaria_deusta"),
        ("Brandkrustenpilz", "kretzschmaria_deusta"),
        ("Zottiger Schillerporling", "inonotus_hispidus"),
        ("Zunderschwamm", "fomes_fomentarius"),
        ("Lackporling", "ganoderma"),
        ("Hallimasch", "armillaria"),
        ("Piptoporus betulinus", "fomitopsis_betulina"),
        ("Polyporus squamosus", "cerioporus_squamosus"),
        ("chicken of the woods", "laetiporus_sulphureus"),
        ("polypore soufré", "laetiporus_sulphureus"),
        ("Ganoderma sp.", "ganoderma"),
    ],
)
def test_known_fungus_names(name: str, taxon_id: str) -> None:
    assert {row["name"]: row["taxon_id"] for row in _rows("taxon_names")}[name] == taxon_id


def test_an_ambiguous_fungus_name_goes_to_the_more_serious_taxon() -> None:
    # "coal fungus" is used for Kretzschmaria deusta (R5) and for Daldinia concentrica.
    named = {row["name"]: row["taxon_id"] for row in _rows("taxon_names")}
    codes = {row["taxon_id"]: row["action_code"] for row in _rows("taxa")}
    assert named["coal fungus"] == "kretzschmaria_deusta"
    assert codes["kretzschmaria_deusta"] > codes["daldinia_concentrica"]


def test_breakage_order_of_the_helsinki_study() -> None:
    # Terho, Hantula and Hallaksela 2007, Forest Pathology: Kretzschmaria and Ganoderma
    # applanatum worst for breakage; gilled fungi often seen, but minor.
    significance = {row["taxon_id"]: int(row["significance"]) for row in _rows("taxa")}
    gilled = ("pholiota_aurivella", "pleurotus_ostreatus", "hypholoma_fasciculare")
    for serious in ("kretzschmaria_deusta", "ganoderma_applanatum"):
        for minor in gilled:
            assert significance[serious] > significance[minor]


def test_two_oak_rosettes_score_differently() -> None:
    # UMass Extension fact sheets: Grifola advances slowly, Bondarzewia fast.
    codes = {row["taxon_id"]: row["action_code"] for row in _rows("taxa")}
    assert codes["bondarzewia_berkeleyi"] > codes["grifola_frondosa"]


def test_action_codes_climb_in_order() -> None:
    rows = _rows("action_codes")
    assert [row["action_code"] for row in rows] == sorted(ACTION_CODES)
    assert [row["action_code"] for row in rows if row["no_climb"] == "1"] == ["R4", "R5"]
    days = [int(row["look_within_days"]) for row in rows if row["look_within_days"]]
    assert len(days) == 4
    assert days == sorted(days, reverse=True)
    for row in rows:
        if row["look_within_days"]:
            assert int(row["low"]) <= int(row["look_within_days"]) <= int(row["high"])


def test_rot_types_agree_with_fungaltraits(shared_file: Callable[[str], Path]) -> None:
    # Põlme et al. 2020, FungalTraits 1.2: decay type by genus.
    path = shared_file("data/fungi/fungaltraits/Polme_FungalTraits_1.2_ver_16Dec_2020.csv")
    with path.open(encoding="utf-8", errors="replace", newline="") as file:
        stated = {
            row["GENUS"]: re.split(r"[_-]", row["Decay_type_template"])[0]
            for row in csv.DictReader(file)
            if row["Decay_type_template"]
        }
    rows = [row for row in _rows("taxa") if row["accepted_name"].split()[0] in stated]
    differs = {
        row["taxon_id"]
        for row in rows
        if stated[row["accepted_name"].split()[0]] != row["rot_type"]
    }
    shared = {row["accepted_name"].split()[0] for row in rows}
    disagree = {row["accepted_name"].split()[0] for row in rows if row["taxon_id"] in differs}
    assert len(shared) >= 70
    assert 1 - len(disagree) / len(shared) >= 0.95
    assert differs == set(ROT_EXCEPTIONS), "every disagreement is listed, and no other"
    assert all(len(reason.split()) >= 4 for reason in ROT_EXCEPTIONS.values())


def test_a_species_name_begins_with_its_genus() -> None:
    rows = _rows("tree_species")
    assert len(rows) >= 700
    pattern = re.compile(r"[A-Z][a-z]+ (x )?[a-z]+(-[a-z]+)?")
    families: dict[str, set[tuple[str, str]]] = {}
    for row in rows:
        assert pattern.fullmatch(row["species"]), row["species"]
        assert row["species"].split()[0] == row["genus"]
        families.setdefault(row["genus"], set()).add((row["family"], row["wood"]))
    assert {row["wood"] for row in rows} == {"broadleaf", "conifer", "palm", "other"}
    assert {genus for genus, kinds in families.items() if len(kinds) > 1} == set()


def test_wood_follows_the_family() -> None:
    # Botany, from memory: every palm is of the Arecaceae, every conifer of these families.
    conifers = {
        "Pinaceae", "Cupressaceae", "Taxaceae", "Araucariaceae", "Podocarpaceae",
        "Sciadopityaceae", "Ginkgoaceae",
    }  # fmt: skip
    for row in _rows("tree_species"):
        assert (row["wood"] == "palm") == (row["family"] == "Arecaceae"), row["species"]
        assert (row["wood"] == "conifer") == (row["family"] in conifers), row["species"]


def test_tree_names_lead_to_accepted_species() -> None:
    species = {row["species"]: row["genus"] for row in _rows("tree_species")}
    accepted = {name.lower() for name in species} | {genus.lower() for genus in species.values()}
    for row in _rows("tree_names"):
        assert row["name"] == row["name"].lower()
        # A name that is itself accepted would hide the species or genus.
        assert row["name"] not in accepted
        assert row["kind"] in {"synonym", "common", "genus_common"}
        assert row["language"] in LANGUAGES | {"la"}
        if row["species"]:
            assert species[row["species"]] == row["genus"]
        else:
            assert row["genus"] in species.values()
            assert row["kind"] != "common"


@pytest.mark.parametrize(
    ("name", "species"),
    [
        # Synonymy in common use, from memory.
        ("platanus x acerifolia", "Platanus x hispanica"),
        ("sophora japonica", "Styphnolobium japonicum"),
        ("fraxinus oxycarpa", "Fraxinus angustifolia"),
        ("tilia x vulgaris", "Tilia x europaea"),
        ("london plane", "Platanus x hispanica"),
        ("stieleiche", "Quercus robur"),
        ("marronnier d'inde", "Aesculus hippocastanum"),
        ("encina", "Quercus ilex"),
    ],
)
def test_known_tree_names(name: str, species: str) -> None:
    assert {row["name"]: row["species"] for row in _rows("tree_names")}[name] == species


def _resolvable() -> set[str]:
    known = {row["name"] for row in _rows("tree_names")}
    for row in _rows("tree_species"):
        known |= {row["species"].lower(), row["genus"].lower()}
    return known


def test_san_francisco_names_resolve(shared_file: Callable[[str], Path]) -> None:
    folder = shared_file("data/inventory/san-francisco")
    trees: Counter[str] = Counter()
    for path in sorted(folder.glob("*.csv.gz")):
        with gzip.open(path, "rt", encoding="utf-8", newline="") as file:
            trees.update(row["qSpecies"] for row in csv.DictReader(file))
    assert trees.total() == 195_297  # rows of the published file
    known = _resolvable()
    named = {name: count for name, count in trees.items() if _key(name) not in SAYS_NOTHING}
    resolved = sum(count for name, count in named.items() if _key(name) in known)
    assert sum(named.values()) > 180_000
    assert resolved / sum(named.values()) >= 0.99


def test_ithaca_names_resolve(shared_file: Callable[[str], Path]) -> None:
    path = shared_file("data/inventory/ithaca-cornell/trees-2022.csv")
    with path.open(encoding="utf-8", newline="") as file:
        names = [_key(row["botanic"]) for row in csv.DictReader(file)]
    known = _resolvable()
    assert sum(name in known for name in names) / len(names) >= 0.95


def test_road_classes_keep_to_the_occupancy_cut_offs() -> None:
    # Cut-offs on the expected number in a zone 20 m long: this project's own (elicited);
    # vehicles (AADT/24) L/V, people at 1.2 m/s.
    bounds = {"rare": (0, 0.004), "occasional": (0.004, 0.04), "frequent": (0.04, 0.5)}
    for row in _rows("street_classes"):
        vehicles = float(row["vehicles_per_day"]) / 24 * 0.020 / float(row["speed_km_h"])
        people = float(row["persons_per_h"]) * 20 / (1.2 * 3600)
        low, high = bounds[row["occupancy"]]
        assert low <= vehicles + people < high, row["road_class"]
        assert row["drivable"] in {"0", "1"}
        flow = row["vehicles_per_day"] if row["drivable"] == "1" else row["persons_per_h"]
        assert float(row["low"]) <= float(flow) <= float(row["high"])


def test_an_unknown_road_is_taken_as_busier_than_a_residential_one() -> None:
    occupancy = {row["road_class"]: row["occupancy"] for row in _rows("street_classes")}
    order = list(OCCUPANCY)
    assert order.index(occupancy["unknown"]) > order.index(occupancy["residential"])


def test_map_tags_speak_the_closed_vocabularies() -> None:
    rows = _rows("osm_targets")
    assert {row["kind"] for row in rows} <= set(ZONE_KINDS)
    assert {row["occupancy"] for row in rows} <= set(OCCUPANCY)
    assert {row["static"] for row in rows} == {"0", "1"}
    for row in rows:
        if row["persons_per_h"]:
            assert float(row["low"]) <= float(row["persons_per_h"]) <= float(row["high"])
    # Whatever stands fixed and in use is always there (ANSI A300 Part 9: static targets).
    for row in rows:
        if row["static"] == "1" and row["kind"] != "other":
            assert row["occupancy"] == "constant", row


def test_map_tags_exist_in_the_tagging_schema(shared_file: Callable[[str], Path]) -> None:
    # OpenStreetMap's tagging schema (ISC licence): every tag but two is in it.
    text = shared_file("data/standards/osm-tagging-schema/presets.min.json").read_text("utf-8")
    known = set(re.findall(r'"([a-z_]+)":"([a-z_*-]+)"', text))
    tags = [(row["key"], row["value"]) for row in _rows("osm_targets") if row["value"] != "*"]
    tags += [
        ("highway", row["road_class"])
        for row in _rows("street_classes")
        if row["road_class"] not in OWN_ROAD_CLASSES
    ]
    # In use on the map, but without a preset of their own.
    extra = {("highway", "proposed"), ("railway", "razed")}
    assert {tag for tag in tags if tag not in known} == extra


def test_words_are_lower_case_and_closed() -> None:
    for name in ("danger_words", "status_words"):
        rows = _rows(name)
        assert {row["language"] for row in rows} == LANGUAGES
        assert all(row["word"] == row["word"].lower() for row in rows)
    assert {row["status"] for row in _rows("status_words")} == set(TREE_STATUS)


@pytest.mark.parametrize(
    ("word", "status"),
    [
        ("stump", "stump"),
        ("souche", "stump"),
        ("stubben", "stump"),
        ("potential site", "vacant"),
        ("abattu", "removed"),
        ("gefällt", "removed"),
        ("mort", "dead"),
        ("standing", "standing"),
    ],
)
def test_known_status_words(word: str, status: str) -> None:
    # Common practice, no source: words of inventories.
    assert {row["word"]: row["status"] for row in _rows("status_words")}[word] == status


def test_the_danger_of_a_moving_root_plate_has_words() -> None:
    words = {row["word"] for row in _rows("danger_words")}
    notes = [
        "Root plate is lifting on the north side",
        "Bruchgefahr, sofort handeln",
        "risque de chute sur la chaussée",
        "PELIGRO: rama colgando",
    ]
    for note in notes:
        assert any(word in note.lower() for word in words)
    assert not any(word in "healthy young tree, watered in june" for word in words)


def test_a_genus_lasts_as_most_of_its_serious_species_do() -> None:
    # The spread of a serious white rot hangs on the life span (decay_spread, A and B). A species of
    # palms alone, as Ganoderma zonatum, says nothing of others. Common practice, no source: the
    # artist's bracket and its kin, the Ganoderma met most on trees of towns, add layers for years.
    rows = Library().table("taxa", key=("taxon_id",)).rows
    palms = {"Syagrus", "Phoenix", "Washingtonia", "Sabal"}
    species = [row for row in rows if row["rank"] == "species"]
    compared = 0
    for genus in (row for row in rows if row["rank"] == "genus"):
        own = [
            row
            for row in species
            if row["accepted_name"].split()[0] == genus["accepted_name"]
            and row["significance"] in {"4", "5"}
            and not set(row["hosts"].split(";")) <= palms
        ]
        spans = [row["fruit_lifespan"] for row in own]
        if genus["rot_type"] != "white" or len(set(spans)) < 2:
            continue
        compared += 1
        assert genus["fruit_lifespan"] == max(set(spans), key=spans.count), genus["accepted_name"]
    assert compared
