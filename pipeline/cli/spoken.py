"""An identification in words, for one who stands before the tree."""

import textwrap
from collections.abc import Iterator

import numpy as np

from pipeline.cli.reading import Sighted
from pipeline.published.table import Library
from pipeline.scoring.assembly.identified import SHOWN, Identified
from pipeline.scoring.identification import key as keys
from pipeline.scoring.identification.evidence import Evidence, shares
from pipeline.scoring.identification.key import Key
from pipeline.scoring.identification.meaning import PHOTOGRAPHS, ROTS, Decay, least_years
from pipeline.scoring.parameters.identification import IdentificationParameters
from pipeline.terms import Part
from pipeline.units import Floats

_BAR, _WIDTH = 30, 96
# An observation is told where it is so many times as usual in the first taxon as in fungi at large.
_TELLING = 1.5
# Parts and candidates are told where they are more likely than not, or at least so probable.
_LIKELY, _WORTH_NAMING = 0.5, 0.05
# A first that is less probable is no name yet.
_NAMED = 0.2
_WOOD = {
    "white": "the wood turns soft and stringy",
    "brown": "the wood turns brittle and may break without warning",
    "soft": "the wood turns brittle, often with little to be seen from outside",
}
_BREAKS = {
    Part.ROOTS: "tip over with its roots",
    Part.BUTT: "break at its base",
    Part.STEM: "break in the stem",
    Part.BRANCH: "drop branches",
}
_PARTS = {Part.ROOTS: "roots", Part.BUTT: "butt", Part.STEM: "stem", Part.BRANCH: "branches"}
_READ_AS = {
    "month": "a number from 1 to 12",
    "date": "year-month-day",
    "layers": "a whole number from 1",
    "region": "north_america or europe",
    "host_certain": "yes or no",
    "name_certainty": "a number from 0 to 1",
    "lon": "a longitude in degrees",
    "count": "a number from 0",
    "width_cm": "a width in centimetres",
    "height_above_ground_m": "a height in metres",
}
_EVIDENCE = {
    Decay.YES: "Taken as growing on this tree: evidence of decay in its wood.",
    Decay.UNSURE: "Whether it lives on this tree's wood is not told or contradictory: see how it "
    "is attached before anything follows for the tree.",
    Decay.NO: "It grows loose on the ground: it says nothing about the wood of this tree.",
}


def said(at: int, sighted: Sighted, found: Identified, asked: "Asked") -> Iterator[str]:
    """Lines about one sighting: candidates, why, what it means and what to do next.

    Parameters
    ----------
    at : row of the sighting.
    """
    one = sighted.evidence.rows(np.array([at]))
    posterior = keys.posterior(one, asked.parameters.key)[0]
    yield f"Seen: {_seen(one, asked.parameters.key) or 'nothing but a name'}"
    yield from _not_understood(at, sighted, one, asked)
    if found.misfit[at]:
        yield ("The name given does not fit what was seen: samples or records may be mixed up, or "
               "what was seen was told of another fruiting body. Check both.")  # fmt: skip
    yield ""
    yield from _candidates(at, found, posterior, asked)
    yield ""
    yield from _why(at, found, one, asked)
    yield from _alike(at, found, posterior, asked)
    yield ""
    yield from _means(at, sighted, found, asked)
    yield ""
    yield from _next(at, sighted, found, asked)


def wrapped(line: str) -> str:
    """A line broken to the width of a page, what follows set in."""
    inset = " " * (len(line) - len(line.lstrip()) + 4)
    return textwrap.fill(line, _WIDTH, subsequent_indent=inset, break_long_words=False)


def what_to_look_at(parameters: IdentificationParameters) -> Iterator[str]:
    """Lines for one who has not looked yet: each look in its order, its option and its words."""
    vocabulary, looks = parameters.key.vocabulary, parameters.looks
    yield "What to look at; leave out what you cannot see. Stay on the ground."
    for at in np.argsort(looks.order, kind="stable").tolist():
        name = looks.character[at]
        yield f"--{name.replace('_', '-')}: {looks.look[at]}"
        if name == "host":
            yield "    a genus of trees or a common name, as Quercus or oak"
        else:
            yield f"    {' '.join(vocabulary.states[vocabulary.characters.index(name)])}"
    yield "Also: --month 1-12, --region, --layers (of pores, in a cut), --name and --name-by."


class Asked:
    """What the answers are told from: the parameters and the meaning of the action codes."""

    def __init__(self, parameters: IdentificationParameters, library: Library) -> None:
        """Hold them."""
        self.parameters = parameters
        codes = library.table("action_codes")
        self.action = dict(zip(codes.texts("action_code"), codes.texts("meaning"), strict=True))


def _seen(one: Evidence, key: Key) -> str:
    """The words that were understood, as 'form shelf'."""
    told = []
    for name, states in zip(key.vocabulary.characters, key.vocabulary.states, strict=True):
        marked = np.flatnonzero(one.seen[0, key.vocabulary.span(name)])
        if len(marked):
            words = " or ".join(states[at].replace("_", " ") for at in marked)
            told.append(f"{_plain(name)} {words}")
    if one.region[0] >= 0:
        told.append(f"region {key.regions[one.region[0]].replace('_', ' ')}")
    return ", ".join(told)


