"""The two published matrices of the risk-rating standard, as lookups."""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.terms import RatingWord
from pipeline.units import Words

_WORDS = tuple(RatingWord)[1:]


@dataclass(frozen=True)
class RiskMatrices:
    """The matrices, each of shape (4, 4), values are words as numbers 1-4.

    Parameters
    ----------
    likelihood : failure x impact -> terms.LikelihoodWord, from likelihood_matrix.csv.
    risk : likelihood x consequence -> terms.RatingWord, from risk_matrix.csv.
    """

    likelihood: Words
    risk: Words

    def __post_init__(self) -> None:
        """Refuse a matrix in which a worse word gives a better result.

        Raises
        ------
        PublishedValueError
            If a matrix falls along a row or a column, or is not 4 x 4 of 1-4.
        """
        for name, matrix in (("likelihood_matrix", self.likelihood), ("risk_matrix", self.risk)):
            whole = matrix.shape == (4, 4) and np.isin(matrix, _WORDS).all()
            if not whole or any((np.diff(matrix, axis=axis) < 0).any() for axis in (0, 1)):
                raise PublishedValueError(
                    where=f"published table {name}",
                    found=f"rows {matrix.tolist()}",
                    expected="4 x 4 words that never fall as failure, impact or consequence rise",
                    remedy="Mend the table or the override.",
                )


def likelihood(failure: Words, impact: Words, matrices: RiskMatrices) -> Words:
    """Likelihood of failure and impact together; words as numbers, broadcast together."""
    return matrices.likelihood[np.asarray(failure) - 1, np.asarray(impact) - 1]


def rating(likelihood: Words, consequence: Words, matrices: RiskMatrices) -> Words:
    """Risk rating; words as numbers, broadcast together."""
    return matrices.risk[np.asarray(likelihood) - 1, np.asarray(consequence) - 1]
