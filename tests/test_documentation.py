"""The documentation says what the program does."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from assistant import cli, phases
from assistant.procedure import drawing

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def commands():
    parser = cli._parser()
    found = next(a for a in parser._actions if isinstance(a, argparse._SubParsersAction))
    return sorted(found.choices)


@pytest.mark.parametrize("command", commands())
def test_each_command_is_named_in_the_readme_and_helps(command, capsys):
    assert f"thirdhand {command}" in README or f"`{command}`" in README
    with pytest.raises(SystemExit) as ended:
        cli.main([command, "--help"])
    assert ended.value.code == 0
    assert capsys.readouterr().out.startswith("usage: thirdhand")


@pytest.mark.parametrize("made", [drawing.table, drawing.diagram, drawing.duties_table])
def test_the_ledger_in_the_documentation_is_the_one_in_the_code(made):
    assert made() in DEVELOPERS


def test_what_the_packs_cover_is_in_the_documentation_as_it_is():
    assert phases.table() in DEVELOPERS


def test_every_part_of_the_package_is_in_the_developers_table():
    parts = [p for p in (ROOT / "assistant").iterdir() if not p.name.startswith("_")]
    missing = [p.name for p in parts if f"{p.name}{'/' * p.is_dir()}`" not in DEVELOPERS]
    assert not missing


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_links_to_files_lead_somewhere(text):
    import re

    targets = re.findall(r"\]\(([^)#]+)\)", text)
    assert targets
    assert not [t for t in targets if "://" not in t and not (ROOT / t).exists()]
