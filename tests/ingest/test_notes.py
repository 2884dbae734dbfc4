"""Remarks read: invented sentences of four languages beside what a reader of them understands.

Expected, by hand, common practice, no source: findings parted by ';', each a word of the tables, a
taxon after ':', the part after '@'; before it '-' denied, '?' doubted, '~' was there and is gone.
"""

import pyarrow as pa
import pytest

from pipeline.ingest.notes import KINDS, Found, NoteReader
from pipeline.published.table import Library
from pipeline.tables.inputs import DEFECTS, PARTS

_SIGNS = {"stated": "", "negated": "-", "suspected": "?", "former": "~"}

ENGLISH = [
    ("Fruiting bodies at base", "fungus@butt"),
    ("No fruiting bodies seen", "-fungus"),
    ("fruiting", ""),
    ("heavy fruting, cut back from the walk", ""),
    ("fruting bodies at the base", "fungus@butt"),
    ("conk fruiting on stem", "fungus@stem"),
    ("Possible Ganoderma on root flare", "?fungus:ganoderma@butt"),
    ("Kretzschmaria deusta?", "?fungus:kretzschmaria_deusta"),
    ("K. deusta at butt", "fungus:kretzschmaria_deusta@butt"),
    ("honey fungus suspected", "?fungus:armillaria_mellea"),
    ("Chicken of the woods on main stem, 3 m up", "fungus:laetiporus_sulphureus@stem"),
    ("conk removed in 2019", "~fungus"),
    ("Former bracket on stem", "~fungus@stem"),
    ("large cavity in trunk", "cavity@stem"),
    ("Cavity: none", "-cavity"),
    ("no cavities, cracks or decay", "-cavity; -crack; -decay"),
    ("No decay; crack in main union", "-decay; crack@stem"),
    ("Root rot", "decay@roots"),
    ("basal decay with conks", "decay@butt; fungus"),
    ("without decay but hollow at base", "-decay; cavity@butt"),
    ("Deadwood over footpath", "dead_branch@branch"),
    ("remove dead wood", "dead_branch@branch"),
    ("deadwood removed last winter", "~dead_branch@branch"),
    ("Tree is dead", "dead_tree"),
    ("crown half dead", "crown_dieback@branch"),
    ("Top is dead", "crown_dieback@branch"),
    ("severe dieback", "crown_dieback@branch"),
    ("leans over the road", "lean@roots"),
    ("hanging branch above swing", "hanging_branch@branch"),
    ("codominant stems with included bark", "weak_union@stem"),
    ("girdling roots", "girdling_root@roots"),
    ("roots cut on street side", "root_damage@roots"),
    ("old bark wound on stem", "girth_wound@stem"),
    ("Canker on branch", "canker@branch"),
    ("decay cannot be ruled out", "?decay"),
    ("decay possible at the wound", "?decay; girth_wound"),
    ("TREE REMOVED 2018", "removed"),
    ("Split trunk, dangerous", "split@stem; danger"),
    ("check for decay", "?decay"),
    ("healthy young tree", ""),
    ("no deadwood, cavity at base", "-dead_branch@branch; cavity@butt"),
    ("brakcet fungus (Meripilus giganteus) on roots", "fungus:meripilus_giganteus@roots"),
    ("fungus not confirmed", "-fungus"),
    ("dead end street", ""),
    ("Stake gone, guard removed", ""),
    ("Removed 3/2019", "removed"),
    ("Pruning wound closed", "~girth_wound"),
    ("bark scrape from a mower", "girth_wound"),
    ("Old cable in the fork", ""),
    ("Trunk cavity filled with concrete", "cavity@stem"),
    ("split in crotch, cabled", "split@stem"),
    ("Dead ivy on trunk", ""),
    ("dead limbs removed, one hanger remains", "~dead_branch@branch; hanging_branch@branch"),
    ("No visible fungus but decay at base", "-fungus; decay@butt"),
    ("Sparse canopy, no obvious defects", "crown_dieback@branch"),
    ("wound not closed, conk below", "girth_wound; fungus"),
    ("old pruning wound, not yet fully closed", "girth_wound"),
    ("wound poorly callused", "girth_wound"),
    ("conk not removed", "fungus"),
    ("can't rule out root rot", "?decay@roots"),
    ("Cavity: N Decay: N Fungus: Y", "-cavity; -decay; fungus"),
    ("Cavity N Decay N Fungus Y", "-cavity; -decay; fungus"),
    ("Fungus - 0", "-fungus"),
    ("Fungus: 2, lean: 10 deg", "fungus; lean@roots"),
    ("decay at base: no; conks? yes", "-decay@butt; fungus"),
    ("Cavity: 0 - 50 cm", "cavity"),
    ("cavity: N side", "cavity"),
    ("Decay=N, Crack=Y", "-decay; crack"),
    ("Defects: none Fungus: yes", "fungus"),
    ("Chicken of the woods on neighbouring oak, this tree ok", ""),
    ("neighboring tree has conks; crack in stem", "crack@stem"),
    ("adjacent oak with root rot", ""),
    ("leans into neighbouring tree", "lean@roots"),
    ("crack in the kerb, conk at base", "fungus@butt"),
    ("asphalt cracked by roots", ""),
    ("cracks in the wall behind", ""),
    ("sidewalk crack, split in main stem", "split@stem"),
    ("crack in the soil by the root flare", "crack@butt"),
    ("wound on road side", "girth_wound"),
    ("artists conk on butt", "fungus:ganoderma_applanatum@butt"),
    ("Dryads saddle in old pruning wound", "fungus:cerioporus_squamosus; girth_wound"),
    ("chicken-of-the-woods on stem", "fungus:laetiporus_sulphureus@stem"),
    ("sulpher shelf on stem", "fungus:laetiporus_sulphureus@stem"),
    ("dead mans fingers at base", "fungus:xylaria_polymorpha@butt"),
    ("D/W in crown, prune", "dead_branch@branch"),
    ("conk at base, prob. heartwood decay", "fungus@butt; ?decay"),
    ("cavity in stem w/o decay", "cavity@stem; -decay@stem"),
    ("Bracket on stem, monitor", "fungus@stem"),
    ("conk on stem / old sign? cavity", "fungus@stem; cavity@stem"),
    ("dead squirrel on grate", ""),
    ("leaf spot fungus, powdery mildew", ""),
    ("mycorrhizal fungi added to pit", ""),
    ("rust fungus on leaves, conk on stem", "fungus@stem"),
    ("lichen and moss on bark", ""),
    ("bracket holding sign attached to trunk", ""),
]

