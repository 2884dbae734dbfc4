"""What each sighting of ingest tells the key: characters, place, host, month, region and name."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.scoring.assembly import seen as words
from pipeline.scoring.assembly.columns import codes, dictionary, numbers, truths
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.identification.evidence import Evidence
from pipeline.scoring.parameters.identification import CHARACTERS, OTHER_HOST
from pipeline.scoring.parameters.sighted import SightedParameters, spaced
from pipeline.units import Flags, Floats, Ints

# Radices are multiplied as long as the product of all is a whole number of 64 bits.
_ROOM = 1 << 62
_NO_LIST = ("unknown",)
_GENUS_ONLY = "genus_only"


@dataclass(frozen=True)
class Told:
    """Distinct evidence, in an order that does not depend on that of the sightings.

    Parameters
    ----------
    evidence : shape (distinct,).
    strange : named by a name that no list holds, shape (distinct,).
    of : place of each sighting in it, shape (sightings,).
    share : probability that what was seen is of the tree it is told of, shape (distinct,).
    """

    evidence: Evidence
    strange: Flags
    of: Ints
    share: Floats

    def plus(self, other: "Told", share: Floats) -> "Told":
        """These sightings and then others, each of these with its own share, (other sightings,)."""
        at, first, back = np.unique(
            np.column_stack([other.of, share]), axis=0, return_index=True, return_inverse=True
        )
        more = other.evidence.rows(other.of[first])
        own, names = self.evidence, len(self.evidence.meanings)
        evidence = Evidence(
            seen=np.concatenate([own.seen, more.seen]),
            region=np.concatenate([own.region, more.region]),
            name=np.concatenate([own.name, np.where(more.name >= 0, more.name + names, -1)]),
            meanings=np.concatenate([own.meanings, more.meanings]),
            name_by=np.concatenate([own.name_by, more.name_by]),
            certainty=np.concatenate([own.certainty, more.certainty]),
        )
        return Told(
            evidence,
            np.concatenate([self.strange, other.strange[other.of[first]]]),
            np.concatenate([self.of, len(self.strange) + back.reshape(-1)]),
            np.concatenate([self.share, at[:, 1]]),
        )


@dataclass(frozen=True)
class _Names:
    """Names as told: their meaning, who gave them, how certain; each shape (sightings,)."""

    name: Ints
    meanings: Floats
    strange: Flags
    name_by: Ints
    certainty: Floats


def read_told(
    table: pa.Table, tree: Ints, trees: Trees, longitude: float, parameters: SightedParameters
) -> Told:
    """The evidence of all sightings; each different one is computed once.

    Parameters
    ----------
    tree : the tree that each is attached to, -1 without one.
    longitude : of the town, NaN where it is not known; read where no region is set [deg].
    """
    key = parameters.identification.key
    names = _names(table, parameters)
    host, certain = _hosts(table, tree, trees, parameters)
    month, layers = _months(table), _layers(table)
    cells = [dictionary(table, name)[0] for name in (*CHARACTERS, "position")]
    stated = np.nan_to_num(names.certainty, nan=-1.0)
    certainty = np.unique(stated, return_inverse=True)[1]
    told = [
        *cells,
        host,
        certain,
        month,
        names.name,
        names.strange,
        names.name_by,
        certainty,
        layers,
    ]
    first, back = _distinct(np.array([np.asarray(c, np.int64) for c in told]))
    one = table.take(pa.array(first))
    seen, _ = words.mark_seen(
        {name: one[name] for name in (*CHARACTERS, "position")}, len(first), key,
        words.Dictionary(key.vocabulary, parameters.words),
    )  # fmt: skip
    words.mark_hosts(seen, host[first], certain[first], key)
    words.mark_months(seen, month[first], key)
    words.mark_layers(seen, layers[first], key)
    region = parameters.region
    if region < 0:
        region = int(words.region_by_longitude(np.array([longitude]), key.regions)[0])
    evidence = Evidence(
        seen=seen,
        region=np.full(len(first), region, np.int64),
        name=names.name[first],
        meanings=names.meanings,
        name_by=names.name_by[first],
        certainty=names.certainty[first],
    )
    strange = names.strange[first]
    found, at, place = words.distinct(evidence, strange)
    return Told(found, strange[at], place[back], np.ones(len(at)))


def _distinct(told: Ints) -> tuple[Ints, Ints]:
    """First of each different column, and the place of each column among them.

    Parameters
    ----------
    told : whole numbers from -1, shape (fields, sightings).
    """
    packed, room = np.zeros(told.shape[1], np.int64), 1
    for values in told:
        radix = int(values.max(initial=-1)) + 2
        if room * radix > _ROOM:
            _, packed = np.unique(packed, return_inverse=True)
            room = int(packed.max(initial=0)) + 1
        packed, room = packed * radix + values + 1, room * radix
    _, first, back = np.unique(packed, return_index=True, return_inverse=True)
    return first, back.reshape(-1)


def _months(table: pa.Table) -> Ints:
    return np.asarray(pc.fill_null(pc.month(table["seen_on"]), 0).to_numpy(), np.int64)


def _layers(table: pa.Table) -> Ints:
    """Pore layers: 0 not counted, 1, or 2 for more."""
    counted = np.nan_to_num(numbers(table, "layers"), nan=0.0)
    return np.clip(counted, 0.0, 2.0).astype(np.int64)


def _hosts(
    table: pa.Table, tree: Ints, trees: Trees, parameters: SightedParameters
) -> tuple[Ints, Flags]:
    """Genus of the tree it is attached to, else of the host told; and which are certain.

    The inventory may be wrong in a genus, but less often than what is told beside no tree, unless
    the observer says that the host is certain.
    """
    genera = parameters.identification.genera
    other = genera.index(OTHER_HOST)
    at = {name: place for place, name in enumerate(genera)}
    of_tree = np.array([*(at.get(name, other) for name in trees.genera), -1], np.int64)
    genus = np.where(tree >= 0, trees.genus[np.maximum(tree, 0)], -1) if len(trees) else tree
    own = np.where(genus >= 0, of_tree[genus], -1)
    places, told = dictionary(table, "host_text")
    meant = np.array([*(_host(text, parameters.hosts) for text in told), -1], np.int64)
    said = np.where(own >= 0, own, meant[places])
    return said, (own >= 0) | truths(table, "host_certain")


def _host(text: str, hosts: dict[str, int]) -> int:
    name = spaced(text)
    return hosts.get(name, hosts.get(name.split(" ")[0], -1) if name else -1)


def _names(table: pa.Table, parameters: SightedParameters) -> _Names:
    """Names in the order of the catalogue, then genera by the alphabet, then what no list holds."""
    key = parameters.identification.key
    taxon = codes(table, "taxon_id", key.taxon_id[:-1])
    how = codes(table, "name_how", (_GENUS_ONLY, *_NO_LIST))
    places, texts = dictionary(table, "name_text")
    genus_of = [text.split(" ")[0].casefold() if text else "" for text in texts]
    firsts = [name.split(" ")[0].casefold() for name in parameters.identification.names[:-1]]
    genera = sorted(set(genus_of) & set(firsts))
    genus = np.array([*(genera.index(g) if g in genera else -1 for g in genus_of), -1], np.int64)
    of_genus = np.where((taxon < 0) & (how == 0), genus[places], -1)
    strange = (taxon < 0) & (of_genus < 0) & (how >= 0)
    means = [
        *((at,) for at in range(len(key.taxon_id) - 1)),
        *(tuple(at for at, name in enumerate(firsts) if name == genus) for genus in genera),
        (key.unlisted,),
    ]
    all_names = np.where(of_genus >= 0, len(key.taxon_id) - 1 + of_genus, taxon)
    all_names = np.where(strange, len(means) - 1, all_names)
    used = np.unique(all_names[all_names >= 0])
    name = np.where(all_names >= 0, np.searchsorted(used, all_names), -1)
    by = codes(table, "name_by", parameters.trust.name_by)
    by = np.where(by < 0, parameters.trust.name_by.index("unknown"), by)
    named = name >= 0
    return _Names(
        name=name,
        meanings=words.meanings([means[at] for at in used.tolist()], key),
        strange=strange,
        name_by=np.where(named, by, 0),
        certainty=np.where(named, numbers(table, "name_certainty"), np.nan),
    )
