"""What `pip install .` brings is whole, and the commands in README.md are the ones that are run."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from assistant import resources
from assistant.errors import ThirdhandError

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
FIRST_RUN = "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/thirdhand demo"
TEST_RUN = (
    "python3 -m venv .venv && .venv/bin/pip install -e '.[test]'"
    " && .venv/bin/pytest -n 2 --dist loadgroup"
)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from the checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    built = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert built.returncode == 0, built.stdout + built.stderr
    (found,) = folder.glob("*.whl")
    return found


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that the wheel alone is installed in."""
    folder = tmp_path_factory.mktemp("site")
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "install", "-q"]
    subprocess.run([*pip, "--no-deps", "--no-index", "--target", folder, wheel], check=True)
    return folder


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="git knows which files belong to it")
def test_the_wheel_holds_every_source_pack_and_page_file(wheel: Path):
    """All that git tracks of them, and the program's phrases, is there."""
    tracked = subprocess.run(
        ["git", "ls-files", "assistant", "steps", "web", "models/site-en"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    ).stdout.splitlines()  # fmt: skip
    expected = {
        name if name.startswith("assistant/") else f"assistant/_data/{name}"
        for name in tracked
        if not name.startswith("web/tests/") and (ROOT / name).is_file()
    }
    held = set(zipfile.ZipFile(wheel).namelist())
    assert not expected - held
    assert "assistant/dialogue/en.yaml" in held


def test_the_wheel_holds_nothing_else(wheel: Path):
    """No tests, no caches, no other speech models that lie about in the checkout."""
    for name in zipfile.ZipFile(wheel).namelist():
        assert name.startswith("assistant/") or ".dist-info/" in name, name
        assert "__pycache__" not in name
        assert not name.startswith("assistant/_data/web/tests/")
        if name.startswith("assistant/_data/models/"):
            inside = name.removeprefix("assistant/_data/models/")
            assert inside == "README.md" or inside.startswith("site-en/")


def test_an_installed_wheel_finds_packs_and_page(installed: Path, tmp_path: Path):
    code = """
import json, sys
sys.path.insert(0, sys.argv[1])
from assistant import resources
print(json.dumps([resources.__file__, str(resources.steps_dir()), str(resources.web_dir())]))
"""
    ran = subprocess.run(
        [sys.executable, "-c", code, str(installed)],
        cwd=tmp_path, capture_output=True, text=True, check=True,
    )  # fmt: skip
    module, steps, web = map(Path, json.loads(ran.stdout))
    assert module.is_relative_to(installed)
    assert steps.is_relative_to(installed)
    assert list(steps.glob("*/pack.yaml"))
    assert (web / "index.html").is_file()


def test_the_installed_command_is_the_command_line(wheel: Path):
    archive = zipfile.ZipFile(wheel)
    (name,) = (n for n in archive.namelist() if n.endswith("entry_points.txt"))
    assert "thirdhand = assistant.cli:main" in archive.read(name).decode()


def test_a_checkout_finds_its_own_packs_and_page():
    assert resources.steps_dir() == ROOT / "steps"
    assert resources.web_dir() == ROOT / "web"


def test_a_missing_folder_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.setattr(resources, "_PACKAGE", tmp_path / "assistant")
    with pytest.raises(ThirdhandError, match=r"'steps' .* is missing; looked in .*_data/steps"):
        resources.steps_dir()


def test_the_data_folder_can_be_chosen(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.setenv("THIRDHAND_DATA", str(tmp_path))
    assert resources.data_dir() == tmp_path
    assert resources.models_dirs() == [tmp_path / "models", ROOT / "models"]
    monkeypatch.delenv("THIRDHAND_DATA")
    assert resources.data_dir().name == "thirdhand"


@pytest.mark.parametrize("folder", ["assistant", "tests"])
def test_every_foreign_import_is_a_declared_dependency(folder: str):
    """What works only because something else happens to bring it fails elsewhere."""
    wanted = PROJECT["dependencies"]
    if folder == "tests":
        wanted = wanted + PROJECT["optional-dependencies"]["test"]
    declared = {re.split(r"[^A-Za-z0-9._-]", each)[0] for each in wanted}
    homes = packages_distributions()
    undeclared = set()
    for path in (ROOT / folder).rglob("*.py"):
        for top in imported(path) - sys.stdlib_module_names - {"assistant", "tests"}:
            if not {name.lower().replace("_", "-") for name in homes.get(top, [top])} & declared:
                undeclared.add(f"{path.relative_to(ROOT)}: {top}")
    assert not undeclared


def imported(path: Path) -> set[str]:
    """Top names of all that a file imports, wherever in it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add((node.module or "").split(".")[0])
    return found


@pytest.mark.parametrize("command", [FIRST_RUN, TEST_RUN])
def test_readme_has_the_two_commands(command: str):
    assert command in (ROOT / "README.md").read_text(encoding="utf-8").splitlines()


def test_ci_runs_the_test_command_of_the_readme():
    assert (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines()[-1] == TEST_RUN
