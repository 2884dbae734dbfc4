"""What of an identification is loud enough to speak: sums over taxa, not single taxa.

A genus spreads over its species: five of them at 0.15 each are one fungus of that action code and
that rot at 0.75.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.identification.catalogue import Catalogue
from pipeline.units import Flags, Floats, Ints, Words

_CODES = 6
_ROTS = 4
_WHITE, _BROWN, _SOFT = 1, 2, 3


@dataclass(frozen=True)
class Heard:
    """What is heard of each fruiting body; first axis bodies, the second roots to branch.

    Parameters
    ----------
    code : highest action code c such that a taxon of c or more that rots the part is probable
        enough, 0 for none, shape (bodies, 4).
    share : probability of such a taxon, shape (bodies, 4).
    taxon : the most probable of them, -1 for none, shape (bodies, 4).
    rot : the rot that they do, see terms.RotType: brown or soft where that alone is heard, since
        it breaks early and hides, else the most probable, shape (bodies, 4).
    rot_share : probability of a taxon that does that rot to the part and is serious, or of the
        code that is heard where that is less than serious, shape (bodies, 4).
    unnamed : a fungus that nobody knows, or that is not known to rot the part, (bodies, 4).
    harmless : the most probable taxon that rots no wood where such are heard, else -1, (bodies,).
    highest : highest code that is heard of any part, shape (bodies,).
    """

    code: Words
    share: Floats
    taxon: Ints
    rot: Words
    rot_share: Floats
    unnamed: Flags
    harmless: Ints
    highest: Words

    def rows(self, which: Ints) -> "Heard":
        """Some of the bodies, in that order."""
        return Heard(*(getattr(self, name)[which] for name in self.__dataclass_fields__))


def heard(
    posterior: Floats,
    catalogue: Catalogue,
    heard_from: Floats,
    *,
    described: Flags,
    serious_from: int,
) -> Heard:
    """What is heard of bodies.

    A body of which nobody told a name or any character is no fungus yet, whatever its host and
    place lead to expect: it speaks as an unnamed one.

    Parameters
    ----------
    posterior : shape (bodies, taxa).
    heard_from : probability from which something speaks [share], shape (bodies,).
    described : a name or a character of the fungus itself was told, shape (bodies,).
    serious_from : action code from which a fungus is serious.
    """
    count, parts = len(posterior), catalogue.attacks.shape[1]
    at_least = catalogue.action_code[:, None] >= np.arange(_CODES)
    does = catalogue.rot[:, None] == np.arange(_ROTS)
    member = np.einsum("tc,tr,tp->tcrp", at_least, does, catalogue.attacks).astype(np.float64)
    flat = posterior @ member.reshape(len(catalogue.attacks), -1)
    sums = flat.reshape(count, _CODES, _ROTS, parts)
    limit = heard_from[:, None]
    by_code = sums.sum(axis=2)
    loud = (by_code >= limit[:, :, None]) & (np.arange(_CODES) >= 1)[None, :, None]
    loud &= described[:, None, None]
    code = np.where(loud, np.arange(_CODES)[None, :, None], 0).max(axis=1)
    body, part = np.indices(code.shape)
    least = np.minimum(code, serious_from)
    rots = sums[body, least, :, part]
    rot = rots.argmax(axis=2)
    hidden = np.where(rots[..., _BROWN] >= rots[..., _SOFT], _BROWN, _SOFT)
    hidden_share = np.take_along_axis(rots, hidden[..., None], axis=2)[..., 0]
    rot = np.where(hidden_share >= limit, hidden, rot)
    attacks_any = np.asarray(catalogue.attacks.any(axis=1), np.bool_)
    unlisted = np.asarray(np.arange(len(attacks_any)) == catalogue.unlisted, np.bool_)
    elsewhere = (attacks_any[:, None] & ~catalogue.attacks) | unlisted[:, None]
    none = ~attacks_any & ~unlisted
    spoken = code > 0
    return Heard(
        code=code.astype(np.int8),
        share=np.where(spoken, by_code[body, code, part], 0.0),
        taxon=_shown(posterior, catalogue, code),
        rot=np.where(spoken, rot, 0).astype(np.int8),
        rot_share=np.where(spoken, np.take_along_axis(rots, rot[..., None], axis=2)[..., 0], 0.0),
        unnamed=(posterior @ elsewhere.astype(np.float64) >= limit) | ~described[:, None],
        harmless=np.where(
            described & (posterior @ none.astype(np.float64) >= heard_from),
            np.where(none, posterior, -1.0).argmax(axis=1),
            -1,
        ),
        highest=np.where(described, _highest(posterior, catalogue, heard_from), np.int8(0)),
    )


def _shown(posterior: Floats, catalogue: Catalogue, code: Ints) -> Ints:
    """The most probable taxon of at least that code that rots the part, -1 where code is 0."""
    taxon = np.full(code.shape, -1, np.int64)
    for part in range(code.shape[1]):
        for least in range(1, _CODES):
            rows = np.flatnonzero(code[:, part] == least)
            if rows.size:
                fits = catalogue.attacks[:, part] & (catalogue.action_code >= least)
                taxon[rows, part] = np.where(fits, posterior[rows], -1.0).argmax(axis=1)
    return taxon


def _highest(posterior: Floats, catalogue: Catalogue, heard_from: Floats) -> Words:
    """Highest code such that taxa of it or more are heard, whatever they rot; shape (bodies,)."""
    codes = np.arange(_CODES)
    share = posterior @ (catalogue.action_code[:, None] >= codes).astype(np.float64)
    loud = (share >= heard_from[:, None]) & (codes >= 1)
    return np.asarray(np.where(loud, codes, 0).max(axis=1, initial=0), np.int8)