GERMAN = [
    ("Stammfäule", "decay@stem"),
    ("STAMMFAEULE", "decay@stem"),
    ("Stammfaule", "decay@stem"),
    ("Wurzelfäule, Brandkrustenpilz", "decay@roots; fungus:kretzschmaria_deusta"),
    ("Brandkrustenplz am Stammfuß", "fungus:kretzschmaria_deusta@butt"),
    ("Faulstelle am Stamm", "decay@stem"),
    ("Keine Fäule erkennbar", "-decay"),
    ("kein Pilzbefall", "-fungus"),
    ("Pilze: keine", "-fungus"),
    ("ohne Risse und Höhlungen", "-crack; -cavity"),
    ("keine Risse, Höhlungen oder Faulstellen", "-crack; -cavity; -decay"),
    ("kein Totholz, Riss im Starkast", "-dead_branch@branch; crack@branch"),
    ("Verdacht auf Hallimasch", "?fungus:armillaria"),
    ("evtl. Stockfäule", "?decay"),
    ("Zunderschwamm in 4 m Höhe", "fungus:fomes_fomentarius"),
    ("Riesenporling am Wurzelanlauf", "fungus:meripilus_giganteus@butt"),
    ("Fruchtkörper vom Schwefelporling im Stammkopf", "fungus:laetiporus_sulphureus@stem"),
    ("Pilzfruchtkörper wurde entfernt", "~fungus"),
    ("ehemaliger Fruchtkörper am Stamm", "~fungus@stem"),
    ("Fäule nicht auszuschließen", "?decay"),
    ("Höhlung im Stamm", "cavity@stem"),
    ("hohl", "cavity"),
    ("Spechtloch im Starkast", "cavity@branch"),
    ("Druckzwiesel mit Riss", "weak_union; crack"),
    ("Stamm- und Wurzelfäule", "decay@stem; decay@roots"),
    ("keine Stamm-, Ast- oder Wurzelfäule", "-decay@stem; -decay@branch; -decay@roots"),
    ("Fäule am Stamm - und Wurzelfäule", "decay@stem; decay@roots"),
    ("Totholz", "dead_branch@branch"),
    ("Totholz entfernen", "dead_branch@branch"),
    ("Totholz entfernt", "~dead_branch@branch"),
    ("Totholz muss entfernt werden", "dead_branch@branch"),
    ("Ast im unteren Kronenbereich abgestorben", "dead_branch@branch"),
    ("Krone ist teilweise abgestorben", "crown_dieback@branch"),
    ("Baum abgestorben", "dead_tree"),
    ("Wipfeldürre", "crown_dieback@branch"),
    ("Schrägstand Richtung Straße", "lean@roots"),
    ("Wurzelverletzung durch Grabung", "root_damage@roots"),
    ("Würgewurzel", "girdling_root@roots"),
    ("Rindenschaden am Stamm", "girth_wound@stem"),
    ("Anfahrschaden", "girth_wound"),
    ("Rindenkrebs", "canker"),
    ("Bruchgefahr", "danger"),
    ("keine Bruchgefahr", "-danger"),
    ("Astausbruch, Ast hängt noch", "girth_wound@branch; hanging_branch@branch"),
    ("gefällt am 3.4.2011", "removed"),
    ("muss gefällt werden", "to_fell"),
    ("Faulbaum (Frangula alnus)", ""),
    ("Umrissplan liegt vor", ""),
    ("rotblühende Kastanie", ""),
    ("Efeu am Stamm", ""),
    ("nicht mehr bruchsicher", "danger"),
    ("Stammfäule vermutet; Fruchtkörper nicht gefunden", "?decay@stem; -fungus"),
    ("Abgestorbener Leittrieb", "dead_branch@branch"),
    ("Astbruchgefahr über Gehweg", "danger@branch"),
    ("Stamm innen hohl, Restwand gering", "cavity@stem; decay"),
    ("Wunde am Stamm nicht verheilt", "girth_wound@stem"),
    ("Rindenschaden noch nicht geschlossen und Fäule", "girth_wound; decay"),
    ("Wunde teilweise überwallt", "girth_wound"),
    ("Hallimasch n. ausgeschlossen", "?fungus:armillaria"),
    ("Fäule kann nicht ausgeschlossen werden", "?decay"),
    ("Faulstelle: nein, Riss: ja", "-decay; crack"),
    ("Pilz: nein Riss: ja Höhlung: nein", "-fungus; crack; -cavity"),
    ("Riss N", "crack"),
    ("Pilz am Nachbarbaum", ""),
    ("Riesenporling an benachbarter Buche", ""),
    ("Nachbarbaum mit Fäule; Riss im Stamm", "crack@stem"),
    ("Riss im Asphalt", ""),
    ("Spalt im Gehweg, Stammriss", "crack@stem"),
    ("Gehweg gerissen, Pilz am Stammfuß", "fungus@butt"),
    ("Zunderschwamm, beobachten", "fungus:fomes_fomentarius"),
    ("Polypor am Stamm / Schild? Faulloch", "fungus@stem; decay@stem"),
    ("ev. Riss im Stamm", "?crack@stem"),
    ("toter Vogel in der Baumscheibe", ""),
    ("Rostpilzbefall an den Blättern", ""),
    ("Mehltau, Schorfpilz", ""),
    ("Mykorrhizapilze zugegeben", ""),
    ("Flechten und Moos am Stamm", ""),
]

