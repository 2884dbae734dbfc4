"""What turns the sightings of ingest into identified fruiting bodies."""

from dataclasses import dataclass

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library, PublishedTable
from pipeline.scoring.identification.bodies import JoinLimits
from pipeline.scoring.identification.names import NameCertainty
from pipeline.scoring.parameters.identification import (
    IdentificationParameters,
    identification_parameters,
)

_AMERICA = frozenset({"us", "ca", "mx"})
_COUNTRY = 2


@dataclass(frozen=True)
class SightedParameters:
    """All that identified sightings need.

    Parameters
    ----------
    words : other words for the states of characters.
    hosts : place of the genus in the key, by names of trees in small letters, spaces single.
    region : place in the key's regions; -1 where the settings do not tell it.
    same_time_days : looks that follow each other within so many days are one.
    join : when two sightings of a tree are of one body.
    least_doubt : that any body of evidence leaves [share].
    speaks_from : how many times likelier a character must make one taxon than the other to be
        named among what decided.
    sure : probability from which the first taxon counts as known [share].
    """

    identification: IdentificationParameters
    trust: NameCertainty
    words: PublishedTable
    hosts: dict[str, int]
    region: int
    same_time_days: float
    join: JoinLimits
    least_doubt: float
    speaks_from: float
    sure: float


def sighted_parameters(library: Library, *, region: str, trust: NameCertainty) -> SightedParameters:
    """Everything from the library.

    Parameters
    ----------
    region : of the settings, as 'us-ny'.

    Raises
    ------
    PublishedValueError
        If a table does not hold what the key needs.
    """
    found = identification_parameters(library)
    if trust.name_by != found.key.names.name_by:
        raise PublishedValueError(
            where="table name_spread",
            found=", ".join(found.key.names.name_by),
            expected=f"the observers of name_certainty: {', '.join(trust.name_by)}",
            remedy="Mend the table or the override.",
        )
    limits = library.table("body_limits")
    return SightedParameters(
        identification=found,
        trust=trust,
        words=library.table("character_words"),
        hosts=_hosts(library, found.genera),
        region=_region(region, found.key.regions),
        same_time_days=limits.number("value", quantity="same_time"),
        join=JoinLimits(
            named=limits.number("value", quantity="same_fungus"),
            unnamed=limits.number("value", quantity="same_unnamed"),
            less_trusted=limits.number("value", quantity="name_less_trusted"),
            outweighed=limits.number("value", quantity="name_outweighed"),
        ),
        least_doubt=library.table("key_limits").number("value", quantity="least_doubt"),
        speaks_from=limits.number("value", quantity="speaks_from"),
        sure=library.table("review_limits").number("value", quantity="name_sure"),
    )


def spaced(text: str) -> str:
    """A name in small letters with single spaces."""
    return " ".join(text.casefold().split())


def _hosts(library: Library, genera: tuple[str, ...]) -> dict[str, int]:
    """Names of trees that the lists hold word for word; a name of two genera means none."""
    at = {genus: place for place, genus in enumerate(genera)}
    found: dict[str, set[int]] = {}
    names, species = library.table("tree_names"), library.table("tree_species")
    pairs = [
        *((row["name"], row["genus"]) for row in names.rows),
        *((row["species"], row["genus"]) for row in species.rows),
        *((genus, genus) for genus in genera),
    ]
    for name, genus in pairs:
        found.setdefault(spaced(name), set()).add(at.get(genus, -1))
    return {name: places.pop() for name, places in found.items() if len(places) == 1}


def _region(text: str, regions: tuple[str, ...]) -> int:
    country = text.strip().lower().replace("_", "-").split("-")[0]
    if len(country) != _COUNTRY:
        return -1
    return regions.index("north_america" if country in _AMERICA else "europe")