def _plain(character: str) -> str:
    return {"host_uncertain": "perhaps on"}.get(character, character.replace("_", " "))


def printable(text: str) -> str:
    """What somebody wrote, without marks that steer a terminal."""
    return "".join(mark for mark in text if mark.isprintable())


def _not_understood(at: int, sighted: Sighted, one: Evidence, asked: Asked) -> Iterator[str]:
    vocabulary = asked.parameters.key.vocabulary
    for word in filter(None, sighted.unread[at].split("|")):
        character, _, text = word.partition("=")
        if character == "name" and sighted.odd[at]:
            # Told below, with what is made of it.
            continue
        line = f"Not understood, not used: {_plain(character)} {printable(text)!r}"
        if character == "host":
            line += " is no genus of trees that is known here"
        elif character in _READ_AS:
            line += f" is not {_READ_AS[character]}"
        elif character == "name_by":
            line += f"; the words are {', '.join(asked.parameters.key.names.name_by)}"
        elif character in vocabulary.characters:
            states = vocabulary.states[vocabulary.characters.index(character)]
            line += f"; the words are {', '.join(states)}"
        yield line
    if one.name[0] < 0:
        return
    name = printable(sighted.name[at])
    means = np.flatnonzero(one.meanings[one.name[0]] > 0)
    names = asked.parameters.spoken
    if sighted.odd[at]:
        yield (f"The name {name!r} stands in no list: kept as it is, and taken half as a fungus "
               "that is not listed, half as no help.")  # fmt: skip
    elif len(means) > 1:
        order = means[np.argsort(-one.meanings[one.name[0], means])]
        shown = ", ".join(names[taxon] for taxon in order[:SHOWN])
        more = f" and {len(means) - SHOWN} more" if len(means) > SHOWN else ""
        yield f"The name {name!r} may mean {shown}{more}: what was seen decides."
    else:
        yield f"The name {name!r} is taken as {names[means[0]]}: evidence, not proof."


def _candidates(at: int, found: Identified, posterior: Floats, asked: Asked) -> Iterator[str]:
    names = asked.parameters.spoken
    genus = asked.parameters.key.names.genus
    for taxon, share in zip(found.taxon[at], found.probability[at], strict=True):
        bar = "#" * round(_BAR * float(share))
        yield f"{share:5.0%}  {bar:<{_BAR}}  {names[taxon]}"
    first = found.taxon[at, 0]
    rest = 1.0 - float(found.probability[at].sum())
    if rest >= _WORTH_NAMING:
        yield f"{rest:5.0%}  {'.' * round(_BAR * rest):<{_BAR}}  any other"
    whole = float(posterior[genus == genus[first]].sum()) if genus[first] >= 0 else 0.0
    if whole - found.probability[at, 0] >= _WORTH_NAMING:
        name = asked.parameters.names[first].split()[0]
        yield f"{whole:5.0%}  some {name}, whichever it is"


def _why(at: int, found: Identified, one: Evidence, asked: Asked) -> Iterator[str]:
    """Observations that speak for and against the first taxon, the strongest first."""
    key, names = asked.parameters.key, asked.parameters.spoken
    first = int(found.taxon[at, 0])
    if first == key.unlisted:
        yield "Nothing that was seen points to a fungus of the catalogue."
        return
    log = np.log(key.likelihood[:, first]) - np.log(key.likelihood[:, key.unlisted])
    weights = shares(one.seen, key.vocabulary)[0]
    times = np.exp(np.add.reduceat(weights * log, key.vocabulary.starts))
    told = np.add.reduceat(weights, key.vocabulary.starts) > 0
    order = [n for n in np.argsort(-np.abs(np.log(times))) if told[n]]
    fits = [n for n in order if times[n] >= _TELLING]
    against = [n for n in order if times[n] <= 1 / _TELLING]
    if found.probability[at, 0] < _NAMED:
        yield "No name yet: what was seen fits many. Of the first, as far as it goes:"
    else:
        yield f"Why {names[first]}:"
    for number in fits[:SHOWN]:
        yield f"  + {_observation(one, key, number)}: {_times(times[number])} as usual as in others"
    for number in against[:SHOWN]:
        yield (f"  - {_observation(one, key, number)} speaks against it: "
               f"{_times(1 / times[number])} rarer than in others")  # fmt: skip
    if one.name[0] >= 0 and one.meanings[one.name[0], first] > 0:
        yield "  + the name that was given"
    if not fits and not against and one.name[0] < 0:
        yield "  only that it is common; what was seen fits many"


def _times(value: float) -> str:
    return f"{value:.0f} times" if value >= 2 - 0.5 / 10 else f"{value:.1f} times"