FRENCH = [
    ("champignon au collet", "fungus@butt"),
    ("pas de champignon, cavité au collet", "-fungus; cavity@butt"),
    ("CHAMPIGNONS SUR LE TRONC", "fungus@stem"),
    ("aucun champignon visible", "-fungus"),
    ("champignon : non", "-fungus"),
    ("carpophore de ganoderme", "fungus:ganoderma"),
    ("Ganoderma applanatum ? au pied", "?fungus:ganoderma_applanatum@butt"),
    ("amadouvier sur charpentière", "fungus:fomes_fomentarius@branch"),
    ("polypore soufré à surveiller", "fungus:laetiporus_sulphureus"),
    ("suspicion d'ustuline", "?fungus:kretzschmaria_deusta"),
    ("meripile geant", "fungus:meripilus_giganteus"),
    ("carpophores enlevés", "~fungus"),
    ("sans fissure ni cavité", "-crack; -cavity"),
    ("Fissure verticale sur le tronc", "crack@stem"),
    ("pourriture du collet", "decay@butt"),
    ("tronc pourri", "decay@stem"),
    ("tronc creux", "cavity@stem"),
    ("bois mort", "dead_branch@branch"),
    ("bois mort à enlever", "dead_branch@branch"),
    ("bois mort enlevé", "~dead_branch@branch"),
    ("branches mortes dans le houppier", "dead_branch@branch"),
    ("arbre mort", "dead_tree"),
    ("dépérissement", "crown_dieback@branch"),
    ("descente de cime", "crown_dieback@branch"),
    ("arbre penché vers la chaussée", "lean@roots"),
    ("plaie au tronc", "girth_wound@stem"),
    ("écorce incluse", "weak_union"),
    ("houppier: Écorce incluse", "weak_union@branch"),
    ("Déchirure", "girth_wound"),
    ("déchirure de la fourche", "split@stem"),
    ("branche suspendue", "hanging_branch@branch"),
    ("racines coupées", "root_damage@roots"),
    ("racine strangulante", "girdling_root@roots"),
    ("chancre sur branche", "canker@branch"),
    ("risque de rupture", "danger"),
    ("abattu en 2015", "removed"),
    ("à abattre", "to_fell"),
    ("absence de pourriture", "-decay"),
    ("pourriture possible", "?decay"),
    ("feuilles mortes sur le trottoir", ""),
    ("chemin creux", ""),
    ("Branche cassée pendante", "hanging_branch@branch"),
    ("Axe dominant mort", "dead_branch@branch"),
    ("Plaie ancienne recouverte", "~girth_wound"),
    ("Cavité basse avec pourriture molle", "cavity; decay"),
    ("cavit&eacute; au tronc<br/>champignon", "cavity@stem; fungus"),
    ("plaie avec pourriture, sans cavité", "girth_wound; decay; -cavity"),
    ("pas de cavité mais plaie non recouverte", "-cavity; girth_wound"),
    ("plaie mal refermée", "girth_wound"),
    ("pourriture non exclue", "?decay"),
    ("on ne peut exclure une pourriture", "?decay"),
    ("champignon: non, cavité: oui", "-fungus; cavity"),
    ("Champignon : 0", "-fungus"),
    ("champignon sur l'arbre voisin", ""),
    ("arbre voisin avec polypore, cavité au tronc", "cavity@stem"),
    ("fissure du trottoir", ""),
    ("fissure dans le bitume, plaie au tronc", "girth_wound@stem"),
    ("Amadouvier sur charpentière, à surveiller", "fungus:fomes_fomentarius@branch"),
    ("prob. pourriture au collet", "?decay@butt"),
    ("oiseau mort au pied", ""),
    ("champignon foliaire, rouille", ""),
    ("oïdium, polypore au tronc", "fungus@stem"),
]

