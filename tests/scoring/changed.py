"""Published tables with one cell changed, to show that every row is read."""

from collections.abc import Mapping, Sequence

from pipeline.published.table import Library, PublishedTable

RULES = ("actions", "no_climb", "restrictions", "hours", "hour_factors")
Change = tuple[str, int, str, str]


class ChangedLibrary(Library):
    """A library in which some cells are others."""

    def __init__(self, *changes: Change) -> None:
        super().__init__()
        self._changes = changes

    def table(
        self, name: str, *, key: Sequence[str] = (), folder: str = "published"
    ) -> PublishedTable:
        """The table, with the cells changed that are of that table."""
        whole = super().table(name, key=key, folder=folder)
        mine = [change for change in self._changes if change[0] == name]
        if not mine:
            return whole
        rows = list(whole.rows)
        for _, number, column, text in mine:
            rows[number] = {**rows[number], column: text}
        return PublishedTable(whole.name, whole.columns, tuple(rows))


def changed_library(*changes: Change) -> Library:
    """A library with some cells changed."""
    return ChangedLibrary(*changes)


def changes_of(name: str, columns: Mapping[str, Mapping[str, str]]) -> list[Change]:
    """One change for each row and column: `columns` maps old text to new, '' for any other."""
    folder = "rules" if name in RULES else "published"
    table = Library().table(name, folder=folder)
    made = []
    for number, row in enumerate(table.rows):
        for column, mapping in columns.items():
            new = mapping.get(row[column], mapping.get("", ""))
            if new == row[column]:
                continue
            made.append((name, number, column, new))
    return made


def number_changes(name: str, column: str, *, factor: float = 3.0) -> list[Change]:
    """One change for each row that holds a number there: the number times `factor`, plus a bit."""
    folder = "rules" if name in RULES else "published"
    table = Library().table(name, folder=folder)
    return [
        (name, number, column, f"{float(row[column]) * factor + 0.001:.6g}")
        for number, row in enumerate(table.rows)
        if row[column]
    ]
