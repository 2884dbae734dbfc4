"""Writing a file whole or not at all, and turning templates into text with everything escaped."""

import os
from collections.abc import Iterable, Mapping
from contextlib import suppress
from functools import cache
from html import escape
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pipeline.errors import RenderError
from pipeline.render import marks, style
from pipeline.render.wording_numbers import capital

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def write_text(path: Path, text: str) -> Path:
    """Write UTF-8 text whole or not at all, with line ends as given; returns the path.

    Raises
    ------
    RenderError
        If the file cannot be written.
    """
    return write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> Path:
    """Write under a waiting name, force it to disk, then rename; returns the path.

    Raises
    ------
    RenderError
        If the file cannot be written; no half-written file stays behind.
    """
    return write_parts(path, [data])


def write_parts(path: Path, parts: Iterable[bytes | memoryview]) -> Path:
    """Write parts as they are made, so that a large file never lies in memory as a whole.

    Raises
    ------
    RenderError
        If the file cannot be written; no half-written file stays behind.
    """
    waiting = path.with_name(f"{path.name}.waiting")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with waiting.open("wb") as file:
            for part in parts:
                file.write(part)
            file.flush()
            os.fsync(file.fileno())
        waiting.replace(path)
    except OSError as fault:
        with suppress(OSError):  # nothing was written where even the folder is missing
            waiting.unlink(missing_ok=True)
        raise RenderError(
            where=str(path),
            found=f"a file that cannot be written ({fault.strerror})",
            expected="a writable folder with room",
            remedy="Close programs that hold the file, free space, or choose another --out.",
        ) from fault
    return path


def inert(text: str) -> str:
    """Text for a spreadsheet cell that no program takes for a formula."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _between(text: str) -> Markup:
    """Text as it stands between tags, where quotation marks need no escape; not for attributes."""
    return Markup(escape(text, quote=False))  # noqa: S704 - escaped


@cache
def environment() -> Environment:
    """The one template environment: everything escaped, a missing value is a fault."""
    made = Environment(
        loader=PackageLoader("pipeline.render", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.globals.update(
        css_variables=style.css_variables(),
        rating_mark=marks.rating_mark,
        section_mark=marks.section_mark,
        action_mark=marks.action_mark,
    )
    made.filters.update(number=style.number, day=style.day, begin=capital, between=_between)
    return made


def page(template: str, values: Mapping[str, object]) -> str:
    """The text of a template with these values.

    Raises
    ------
    RenderError
        If the template asks for a value that was not given.
    """
    return environment().get_template(template).render(**values)


def plain(template: str) -> str:
    """A stylesheet or script of the package, as it stands.

    Raises
    ------
    RenderError
        If the package was installed without its templates.
    """
    loader = environment().loader
    if loader is None:
        raise RenderError(
            where=template,
            found="no template folder",
            expected="templates beside the package",
            remedy="Install soundwood again.",
        )
    return loader.get_source(environment(), template)[0]
