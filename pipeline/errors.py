"""The one family of errors: each says where, what was found, what was expected and what to do.

The parts are attributes, so that the command line prints one line, a report makes a row, and a
test asserts on parts instead of prose. Anything that is not a PipelineError is a bug and keeps its
traceback.
"""

from collections.abc import Sequence


class PipelineError(Exception):
    """A refusal that a person can act on."""

    def __init__(self, *, where: str, found: str, expected: str, remedy: str) -> None:
        """Keep the four parts; the text is made of them."""
        self.where = where
        self.found = found
        self.expected = expected
        self.remedy = remedy
        super().__init__(f"{where}: found {found}; expected {expected}. {remedy}")


class SettingsError(PipelineError):
    """A settings file, or a value in it, cannot be used."""


class InputError(PipelineError):
    """An input file as a whole cannot be used."""


class PublishedValueError(PipelineError):
    """A published table is at fault, or was asked outside its range."""


class TableError(PipelineError):
    """A table does not match its declaration, or is not there."""


class PlanningError(PipelineError):
    """A plan cannot be made from what it was given."""


class RenderError(PipelineError):
    """An output cannot be written as it should be."""


class RunError(PipelineError):
    """A run folder cannot be made, used or finished."""


class ManyFaults(PipelineError):  # noqa: N818 - it is a bundle, not one error
    """Several faults of one kind, told together so that they are mended in one go."""

    def __init__(self, faults: Sequence[PipelineError]) -> None:
        """Bundle at least one fault.

        Raises
        ------
        ValueError
            If there is no fault: an empty refusal is a bug.
        """
        if not faults:
            message = "ManyFaults needs at least one fault"
            raise ValueError(message)
        self.faults = tuple(faults)
        first = self.faults[0]
        super().__init__(
            where=first.where, found=first.found, expected=first.expected, remedy=first.remedy
        )

    def __str__(self) -> str:
        """One line a fault."""
        return "\n".join(str(fault) for fault in self.faults)
