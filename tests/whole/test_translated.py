"""A city's own language reaches the page of a tree, the explanation, the lists and the crew."""

import csv
import io
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import ROOT, LarkmereRun
from tests.other_language import own, table

# Invented words.
_OTHER = {
    ("words", "action", "remove"): "forigu la arbon",
    ("words", "knot", "action"): "Kion fari, kaj kiam",
    ("says", "action_none", ""): "Nenio fareblas en la plano.",
    ("says", "why_never_inspected", ""): "Neniu rigardis tiun arbon.",
    ("sheet", "no_climb", "head"): "Ne grimpu.",
}  # fmt: skip


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample town in another language."""
    folder: Path = tmp_path_factory.mktemp("other")
    (folder / "own.toml").write_text(table(_OTHER), encoding="utf-8")
    text = (ROOT / "config" / "larkmere.toml").read_text(encoding="utf-8")
    told = text.replace("[output]\n", '[output]\nsentences = "own.toml"\n')
    assert told != text
    (folder / "larkmere.toml").write_text(told, encoding="utf-8")
    data = str(ROOT / "sample_inventory")
    _soundwood("run", str(folder / "larkmere.toml"), "--data", data, "--out", str(folder / "run"))
    return folder / "run"


def _soundwood(*words: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", *words],
        cwd=ROOT, capture_output=True, text=True, check=False, encoding="utf-8",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def _rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


def _texts(html: str, pattern: str) -> Iterator[str]:
    for found in re.findall(pattern, html, flags=re.DOTALL):
        yield unescape(re.sub(r"<[^>]+>", "", found)).strip()


def _of_a_tree(run: Path, larkmere: LarkmereRun) -> dict[str, Any]:
    (row,) = larkmere.sql(
        "select t.tree_id from scoring.tree_ratings r join ingest.trees t using (tree_key) "
        "where r.make_safe and r.no_climb order by r.tree_key limit 1"
    )
    told: dict[str, Any] = json.loads(
        _soundwood("explain", str(row["tree_id"]), "--run", str(run), "--json")
    )
    return told


def test_every_sentence_of_an_explanation_comes_from_the_table(
    run: Path, larkmere: LarkmereRun
) -> None:
    told = _of_a_tree(run, larkmere)
    (tree,) = told["trees"]
    said = [one["sentence"] for knot in tree["knots"] for one in knot["statements"]]
    said += [knot["title"] for knot in tree["knots"]] + list(told["cautions"])
    said += [one["sentence"] for one in (*tree["work"], *tree["asked"])]
    said += [tree["action"], *(row["action"] for row in tree["weighed"])]
    assert len(said) > 30
    for sentence in said:
        assert own(sentence), sentence
    lines = _soundwood("explain", tree["tree_id"], "--run", str(run)).splitlines()
    assert any("\u00abKion fari, kaj kiam\u00bb" in line for line in lines)
    # the number of a source stands behind a sentence; sources are cited as they are
    sources = lines.index(next(line for line in lines if "Sources" in line))
    for line in (*lines[:sources], lines[-1]):
        if line.strip() and not line.strip().startswith("[") and "Values" not in line:
            assert own(line), line


def test_the_page_of_a_tree_speaks_it_too(run: Path, larkmere: LarkmereRun) -> None:
    (tree,) = _of_a_tree(run, larkmere)["trees"]
    html = (run / "trees" / f"{tree['tree_id']}.html").read_text(encoding="utf-8")
    said = [
        *_texts(html, r"<h2[^>]*>(.*?)</h2>"),
        *_texts(html, r"<dt>(.*?)</dt>"),
        *_texts(html, r'<p class="danger pad">(.*?)</p>'),
        *_texts(html, r'<aside class="caution".*?>(.*?)</aside>'),
        *_texts(html, r'<div class="said">\s*<p>(.*?)</p>'),
        *_texts(html, r'<ul class="plan">(.*?)</ul>'),
        *_texts(html, r"<caption>(.*?)</caption>"),
        *_texts(html, r"<th [^>]*>(.*?)</th>"),
        *_texts(html, r"<p class=\"quiet\">(.*?)</p></body>"),
    ]
    assert len(said) > 40
    for text in said:
        assert own(text), text


def test_the_lists_give_their_reasons_in_it(run: Path) -> None:
    queue = _rows(run / "queue.csv")
    assert queue
    for row in queue:
        assert own(row["why"]), row["why"]
    reviews = _rows(run / "review.csv")
    assert reviews
    for row in reviews:
        assert own(row["what_to_do"]), row["what_to_do"]


def test_the_sheet_of_a_crew_warns_in_it(run: Path) -> None:
    sheets = sorted((run / "crews").glob("2*.html"))
    html = "".join(path.read_text(encoding="utf-8") for path in sheets)
    heads = {*_texts(html, r"<li><svg[^>]*>.*?</svg><span><b>(.*?)</b>")}
    assert "\u00abNe grimpu.\u00bb" in heads
    assert len(heads) > 5
    halts = {*_texts(html, r'<p class="halt"><strong>.*?</strong>(.*?)\.</p>')}
    tasks = {*_texts(html, r'<h2 id="t\d+">(.*?)(?:: \w+)?(?: \(.*?\))?</h2>')}
    whys = {*_texts(html, r'<p class="why">(?!<strong>)(.*?)</p>')}
    labels = {*_texts(html, r"<dt>(.*?)</dt>"), *_texts(html, r'<p class="halt"><strong>(.*?)</st')}
    assert len(labels) > 8
    for text in (*heads, *halts, *tasks, *whys, *labels):
        assert own(text), text


def test_a_resident_reads_in_it_what_is_done(run: Path) -> None:
    html = (run / "council_map.html").read_text(encoding="utf-8")
    rows = {*_texts(html, r"<tr id=\"tree-\d+\">.*?</tr>")}
    told = [row for row in rows if "\u00abTake the tree down\u00bb, by " in row]
    assert told


def test_what_is_planned_is_the_same_in_any_language(run: Path, larkmere: LarkmereRun) -> None:
    for name in ("queue", "routes", "stops", "jobs"):
        told = (
            folder / "tables" / "planning" / f"{name}.parquet" for folder in (run, larkmere.first)
        )
        first, second = (path.read_bytes() for path in told)
        assert first == second, name