SPANISH = [
    ("hongos en la base", "fungus@butt"),
    ("sin hongos", "-fungus"),
    ("no hay hongos ni cavidades", "-fungus; -cavity"),
    ("Hongos: no", "-fungus"),
    ("posible Ganoderma", "?fungus:ganoderma"),
    ("sospecha de pudrición radicular", "?decay@roots"),
    ("pudricion en el tronco", "decay@stem"),
    ("tronco hueco", "cavity@stem"),
    ("ramas secas sobre la acera", "dead_branch@branch"),
    ("árbol seco", "dead_tree"),
    ("grieta en el fuste", "crack@stem"),
    ("rama colgando", "hanging_branch@branch"),
    ("corteza incluida", "weak_union"),
    ("raíces cortadas", "root_damage@roots"),
    ("inclinado hacia la calle", "lean@roots"),
    ("herida en el tronco", "girth_wound@stem"),
    ("carpóforos retirados", "~fungus"),
    ("talado en 2017", "removed"),
    ("copa seca", "crown_dieback@branch"),
    ("riesgo de caída", "danger"),
    ("cavidad descartada", "-cavity"),
    ("yesquero en rama", "fungus:fomes_fomentarius@branch"),
    ("setos recortados", ""),
    ("Ramas secas y peligro de caída", "dead_branch@branch; danger"),
    ("Árbol con hueco en la base y hongos en el tronco", "cavity@butt; fungus@stem"),
    ("No presenta daños", ""),
    ("podredumbre a vigilar", "decay"),
    ("antigua cavidad", "~cavity"),
    ("herida no cerrada en el tronco", "girth_wound@stem"),
    ("herida cerrada", "~girth_wound"),
    ("no se descarta pudrición interna", "?decay"),
    ("hongos: sí, grietas: no", "fungus; -crack"),
    ("hongos en el árbol vecino", ""),
    ("grieta en la vereda, grieta en el tronco", "crack@stem"),
    ("pavimento agrietado por raíces", ""),
    ("prob. pudrición en la base", "?decay@butt"),
    ("paloma muerta en el alcorque", ""),
    ("hongos foliares, roya", ""),
]
EXAMPLES = [
    pytest.param(text, expected, id=f"{language}-{text}")
    for language, several in (("en", ENGLISH), ("de", GERMAN), ("fr", FRENCH), ("es", SPANISH))
    for text, expected in several
]
TABLES = ("notes_words", "notes_polarity", "notes_parts", "notes_language", "notes_fungi")


