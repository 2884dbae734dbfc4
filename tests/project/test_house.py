"""The house keeps its shape: top level, sizes of modules and functions, tests that mirror."""

import ast
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
MODULES = sorted((ROOT / "pipeline").rglob("*.py"))
MOST_LINES = 400
MOST_FUNCTION_LINES = 60
ALLOWED_AT_TOP = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "pipeline", "tests",
    "sample_inventory", "outputs", "config",
}  # fmt: skip


def test_the_top_level_holds_what_it_should() -> None:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} == ALLOWED_AT_TOP


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_modules_and_functions_can_be_held_in_the_head(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            assert lines <= MOST_FUNCTION_LINES, node.name


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_every_module_says_what_it_owns(path: Path) -> None:
    assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))


def test_no_path_of_a_machine_and_no_network_address_in_the_package() -> None:
    for path in MODULES:
        text = path.read_text(encoding="utf-8")
        assert "/home/" not in text
        assert "/root/" not in text
        assert "cdn" not in text.lower().split(), path
