"""Where config/ lies: beside the package in a checkout, inside it in a wheel.

An editable install leaves a copy of package data in site-packages that would go stale, so the
checkout is looked at first.
"""

from pathlib import Path

from pipeline.errors import PublishedValueError

_PACKAGE = Path(__file__).resolve().parent.parent


def config_dir() -> Path:
    """The folder that holds published/, columns/ and rules/.

    Raises
    ------
    PublishedValueError
        If there is neither a checkout nor package data.
    """
    for candidate in (_PACKAGE.parent / "config", _PACKAGE / "_config"):
        if (candidate / "published" / "sources.toml").is_file():
            return candidate
    raise PublishedValueError(
        where=str(_PACKAGE),
        found="no published tables",
        expected="config/published beside the package or inside it",
        remedy="Install soundwood again.",
    )
