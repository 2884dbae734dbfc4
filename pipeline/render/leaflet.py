"""A folium map whose Leaflet lies in the page itself: no page asks a network for anything.

Leaflet's files are read out of the installed package `django-js-lib-leaflet`, of which nothing is
imported. Leaflet is published under the BSD 2-Clause licence; its licence line stays in the page.
"""

import base64
import re
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import folium
from markupsafe import Markup

from pipeline.errors import RenderError

_PACKAGE, _FOLDER = "js_lib_leaflet", "static/js_lib_leaflet"
_IMAGE = re.compile(r"url\((?:images/)([\w.-]+\.png)\)")
_LOADING = re.compile(
    r"<style\b[^>]*>.*?</style>|<[a-z][^<>]*>", re.IGNORECASE | re.DOTALL
)  # what a browser may load by: tags and stylesheets; a city's own text is neither
_OUTSIDE = re.compile(
    r"""(?:\b(?:src|href|srcset|poster|action|formaction)\s*=\s*["']?|url\(\s*["']?|@import\s+["']?)"""
    r"""\s*((?:https?:)?//[^"'\s)>]+)""",
    re.IGNORECASE,
)
_LICENCE = "Leaflet 1.9.4"


@dataclass(frozen=True, slots=True)
class MapParts:
    """A map for a page template; `name` is the script variable that holds the map."""

    name: str
    style: Markup
    library: Markup
    element: Markup
    script: Markup


def city_map(*, latitude: float, longitude: float, zoom: int = 14) -> MapParts:
    """A map without tiles, to be filled by the page's own layers; same bytes every time.

    Raises
    ------
    RenderError
        If Leaflet's files are not installed.
    """
    made = folium.Map(
        location=[round(latitude, 6), round(longitude, 6)],
        zoom_start=zoom,
        tiles=None,
        zoom_control=False,
        attribution_control=False,
        prefer_canvas=True,
        max_zoom=20,
        min_zoom=9,
    )
    made.default_js = []
    made.default_css = []
    made._id = "city"  # noqa: SLF001 - folium draws a random id, which would change the bytes
    figure: Any = made.get_root()
    figure.render()
    css, js = _files()
    return MapParts(
        name=str(made.get_name()),
        style=Markup(css),  # noqa: S704 - the installed library's own file
        library=Markup(js),  # noqa: S704
        element=Markup(figure.html.render().strip()),  # noqa: S704 - a div of folium's
        script=Markup(figure.script.render().strip()),  # noqa: S704 - numbers and options only
    )


def assert_offline(text: str, *, where: str) -> None:
    """Make sure that a page loads nothing from anywhere.

    Leaflet's own script is left out: the one address in it is a link of the attribution control,
    which our maps do not have.

    Raises
    ------
    RenderError
        If an address that a browser would load is left.
    """
    own = text.replace(_files()[1], "")
    found = next(filter(None, (_OUTSIDE.search(part) for part in _LOADING.findall(own))), None)
    if found:
        raise RenderError(
            where=where,
            found=f"an outside address, {found[1]}",
            expected="a page that loads nothing",
            remedy="This is a fault of the program: report it with the page's name.",
        )


@cache
def _files() -> tuple[str, str]:
    """Leaflet's stylesheet with its images inside, and its script, both fit for a page.

    Raises
    ------
    RenderError
        If another Leaflet is installed.
    """
    folder = _folder()
    css = (folder / "leaflet.css").read_text(encoding="utf-8")
    css = _IMAGE.sub(lambda match: f"url({_data_uri(folder / 'images' / match[1])})", css)
    js = (folder / "leaflet.js").read_text(encoding="utf-8")
    js = "\n".join(line for line in js.splitlines() if not line.startswith("//# sourceMappingURL"))
    if _LICENCE not in js or "url(images/" in css:
        raise RenderError(
            where=str(folder),
            found="another Leaflet",
            expected=f"{_LICENCE} with its licence line",
            remedy="Install soundwood again, with the versions that it names.",
        )
    return css, js.replace("</script", "<\\/script")


def _folder() -> Path:
    """Where Leaflet's files lie.

    Raises
    ------
    RenderError
        If they are not installed.
    """
    spec = find_spec(_PACKAGE)
    if spec is None or spec.origin is None:
        raise RenderError(
            where=_PACKAGE,
            found="no Leaflet",
            expected="the package django-js-lib-leaflet",
            remedy="Install soundwood again.",
        )
    return Path(spec.origin).parent / _FOLDER


def _data_uri(path: Path) -> str:
    return "data:image/png;base64," + base64.b64encode(path.read_bytes()).decode("ascii")
