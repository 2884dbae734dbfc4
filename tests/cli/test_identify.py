"""The verb identify: options, files, and what people write into them."""

import csv
import re
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from pipeline.cli import questions
from tests.cli.test_verbs import soundwood

HEADER = (
    "sighting_id,form,upper_colour,under_colour,under_surface,arrangement,position,attachment,"
    "host,month,layers,name,name_by,region,upper_texture\n"
)
COLUMNS = [
    "sighting_id", "decay_evidence", "taxon_1", "probability_1", "taxon_2", "probability_2",
    "taxon_3", "probability_3", "probability_unlisted", "rot_type", "probability_rot",
    "significance", "needs_expert", "next_look", "unread_words",
]  # fmt: skip


def answered(folder: Path, *rows: str) -> list[dict[str, str]]:
    """What the verb writes for these rows."""
    source, out = folder / "in.csv", folder / "out.csv"
    source.write_text(HEADER + "\n".join(rows) + "\n", encoding="utf-8")
    done = soundwood("identify", "--from", str(source), "--out", str(out))
    assert done.returncode == 0, done.stderr
    with out.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        assert reader.fieldnames == COLUMNS
        return list(reader)


def test_options_give_a_ranked_list_what_decided_and_the_next_look() -> None:
    done = soundwood(
        "identify", "--form", "shelf", "--upper-colour", "orange", "--under-colour", "yellow",
        "--arrangement", "overlapping", "--host", "Quercus", "--position", "stem",
        "--under-surface", "pores", "--month", "8",
        "--region", "north_america",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert "Laetiporus sulphureus" in next(line for line in lines if "#" in line)
    told = " ".join(done.stdout.split())
    assert "brown rot, in" in told
    assert "the wood turns brittle" in told
    assert "+ under colour yellow" in told
    assert "Look next (--" in told
    assert "nobody climbs" in told


def said(*words: str) -> str:
    """What the verb prints, spaces single; in this process, which is quicker."""
    app = typer.Typer()
    questions.register(app)
    done = CliRunner().invoke(app, list(words))
    assert done.exit_code == 0, done.output
    return " ".join(done.output.split())


def test_without_anything_it_says_what_to_look_at() -> None:
    done = soundwood("identify")
    assert done.returncode == 1
    for option in ("--form:", "--under-surface:", "--attachment:", "--host:", "--bruising:"):
        assert option in done.stdout
    assert "pores separate_tubes gills" in done.stdout
    assert "Stay on the ground" in done.stdout


def test_one_word_gives_no_name_but_the_next_look() -> None:
    told = said("--form", "shelf")
    assert "No name yet" in told
    assert "If it is the first" not in told
    assert "Look next (--" in told
    assert "any other" in told


def test_what_speaks_against_the_first_is_told() -> None:
    told = said(
        "--name", "Ganoderma applanatum", "--name-by", "specialist",
        "--form", "shelf", "--under-surface", "pores", "--bruising", "red",
    )  # fmt: skip
    assert "Why Ganoderma applanatum" in told
    assert "- bruising red speaks against it" in told
    assert "+ the name that was given" in told


def test_a_genus_is_told_as_a_genus() -> None:
    told = said("--name", "Ganoderma sp.", "--host", "Quercus")
    assert "The name 'Ganoderma sp.' may mean Ganoderma" in told
    assert "some Ganoderma, whichever it is" in told
    first = next(line for line in told.split("%") if "#" in line)
    assert "another Ganoderma" not in first


def test_a_name_in_no_list_is_kept_and_goes_to_somebody_who_knows() -> None:
    told = said("--name", "Xyzzy plughii\x1b[31m", "--name-by", "specialist", "--form", "shelf")
    assert "The name 'Xyzzy plughii[31m' stands in no list" in told
    assert "because the name stands in no list" in told
    assert "\x1b" not in told


@pytest.mark.parametrize(
    ("option", "value", "line"),
    [
        ("--host", "NotAGenus", "host 'NotAGenus' is no genus of trees"),
        ("--month", "13", "month '13' is not a number from 1 to 12"),
        ("--layers", "0", "layers '0' is not a whole number from 1"),
        ("--layers", "-3", "layers '-3' is not a whole number from 1"),
        ("--under-colour", "chartreuse", "under colour 'chartreuse'; the words are white"),
        ("--region", "mars", "region 'mars' is not north_america or europe"),
        ("--layers", "\u00b2", "layers '\u00b2' is not a whole number from 1"),
        ("--name-certainty", "3", "name certainty '3' is not a number from 0 to 1"),
        ("--host-certain", "maybe", "host certain 'maybe' is not yes or no"),
    ],
)
def test_a_word_that_means_nothing_is_told_with_what_would(
    option: str, value: str, line: str
) -> None:
    assert f"Not understood, not used: {line}" in said("--form", "shelf", option, value)


def test_what_grows_loose_says_nothing_of_the_tree() -> None:
    told = said("--form", "stalked", "--position", "mulch", "--attachment", "free")
    assert "says nothing about the wood of this tree" in told
    assert "rot, in" not in told


def test_layers_tell_the_least_age_of_a_perennial() -> None:
    perennial = said("--name", "Ganoderma applanatum", "--name-by", "laboratory", "--layers", "7")
    assert "the infection is at least 7 years old" in perennial
    annual = said("--name", "Laetiporus sulphureus", "--name-by", "laboratory", "--layers", "7")
    assert "fruits anew each year" in annual


def test_it_never_says_that_a_tree_is_safe() -> None:
    told = said("--form", "ear", "--host", "Sambucus", "--position", "branch").lower()
    assert "never that a tree holds" in told
    assert not {"safe", "harmless", "sound"} & set(told.replace(".", " ").split())


def test_what_people_write(tmp_path: Path) -> None:
    rows = answered(
        tmp_path,
        "mulch,gilled_cluster,,,gills,cluster,mulch,free,Acer,9,,,,north_america,",
        "words,shelf,chartreuse,white,pores,single,butt,attached,Quercus,13,-3,,,north_america,",
        "markup,,,,,,stem,attached,<script>alert(1)</script>,0,0,=cmd|x,public,north_america,",
        "two,,,,,,,,,,,coal fungus,public,,",
        "lab,shelf,orange,yellow,pores,overlapping,stem,attached,Quercus,8,,"
        "Laetiporus sulphureus,laboratory,north_america,",
        "odd,shelf|club,black|white,white,pores|gills,single,stem,attached,NotAGenus,6,,"
        "Xyzzy plughii,specialist,europe,",
    )
    by_id = {row["sighting_id"]: row for row in rows}
    assert by_id["mulch"]["decay_evidence"] == "no"
    assert set(by_id["words"]["unread_words"].split("|")) == {
        "upper_colour=chartreuse", "month=13", "layers=-3",
    }  # fmt: skip
    assert by_id["markup"]["needs_expert"] == "yes"
    assert "host=<script>" in by_id["markup"]["unread_words"]
    assert by_id["lab"]["taxon_1"] == "laetiporus_sulphureus"
    assert float(by_id["lab"]["probability_1"]) > 0.99
    assert by_id["odd"]["taxon_1"] == "unlisted"
    assert by_id["odd"]["needs_expert"] == "yes"
    for row in rows:
        told = [float(row[f"probability_{place}"]) for place in (1, 2, 3)]
        assert told == sorted(told, reverse=True)
        assert 0 <= sum(told) <= 1.0001


def test_unread_words_stay_on_one_line_and_steer_nothing(tmp_path: Path) -> None:
    row = answered(tmp_path, 'a,"\x1b[31mred\n|x;y",,,,,butt,attached,"b|c",6,,,,europe,')[0]
    assert set(row["unread_words"].split("|")) == {"form= [31mred", "form=x", "form=y", "host=b/c"}


def test_records_that_say_the_same_keep_their_ids_and_order(tmp_path: Path) -> None:
    shelf = "shelf,brown,white,pores,single,butt,attached,Quercus,9,3,,,europe,zoned"
    mulch = "gilled_cluster,,,gills,cluster,mulch,free,Acer,9,,,,europe,"
    rows = answered(tmp_path, f"b,{shelf}", f"a,{mulch}", f"c,{shelf}", f"d,{mulch}")
    assert [row["sighting_id"] for row in rows] == ["b", "a", "c", "d"]
    assert [row["decay_evidence"] for row in rows] == ["yes", "no", "yes", "no"]


def test_many_sightings_of_one_body_are_answered_once_and_alike(tmp_path: Path) -> None:
    row = ",shelf,brown,white,pores,single,butt,attached,Quercus,9,3,,,north_america,zoned"
    rows = answered(tmp_path, *(f"s{number}{row}" for number in range(20_000)))
    assert len(rows) == 20_000
    assert len({tuple(list(row.values())[1:]) for row in rows}) == 1


@pytest.mark.parametrize(
    ("words", "told"),
    [
        pytest.param((), "nothing that was seen", id="nothing"),
        pytest.param(("--form", " "), "nothing that was seen", id="blank"),
        pytest.param(("--form", "banana"), "form=banana", id="nothing understood"),
        pytest.param(("--from", "x.csv", "--form", "shelf"), "together with form", id="both"),
        pytest.param(("--from", "absent.csv"), "no such file", id="no file"),
    ],
)
def test_what_is_refused(words: tuple[str, ...], told: str) -> None:
    done = soundwood("identify", *words)
    assert done.returncode == 1
    assert told in done.stderr
    assert done.stderr.startswith("soundwood: ")


def first_of(told: str) -> tuple[int, str]:
    """Share in hundred and name of the first candidate."""
    found = re.search(r"(\d+)% #+ (\S+ \S+)", told)
    assert found, told
    return int(found[1]), found[2]


def test_the_example_of_the_readme_is_the_brown_rot_of_oaks() -> None:
    """Common practice, no source: an orange shelf with yellow pores on oak is Laetiporus."""
    told = said(
        "--form", "shelf", "--upper-colour", "orange", "--under-colour", "yellow",
        "--under-surface", "pores", "--host", "Quercus", "--position", "stem",
    )  # fmt: skip
    share, name = first_of(told)
    assert name.startswith("Laetiporus")
    assert share >= 40
    assert "brown rot, in" in told


def test_a_fungus_of_palms_is_no_candidate_on_a_honey_locust() -> None:
    """Ganoderma zonatum grows on palms; common practice, no source."""
    told = said(
        "--form", "shelf", "--upper-colour", "red_brown", "--under-colour", "white",
        "--upper-texture", "varnished", "--position", "butt", "--host", "Gleditsia",
        "--region", "us-ny",
    )  # fmt: skip
    assert first_of(told)[1] == "Ganoderma sessile"
    assert "zonatum" not in told.partition("Why")[0]


def test_a_laboratory_is_not_overruled_in_silence(tmp_path: Path) -> None:
    told = said(
        "--name", "Schwefelporling", "--name-by", "laboratory", "--form", "gilled_cluster",
        "--under-surface", "gills", "--under-colour", "black", "--upper-colour", "grey",
    )  # fmt: skip
    assert "does not fit what was seen: samples or records may be mixed up" in told
    assert "Ask somebody who knows, because the name given does not fit" in told
    assert first_of(told)[1] == "Laetiporus sulphureus"
    apart, fits = answered(
        tmp_path,
        "a,gilled_cluster,grey,black,gills,cluster,,,,,,Schwefelporling,laboratory,,",
        "b,shelf,orange,yellow,pores,,,,,,,Schwefelporling,laboratory,,",
    )
    assert [row["needs_expert"] for row in (apart, fits)] == ["yes", "no"]


@pytest.mark.parametrize("name", ["charcoal crust", "Brandkrustenpilz", "Ustulina deusta"])
def test_the_worst_fungus_by_a_public_name_alone_is_checked(name: str) -> None:
    told = said("--name", name, "--name-by", "public", "--host", "Fagus")
    assert first_of(told)[1] == "Kretzschmaria deusta"
    assert "because a serious fungus is named and nothing of it was described" in told


def test_two_names_for_one_thing_mean_both(tmp_path: Path) -> None:
    told = said("--name", "Riesenporling / Klapperschwamm", "--name-by", "specialist")
    assert "may mean Grifola frondosa, Meripilus giganteus: what was seen decides" in told
    rows = answered(
        tmp_path,
        "a,,,,,,,,,,,Fistulina hepatica / Inonotus hispidus,specialist,,",
        "b,,,,,,,,,,,Fistulina hepatica / something grey,specialist,,",
        "c,,,,,,,,,,,Xyzzy plughii,specialist,,",
        "d,,,,,,,,,,,Fistulina hepatica,specialist,,",
    )
    assert {rows[0]["taxon_1"], rows[0]["taxon_2"]} == {"fistulina_hepatica", "inonotus_hispidus"}
    assert rows[1]["taxon_1"] == "fistulina_hepatica"
    assert [row["unread_words"] for row in rows] == [
        "", "name=something grey", "name=Xyzzy plughii", "",
    ]  # fmt: skip


def test_columns_of_other_spelling_are_read_and_unknown_ones_told_once(tmp_path: Path) -> None:
    source, out = tmp_path / "in.csv", tmp_path / "out.csv"
    source.write_text(
        "sighting_id,form,upper_color,under color,tree_id,colour_of_my_shoes,width_cm,count,date\n"
        "a,shelf,orange,yellow,t1,red,30,2,2026-07-01\n"
        "b,shelf,orange,mauvish,t1,red,wide,several,31/12/2026\n"
        "c,shelf,orange,yellow,t1,red,-4,,2026-02-31\n",
        encoding="utf-8",
    )
    done = soundwood("identify", "--from", str(source), "--out", str(out))
    assert done.returncode == 0
    assert done.stderr.count("colour_of_my_shoes") == 1
    assert "upper" not in done.stderr
    assert "tree_id" not in done.stderr
    with out.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows[0]["taxon_1"].startswith("laetiporus")
    assert [set(row["unread_words"].split("|")) for row in rows] == [
        {""},
        {"under_colour=mauvish", "width_cm=wide", "count=several", "date=31/12/2026"},
        {"width_cm=-4", "date=2026-02-31"},
    ]
