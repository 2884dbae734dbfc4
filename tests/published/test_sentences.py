"""A city may translate the sentences; a fault in its file is told with its place, before a run."""

from datetime import date
from pathlib import Path

import pytest

from pipeline.errors import SettingsError
from pipeline.published.sentences import english, translated
from pipeline.render.wording import Wording, wording
from pipeline.settings.load import load

# Invented: no language of people, so that no word of it can stand in the English table.
_OTHER = """
[words.the]
butt = "da bazo"
stem = "da trunko"

[words.failure]
probable = "probabla"

[words.day]
known = "{day}a {month} {year}"
10 = "oktobro"

[words.join]
and = " kaj "

[says]
seen_never = "Neniu vidis tiun arbon."
wood_not_measured = "Neniu mezuris la putron en {part}."

[says.holds_witnesses]
same = "Vento kaj okuloj diras pri {part}: {seen}."
"""


def _file(folder: Path, text: str) -> Path:
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_second_language_is_spoken_where_it_is_told(tmp_path: Path) -> None:
    said = Wording(translated(_file(tmp_path, _OTHER)))
    assert said.sentence("seen_never", {}) == "Neniu vidis tiun arbon."
    assert said.sentence("wood_not_measured", {"part": "butt|stem"}) == (
        "Neniu mezuris la putron en da bazo kaj da trunko."
    )
    both = {"part": "stem", "seen": "probable", "computed": "probable"}
    assert said.sentence("holds_witnesses", both) == (
        "Vento kaj okuloj diras pri da trunko: probabla."
    )
    # What the city left out is said in English, with the city's own words in it.
    mixed = said.sentence("seen_column", {
        "defect": "crack", "part": "stem", "quoted": "f", "seen_on": "2026-10-02",
    })  # fmt: skip
    assert mixed.endswith("(\u201cf\u201d), 2a oktobro 2026.")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ('[says]\nseen_nevver = "x"', "says.seen_nevver: no such sentence"),
        ('[says.wood_left]\nsome = "x"', "says.wood_left.some: no such sentence"),
        ('[words.the]\nleaf = "folio"', "words.the.leaf: no such sentence"),
        ('[says]\nwood_not_measured = "Neniu."', "says.wood_not_measured: {part} is missing"),
        ('[says]\nseen_never = "{tree} x"', "says.seen_never: {tree} is unknown"),
        ('[says]\nseen_never = "{0}"', "says.seen_never: {0}"),
        ('[says]\nwood_not_measured = "{part.__class__}"', "says.wood_not_measured"),
        ('[says]\nwood_not_measured = "{part:>999999999}"', "says.wood_not_measured"),
        ('[says]\nwood_not_measured = "{part!r}"', "says.wood_not_measured"),
        ('[says]\nwood_not_measured = "{part"', "says.wood_not_measured"),
        ('[says]\nseen_never = ""', "says.seen_never"),
        ("[says]\nseen_never = 3", "says.seen_never"),
        ('[word.the]\nbutt = "x"', "word"),
        ("[says\n", "line 1"),
        ('[asks]\nsighting_conflict = "Rigardu."', "asks.sighting_conflict: {seen} is missing"),
        ('[left_out]\nno_machine = "{work} {crane}"', "left_out.no_machine: {crane} is unknown"),
        ('[sheet.school]\nhours = "{open}"', "sheet.school.hours: {hours} is missing"),
        ('[page.job]\ndue = "ĝis {day} {hour}"', "page.job.due: {hour} is unknown"),
        ('[words.deadline]\nknown = "ene de tagoj"', "words.deadline.known: {days} is missing"),
    ],
)
def test_a_fault_is_refused_with_its_place(tmp_path: Path, text: str, found: str) -> None:
    path = _file(tmp_path, text)
    with pytest.raises(SettingsError) as fault:
        translated(path)
    assert fault.value.where == str(path)
    assert found in fault.value.found
    assert "config/sentences.toml has every line" in fault.value.remedy


def test_all_faults_of_a_file_are_told_together(tmp_path: Path) -> None:
    text = '[says]\nseen_nevver = "x"\nwood_not_measured = "Neniu en {parto}."'
    with pytest.raises(SettingsError) as fault:
        translated(_file(tmp_path, text))
    assert "seen_nevver" in fault.value.found
    assert "{part} is missing" in fault.value.found
    assert "{parto} is unknown" in fault.value.found


def test_the_english_table_is_whole() -> None:
    lines = english().lines
    assert len(lines) > 400
    said = {text for (group, _, _), text in lines.items() if group == "says"}
    assert all(text[0] in " ,;\u201c{" or text[0].isalpha() for text in said)


def _city(folder: Path, sentences: str) -> Path:
    path = folder / "city.toml"
    path.write_text(
        '[city]\nname = "Larkmere"\n[[inputs.trees]]\nfiles = ["t.csv"]\n'
        f'[output]\nsentences = "{sentences}"\n',
        encoding="utf-8",
    )
    return path


def test_settings_name_the_file_and_refuse_a_wrong_one(tmp_path: Path) -> None:
    own = _file(tmp_path, _OTHER)
    settings = load(_city(tmp_path, "own.toml"), data_dir=tmp_path, as_of=date(2026, 11, 15))
    assert wording(settings).sentence("seen_never", {}) == "Neniu vidis tiun arbon."
    own.write_text('[says]\nseen_nevver = "x"', encoding="utf-8")
    with pytest.raises(SettingsError, match="seen_nevver"):
        load(_city(tmp_path, "own.toml"), data_dir=tmp_path, as_of=date(2026, 11, 15))
    with pytest.raises(SettingsError, match=r"none\.toml"):
        load(_city(tmp_path, "none.toml"), data_dir=tmp_path, as_of=date(2026, 11, 15))


def test_a_run_that_kept_the_sentences_is_explained_in_them(tmp_path: Path) -> None:
    # As a run keeps them: beside its settings, which still name the file where it once lay.
    (tmp_path / "sentences.toml").write_text(_OTHER, encoding="utf-8")
    path = _city(tmp_path, "../words/own.toml")
    settings = load(path, data_dir=tmp_path, as_of=date(2026, 11, 15))
    assert wording(settings).sentence("seen_never", {}) == "Neniu vidis tiun arbon."