def _observation(one: Evidence, key: Key, number: int) -> str:
    name = key.vocabulary.characters[number]
    marked = np.flatnonzero(one.seen[0, key.vocabulary.span(name)])
    words = " or ".join(key.vocabulary.states[number][at].replace("_", " ") for at in marked)
    return f"{_plain(name)} {words}"


def _alike(at: int, found: Identified, posterior: Floats, asked: Asked) -> Iterator[str]:
    """How the first is told from candidates, and from more serious look-alikes."""
    parameters = asked.parameters
    ids, code = parameters.key.taxon_id, parameters.traits.action_code
    first = int(found.taxon[at, 0])
    told = 0
    for taxon in np.argsort(-posterior).tolist():
        pair = ids[first], ids[taxon]
        apart = parameters.tell_apart.get(pair) or parameters.tell_apart.get(pair[::-1])
        probable = posterior[taxon] >= _WORTH_NAMING
        if not apart or taxon == first or not (probable or code[taxon] > code[first]):
            continue
        serious = ", more serious" if code[taxon] > code[first] else ""
        name = parameters.spoken[taxon]
        yield f"Look-alike: {name} (R{code[taxon]}{serious}). {_sentence(apart)}"
        told += 1
        if told == SHOWN:
            return


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:].rstrip(".") + "."


def _means(at: int, sighted: Sighted, found: Identified, asked: Asked) -> Iterator[str]:
    decay = Decay(int(found.decay[at]))
    yield _EVIDENCE[decay]
    serious = found.serious[at] >= asked.parameters.limits.serious_share
    if decay == Decay.NO:
        if serious:
            yield "But a serious fungus looks like this: see whether it sits on a buried root."
        return
    yield _rots(at, found)
    yield from _age(at, sighted, found, asked)
    code = f"R{found.code[at]}"
    listed = found.taxon[at, 0] != asked.parameters.key.unlisted
    if listed and found.probability[at, 0] >= _NAMED:
        yield f"If it is the first: {code}, {asked.action[code]}."
    if serious:
        yield (f"A serious fungus (R4 or R5) is {found.serious[at]:.0%} likely: nobody climbs "
               "before it has been assessed.")  # fmt: skip


def _rots(at: int, found: Identified) -> str:
    """Rot and parts in one sentence."""
    rot, share = ROTS[found.rot[at]], found.rot_probability[at]
    if rot == "none":
        return f"Most probably ({share:.0%}) it rots no wood of a standing tree."
    if rot == "unknown":
        return f"Which rot is at work is not known ({share:.0%})."
    parts = [part for part in Part if found.attacks[at, part] >= _LIKELY]
    if not parts:
        return (f"Most probably ({share:.0%}) {rot} rot: {_WOOD[rot]}; "
                "in which part is not clear yet.")  # fmt: skip
    where = _listed([f"{_PARTS[part]} {found.attacks[at, part]:.0%}" for part in parts])
    breaks = _listed([_BREAKS[part] for part in parts], word="or")
    told = f"{_WOOD[rot]}, and the tree may {breaks}"
    return f"Most probably ({share:.0%}) {rot} rot, in {where}: {told}."


def _listed(words: list[str], word: str = "and") -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {word} {words[-1]}"


def _age(at: int, sighted: Sighted, found: Identified, asked: Asked) -> Iterator[str]:
    layers = sighted.layers[at]
    if np.isnan(layers):
        return
    first = found.taxon[at, :1]
    years = least_years(np.array([layers]), first, np.zeros(1, np.int64), asked.parameters.traits)[
        0
    ]
    if years >= layers:
        yield f"Its {layers:.0f} layers tell that the infection is at least {years:.0f} years old."
    else:
        yield (f"{asked.parameters.spoken[first[0]]} fruits anew each year: layers do not tell its "
               "age, or it is another fungus.")  # fmt: skip


def _next(at: int, sighted: Sighted, found: Identified, asked: Asked) -> Iterator[str]:
    looks = asked.parameters.looks
    if found.look[at] >= 0:
        option = looks.character[found.look[at]].replace("_", "-")
        minutes = looks.minutes[found.look[at]]
        yield f"Look next (--{option}, {minutes:.0f} min): {looks.look[found.look[at]]}"
    else:
        yield "No further look tells much more."
    if found.expert[at]:
        yield f"Ask somebody who knows, {_because(at, sighted, found, asked)}. Photograph:"
        yield f"  {'; '.join(PHOTOGRAPHS)}."


def _because(at: int, sighted: Sighted, found: Identified, asked: Asked) -> str:
    if sighted.odd[at]:
        return "because the name stands in no list"
    if found.misfit[at]:
        return "because the name given does not fit what was seen"
    if found.taxon[at, 0] == asked.parameters.key.unlisted:
        return "because it may be a fungus that is not listed"
    if found.serious[at] >= asked.parameters.limits.serious_share:
        if found.unchecked[at]:
            return "because a serious fungus is named and nothing of it was described"
        return "because a serious fungus is possible and the first is not sure"
    return "because the record contradicts itself or candidates ask for different action"