@pytest.fixture(scope="module")
def reader() -> NoteReader:
    return NoteReader(Library())


def _said(found: Found) -> str:
    taxon = f":{found.taxon_id}" if found.taxon_id else ""
    part = f"@{found.part}" if found.part else ""
    return f"{_SIGNS[found.polarity]}{found.word}{taxon}{part}"


def _rows(reader: NoteReader, *texts: str | None) -> list[dict[str, object]]:
    found: list[dict[str, object]] = reader.read(pa.array(texts, pa.string())).table.to_pylist()
    return found


@pytest.mark.parametrize(("text", "expected"), EXAMPLES)
def test_what_a_remark_says(reader: NoteReader, text: str, expected: str) -> None:
    told = reader.read_alone(text)
    assert "; ".join(_said(one) for one in told) == expected
    assert all(text[one.start : one.end] == one.quoted for one in told)


def test_each_row_gets_what_its_text_says(reader: NoteReader) -> None:
    rows = _rows(reader, "Stammfäule", None, "Totholz, Riss", "Stammfäule", "")
    assert [(row["row"], row["word"]) for row in rows] == [
        (0, "decay"), (2, "dead_branch"), (2, "crack"), (3, "decay"),
    ]  # fmt: skip
    assert {row["certainty"] for row in rows} == {reader.certainty["stated"]}


def test_order_of_the_rows_changes_no_reading(reader: NoteReader) -> None:
    texts = [text for text, _ in (*GERMAN, *FRENCH)]
    ahead, back = _rows(reader, *texts), _rows(reader, *texts[::-1])
    last = len(texts) - 1
    turned = [{**row, "row": last - int(str(row["row"]))} for row in back]
    turned.sort(key=lambda row: (row["row"], row["start"]))
    assert ahead == turned


@pytest.mark.parametrize(
    "text", ["", "   ", "???", "...---...", "!", "<br><br>", "&nbsp;", "12.3."]
)
def test_marks_alone_say_nothing(reader: NoteReader, text: str) -> None:
    notes = reader.read(pa.array([text]))
    assert notes.table.num_rows == 0
    assert len(notes.unread) == 0


