"""Files are whole or not there, text is escaped, and no page names an outside address."""

import os
from pathlib import Path

import jinja2
import pytest

from pipeline.errors import RenderError
from pipeline.render import files, leaflet


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "page.html"
    files.write_text(path, "one\n")
    files.write_text(path, "two\n")
    assert path.read_bytes() == b"two\n"
    assert [p.name for p in path.parent.iterdir()] == ["page.html"]


def test_a_write_that_fails_leaves_the_old_file_and_nothing_half_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "page.html"
    files.write_text(path, "old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RenderError) as refused:
        files.write_text(path, "new")
    assert "No space left" in refused.value.found
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("in the way", encoding="utf-8")
    with pytest.raises(RenderError) as refused:
        files.write_text(tmp_path / "out" / "page.html", "x")
    assert "--out" in refused.value.remedy


def test_every_template_escapes() -> None:
    made = (
        files.environment().from_string("{{ street }}").render(street="<script>alert(1)</script>")
    )
    assert made == "&lt;script&gt;alert(1)&lt;/script&gt;"


def test_a_missing_value_is_a_fault() -> None:
    with pytest.raises(jinja2.UndefinedError):
        files.environment().from_string("{{ nobody_gave_this }}").render()


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1"])
def test_a_formula_becomes_text(text: str) -> None:
    assert files.inert(text) == "'" + text


def test_plain_text_stays_as_it_is() -> None:
    assert files.inert("Mill Street") == "Mill Street"


@pytest.mark.parametrize(
    "text",
    [
        '<script src="https://example.org/x.js">',
        "<img src=//example.org/x.png>",
        "<link href='http://example.org/x.css'>",
        "<style>a { background: url(https://example.org/x.png) }</style>",
        '<style>@import "https://example.org/x.css";</style>',
    ],
)
def test_an_outside_address_is_refused(text: str) -> None:
    with pytest.raises(RenderError, match=r"example\.org"):
        leaflet.assert_offline(text, where="page")


def test_an_address_in_a_city_s_text_is_no_reason_to_refuse_the_page() -> None:
    text = files.environment().from_string("<td>{{ street }}</td>")
    shown = text.render(street='<img src="https://example.org"> src=https://example.org/ url(//x)')
    leaflet.assert_offline(shown, where="page")


def test_leaflet_is_the_installed_one_with_its_licence_line_and_its_images_inside() -> None:
    made = leaflet.city_map(latitude=42.6, longitude=-74.0)
    assert "Leaflet 1.9.4, a JS library for interactive maps" in made.library[:200]
    assert "sourceMappingURL" not in made.library
    assert "</script" not in made.library
    assert made.style.count("data:image/png;base64,") == 3  # layers, layers-2x, marker-icon
    assert "url(images/" not in made.style


def test_a_map_has_the_same_ids_every_time() -> None:
    one, two = (leaflet.city_map(latitude=1, longitude=2) for _ in range(2))
    assert one == two
    assert one.name == "map_city"
    assert 'id="map_city"' in one.element
