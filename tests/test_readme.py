"""README and DEVELOPERS.md hold what they promise, and the commands in README exist."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from wetscout.cli import app, options
from wetscout.outputs import fields

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
CI = (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_readme_is_short():
    """At most 600 words, the house's own rule."""
    assert len(re.findall(r"\S+", README)) <= 600


def test_exactly_two_set_up_commands():
    assert re.findall(r"^.*pip install.*$", README, re.MULTILINE) == [
        "pip install . && wetscout demo",
        "pip install '.[test]' && pytest",
    ]


def test_ci_runs_the_readme_s_test_command():
    assert re.search(r"pip install (--quiet )?'\.\[test\]' && pytest", CI)


def test_commands_in_readme_exist():
    blocks = "\n".join(re.findall(r"^```\n(.*?)^```", README, re.MULTILINE | re.DOTALL))
    used = set(re.findall(r"(?:^|&& )wetscout ([a-z]+)", blocks, re.MULTILINE))
    used |= set(re.findall(r"`wetscout ([a-z]+)`", README))
    assert {"demo", "check", "screen"} <= used <= set(app.COMMANDS)


def test_options_in_readme_exist():
    known = {"--out", *(f"--{name}" for name in options.LAYERS_READ)}
    assert set(re.findall(r"(--[a-z-]+)", README)) <= known


def test_layers_in_readme_exist():
    listed = set(re.findall(r"`([a-z_]+)`", README.split("## What comes out")[1].split("##")[0]))
    assert listed - {"check"} <= {spec.name for spec in fields.LAYERS}


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_pictures_and_links_lead_somewhere(document: str):
    for target in re.findall(r"\]\(([^)#]+)\)", document):
        assert (ROOT / target).exists(), target


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_no_hosts_and_no_promise(document: str):
    assert "http" not in document
    assert not re.search(r"\b(?:is|are) safe\b|\bsafe to dig\b", document)


def test_limits_and_cautions_are_told():
    for phrase in ("No rim, no find", "Buried pipe", "utility locate service", "local codes and licensed practice"):
        assert phrase in README


def test_every_extra_is_explained():
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["optional-dependencies"]
    assert all(f"`{name}`" in DEVELOPERS for name in extras)


def test_every_room_is_on_the_map():
    rooms = {path.parent.name for path in (ROOT / "wetscout").glob("*/__init__.py")}
    assert all(f"{room}/" in DEVELOPERS for room in rooms)
