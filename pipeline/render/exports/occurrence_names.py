"""The fungus of a sighting in the words that Darwin Core has for names and for doubt about them."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.render.context import RenderContext
from pipeline.units import Floats

_UNNAMED = "Fungi"
# A name that means something here may be told; any other text may hold what is nobody's business.
_TOLD = ("exact", "synonym", "common_name", "misspelling")
_ROLES = ("laboratory", "specialist", "trained_inspector", "public", "image_model")
_STATUS = {
    "laboratory": "verified by laboratory",
    "specialist": "verified by specialist",
    "trained_inspector": "named by trained inspector",
}
_UNVERIFIED = "0"  # the term list's own example: unverified
_REMARK = "Computed from the name told, the host and what was seen: "
_OTHERS = {"unlisted": "a fungus that is not listed", "other": "others"}
_NEARLY_ONE = "above 0.99"
_MOST_TOLD, _SHARE_DECIMALS = 3, 2


def identified(context: RenderContext, seen: pa.Table) -> dict[str, pa.Array]:
    """Name, rank, doubt and who named it, of each sighting.

    Parameters
    ----------
    seen : rows of ingest.sightings.
    """
    taxa = context.library.table("taxa")
    names = dict(zip(taxa.texts("taxon_id"), taxa.texts("accepted_name"), strict=True))
    ranks = dict(zip(taxa.texts("taxon_id"), taxa.texts("rank"), strict=True))
    taxon, how = _text(seen["taxon_id"]), _text(seen["name_how"])
    written, by = _text(seen["name_text"]), _text(seen["name_by"])
    accepted = _looked_up(taxon, names)
    genus = pc.if_else(pc.equal(how, "genus_only"), _first_word(written), None)
    told = pc.is_in(how, value_set=pa.array(_TOLD)).fill_null(False)
    posteriors = context.table("scoring.taxon_posteriors")
    share = _share_of(posteriors, seen, taxon)
    sure = context.library.table("review_limits").number("value", quantity="name_sure")
    doubtful = pc.and_(pa.array(share < sure), pc.match_substring(pc.fill_null(accepted, ""), " "))
    epithet = pc.replace_substring_regex(pc.fill_null(accepted, ""), r"^\S+ ", "")
    role = pc.if_else(pc.is_in(by, value_set=pa.array(_ROLES)), by, None)
    return {
        "scientificName": pc.coalesce(accepted, genus, pa.scalar(_UNNAMED)),
        "taxonRank": pc.coalesce(
            _looked_up(taxon, ranks), pc.if_else(genus.is_valid(), "genus", "kingdom")
        ),
        "verbatimIdentification": pc.if_else(told, written, None),
        "identificationQualifier": pc.if_else(
            doubtful, pc.binary_join_element_wise("cf.", epithet, " "), None
        ),
        "identifiedBy": pc.replace_substring(role, "_", " "),
        "identificationVerificationStatus": pc.fill_null(_looked_up(by, _STATUS), _UNVERIFIED),
        "identificationRemarks": _remarks(posteriors, seen, names),
    }


def _share_of(posteriors: pa.Table, seen: pa.Table, taxon: pa.Array) -> Floats:
    """Probability of the told taxon, shape (rows of seen,); NaN where none was computed."""
    keys, own = posteriors["sighting_key"].to_numpy(), seen["sighting_key"].to_numpy()
    share = np.full(len(own), np.nan)
    if not len(keys) or not len(own):
        return share
    place = np.searchsorted(own, keys)
    place[place == len(own)] = 0
    told = taxon.take(pa.array(place))
    same = pc.equal(_text(posteriors["taxon_id"]), told).fill_null(False)
    hit = (own[place] == keys) & same.to_numpy(zero_copy_only=False)
    computed = np.isin(own, keys)
    share[computed & taxon.is_valid().to_numpy(zero_copy_only=False)] = 0.0
    share[place[hit]] = posteriors["probability"].to_numpy()[hit]
    return share


def _remarks(posteriors: pa.Table, seen: pa.Table, names: dict[str, str]) -> pa.Array:
    """The most probable fungi with their probabilities, in words; null where none was computed."""
    keys, share = posteriors["sighting_key"].to_numpy(), posteriors["probability"].to_numpy()
    taxon = _text(posteriors["taxon_id"])
    order = np.lexsort((taxon.to_numpy(zero_copy_only=False).astype(str), -share, keys))
    keys, share = keys[order], np.round(share[order], _SHARE_DECIMALS)
    first = np.concatenate([[True], keys[1:] != keys[:-1]]) if len(keys) else np.zeros(0, np.bool_)
    rank = np.arange(len(keys)) - np.maximum.accumulate(np.where(first, np.arange(len(keys)), 0))
    kept = (rank < _MOST_TOLD) & (share > 0)
    called = _looked_up(taxon.take(pa.array(order[kept])), {**names, **_OTHERS})
    figures = pa.array(share[kept]).cast(pa.string())
    # a probability is never one: the catalogue may lack the fungus
    figures = pc.if_else(pc.equal(figures, "1"), _NEARLY_ONE, figures)
    said = pc.binary_join_element_wise(called, figures, " ")
    of, starts = np.unique(keys[kept], return_index=True)
    lists = pa.ListArray.from_arrays(pa.array(np.append(starts, kept.sum()), pa.int32()), said)
    texts = pc.binary_join_element_wise(_REMARK, pc.binary_join(lists, "; "), "")
    place = pc.index_in(seen["sighting_key"].combine_chunks(), value_set=pa.array(of, pa.int64()))
    return texts.take(place)


def _looked_up(text: pa.Array, meanings: dict[str, str]) -> pa.Array:
    place = pc.index_in(text, value_set=pa.array(list(meanings)))
    return pa.array(list(meanings.values()), pa.string()).take(place)


def _first_word(text: pa.Array) -> pa.Array:
    words = pc.extract_regex(text, r"^\s*(?P<first>[\pL-]{3,40})").field(0)
    return pc.utf8_capitalize(words)


def _text(column: pa.ChunkedArray) -> pa.Array:
    return column.combine_chunks().cast(pa.string())
