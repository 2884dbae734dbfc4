"""The documents say what the program does: commands, verbs, settings."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline.cli.main import app
from pipeline.settings import model

ROOT = Path(__file__).resolve().parent.parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
VERBS = ("run", "ingest", "score", "plan", "render", "check", "explain", "identify")


def test_two_commands_of_one_line_each() -> None:
    commands = re.findall(r"^python3 -m venv .*$", README, flags=re.MULTILINE)
    assert len(commands) == 2
    assert "soundwood run config/larkmere.toml" in commands[0]
    assert commands[1].endswith("pytest")


@pytest.mark.parametrize("verb", VERBS)
def test_each_verb_has_help_that_teaches(verb: str) -> None:
    answer = CliRunner().invoke(app, [verb, "--help"])
    assert answer.exit_code == 0
    assert "Example: soundwood" in answer.output


def test_the_program_has_the_verbs_and_no_others() -> None:
    assert sorted(c.name or "" for c in app.registered_commands) == sorted(VERBS)


def test_wrong_usage_exits_two() -> None:
    assert CliRunner().invoke(app, ["run"]).exit_code == 2
    assert CliRunner().invoke(app, ["fell"]).exit_code == 2


def test_every_section_of_the_sample_settings_is_a_section_of_the_model() -> None:
    text = (ROOT / "config" / "larkmere.toml").read_text(encoding="utf-8")
    for section in ("city", "matching", "rating", "planning", "output"):
        assert f"[{section}]" in text
        assert section in model.Settings.model_fields