def test_a_remark_of_a_hundred_kilobytes_is_read_to_its_end(reader: NoteReader) -> None:
    text = "Baum wurde kontrolliert und gepflegt. " * 2800 + "Hallimasch am Stammfuß."
    assert len(text) > 100_000
    (row,) = _rows(reader, text)
    assert (row["taxon_id"], row["part"], row["quoted"]) == ("armillaria", "butt", "Hallimasch")


def test_a_language_outside_the_tables_is_counted_and_kept(reader: NoteReader) -> None:
    notes = reader.read(
        pa.array(
            [
                "Puussa on kuollutta oksaa latvassa ja runko vaurioitunut",
                "Riss im Stamm",
                "Старое дерево гнилое внутри около корня",
            ]
        )
    )
    assert notes.unread.tolist() == [0, 2]
    assert notes.table["row"].to_pylist() == [1]


def test_the_language_of_most_decides_about_words_of_two(reader: NoteReader) -> None:
    """'rot' is a colour in German and decay in English."""
    german = ["Totholz in der Krone", "Stamm hohl", "Blüte rot"]
    english = ["Deadwood in the crown", "Hollow stem", "some rot"]
    assert [row["word"] for row in _rows(reader, *german)] == ["dead_branch", "cavity"]
    assert [row["word"] for row in _rows(reader, *english)] == ["dead_branch", "cavity", "decay"]


@pytest.mark.parametrize(
    ("text", "quoted"),
    [
        ("Fl&auml;chige F&auml;ule", "F&auml;ule"),
        ("<p>Gro\u00dfe <b>F\u00e4ule</b></p>", "F\u00e4ule"),
        ("Stamm\u00adfa\u0308ule", "Stamm\u00adfa\u0308ule"),
        ("Bois \u0153uvre: pourriture", "pourriture"),
    ],
    ids=["entity", "markup", "soft hyphen and loose dots", "ligature"],
)
def test_the_words_are_quoted_as_they_stand(reader: NoteReader, text: str, quoted: str) -> None:
    (row,) = _rows(reader, text)
    assert row["quoted"] == quoted
    assert text[int(str(row["start"])) : int(str(row["end"]))] == quoted


def test_words_of_the_tables_are_closed() -> None:
    library = Library()
    words = library.table("notes_words")
    meanings = {*DEFECTS, "fungus", "danger", "removed", "to_fell", "failed", "urgent", "nothing"}
    assert set(words.texts("meaning")) <= meanings - {"none_seen"}
    assert set(words.texts("part")) <= {*PARTS, ""}
    assert set(library.table("notes_parts").texts("part")) <= set(PARTS)
    cues = library.table("notes_polarity")
    assert set(cues.texts("polarity")) == {*_SIGNS, "elsewhere"}
    assert set(cues.texts("side")) == {
        "before", "after", "after_end", "same", "both", "answer",
    }  # fmt: skip
    assert {word for cell in cues.texts("only") for word in cell.split()} <= meanings
    assert set(library.table("notes_language").texts("use")) == {
        "filler", "conjunction", "or", "known", "at", "tree", "beside", "ground", "within",
    }  # fmt: skip
    assert set(library.table("notes_certainty").texts("polarity")) == set(_SIGNS)
    taxa = set(library.table("taxa").texts("taxon_id"))
    assert set(library.table("notes_fungi").texts("taxon_id")) <= taxa


@pytest.mark.parametrize("name", TABLES)
def test_every_table_speaks_the_four_languages(name: str) -> None:
    table = Library().table(name)
    assert set(table.texts("language")) >= {"de", "fr", "es"}


def test_a_doubt_or_denial_is_never_surer_than_a_statement(reader: NoteReader) -> None:
    sure = reader.certainty
    assert 0 == sure["negated"] == sure["former"] < sure["suspected"] < sure["stated"] < 1
    assert set(KINDS) == {"sighting", "defect", "danger", "removed", "other"}
