"""What people make of a fungus: some characters, some of them wrong, and names of look-alikes.

A field name is a guess, a colour a matter of light, and a genus often all that somebody dares to
say. What is told of the looks stays that of the fungus that grew there, so a description and a
wrong name beside it contradict each other, as they do on real sheets.
"""

from larkmere.draws import Draws
from larkmere.fungi import ALL, CHARACTERS, Fungus
from larkmere.sightings import Book, Sighting

# Mistakes that beginners make (common practice, no source).
LOOK_ALIKES = {
    "Ganoderma sessile": "Ganoderma applanatum",
    "Ganoderma applanatum": "Fomes fomentarius",
    "Grifola frondosa": "Bondarzewia berkeleyi",
    "Bondarzewia berkeleyi": "Grifola frondosa",
    "Laetiporus cincinnatus": "Laetiporus sulphureus",
    "Pholiota squarrosa": "Armillaria mellea",
    "Armillaria mellea": "Pholiota squarrosa",
    "Inonotus hispidus": "Laetiporus sulphureus",
    "Fomes fomentarius": "Phellinus igniarius",
    "Phellinus igniarius": "Fomes fomentarius",
    "Oxyporus populinus": "Trametes versicolor",
}
# States that are taken for one another: by light, by wet, by age, or by a matter of degree.
_TAKEN_FOR = {
    "white": "cream", "cream": "yellow", "yellow": "orange", "orange": "salmon", "salmon": "orange",
    "red_brown": "brown", "brown": "grey", "grey": "brown", "tan": "brown", "black": "brown",
    "shelf": "hoof", "hoof": "shelf", "crust": "knob", "rosette": "shelf", "varnished": "smooth",
    "crusted": "smooth", "velvety": "hairy", "hairy": "velvety", "scaly": "hairy",
    "cracked": "crusted", "corky": "leathery", "leathery": "corky", "woody": "corky",
    "fleshy": "watery", "watery": "fleshy", "single": "few", "several": "few",
    "overlapping": "several", "cluster": "overlapping", "patch": "single",
}  # fmt: skip
_AGAIN = 4


def as_people_see(book: Book, draws: Draws, *, since: int) -> None:
    """Let the sightings from number `since` on be what people tell, not what grew there."""
    for sighting in book.rows[since:]:
        values, fungus = sighting.values, _grown(sighting)
        for character in CHARACTERS:
            if character not in values:
                # Who gives a name tells little of the looks; who has none tells what he can.
                if fungus is not None and draws.chance(0.2):
                    values[character] = getattr(fungus, character)
            elif fungus is None and draws.chance(0.3):
                del values[character]
            state = str(values.get(character, ""))
            if state in _TAKEN_FOR and draws.chance(0.1):
                values[character] = _TAKEN_FOR[state]
        if fungus is not None and values["name_by"] in {"public", "image_model"}:
            _misname(sighting, fungus, draws)


def _grown(sighting: Sighting) -> Fungus | None:
    told = sighting.values.get("name")
    return next((f for f in ALL if told in {f.name, f.common}), None)


def _misname(sighting: Sighting, fungus: Fungus, draws: Draws) -> None:
    alike = LOOK_ALIKES.get(fungus.name)
    if alike and draws.chance(0.2):
        sighting.values["name"] = alike
    elif draws.chance(0.1):
        sighting.values["name"] = f"{fungus.name.split(' ')[0]} sp."


def seen_again(book: Book, draws: Draws, *, since: int) -> list[str]:
    """Fungi of 2025 that somebody else meets in 2026 and describes without a name."""
    first = [
        s
        for s in book.rows[since:]
        if _grown(s) and "tree_id" in s.values and str(s.values["seen_on"]).startswith("2025")
        and s.values["attachment"] == "attached" and not s.phone
    ]  # fmt: skip
    ids = []
    for old in draws.shuffled(first)[:_AGAIN]:
        fungus = _grown(old)
        kept = ("tree_id", "position", "attachment", "height_above_ground_m")
        values = {name: old.values[name] for name in kept if name in old.values}
        values |= {
            "seen_on": f"2026{str(old.values['seen_on'])[4:]}",
            "name_by": "unknown",
            "observer": "volunteer-16",
            "notes": "There was one here last year",
            **{c: getattr(fungus, c) for c in CHARACTERS if draws.chance(0.6)},
        }
        ids.append(book.add(values, old.tree, None, phone=False).sighting_id)
    return ids
