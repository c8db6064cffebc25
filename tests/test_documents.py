"""What the pages tell a newcomer to type is what the program understands."""

from __future__ import annotations

import os
import pkgutil
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    *sorted((ROOT / "examples").rglob("README.md")),
    ROOT / "experiments" / "studies" / "README.md",
]
COMMANDS = Path(sys.executable).parent


def blocks(language: str, page: Path = ROOT / "README.md") -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", page.read_text("utf-8"), re.M | re.S)


def written_commands() -> set[tuple[str, tuple[str, ...]]]:
    """Every ``boilwright WORD`` of the pages with the long options written after it."""
    found = set()
    sources = [*PAGES, *(ROOT / "examples" / "server").iterdir(), ROOT / "Makefile"]
    for page in sources:
        text = page.read_text("utf-8").replace('", "', " ")
        for line in re.findall(r"boilwright ([a-z]+\b[^`\n|#)]*)", text):
            word, *rest = line.split()
            options = (part.split("=")[0].strip('"]') for part in rest if part.startswith("--"))
            found.add((word, tuple(options)))
    return found


@pytest.fixture
def bench(tmp_path):
    """An empty folder with the examples in it, and an environment with an empty store."""
    (tmp_path / "examples").symlink_to(ROOT / "examples")
    environment = {
        **os.environ,
        "PATH": f"{COMMANDS}{os.pathsep}{os.environ['PATH']}",
        "BOILWRIGHT_STORE": f"sqlite:///{tmp_path / 'store.sqlite'}",
    }
    return tmp_path, environment


def ask_for_help(*words: str) -> str:
    done = subprocess.run(
        [COMMANDS / "boilwright", *words, "--help"], capture_output=True, text=True, check=True
    )
    return done.stdout


def test_every_command_and_option_written_down_exists():
    written = written_commands()
    known = ask_for_help()
    assert len(written) > 10
    for word in sorted({word for word, _ in written}):
        assert re.search(rf"\b{word}\b", known), f"boilwright {word} is written down but unknown"
    for word, options in sorted(written):
        if options:
            shown = ask_for_help(word) + known
            assert not [o for o in options if not re.search(rf"{o}\b", shown)], (word, options)


def test_every_make_target_written_down_exists():
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text("utf-8"), re.M))
    for page in PAGES:
        assert set(re.findall(r"\bmake ([a-z]+)`", page.read_text("utf-8"))) <= targets


def test_every_link_to_a_file_leads_somewhere():
    for page in PAGES:
        for target in re.findall(r"\]\((?!https?:|#)([^)#]+)[^)]*\)", page.read_text("utf-8")):
            assert (page.parent / target).exists(), f"{page.name} points to {target}"


def test_every_file_and_folder_named_exists():
    """What stands in backticks and looks like a path, from the root or by its last part."""
    folders = ("models", "experiments", "wizard", "tests", "examples")
    looks_like = re.compile(rf"`((?:{'|'.join(folders)})/[\w./*-]*|[\w/*-]+\.(?:py|csv|md))`")
    written_by_reader = {"trials.csv", "sheet.csv"}
    for page in PAGES:
        for name in set(looks_like.findall(page.read_text("utf-8"))) - written_by_reader:
            places = [(ROOT, name), *((ROOT / f, f"**/{name}") for f in folders)]
            assert any(any(root.glob(pattern)) for root, pattern in places), f"{page.name}: {name}"


def test_every_module_named_can_be_loaded():
    dotted = re.compile(r"\b(?:models|experiments|wizard|tests)(?:\.\w+)+")
    named = {name for page in PAGES for name in dotted.findall(page.read_text("utf-8"))}
    assert len(named) > 10
    for name in sorted(named):
        pkgutil.resolve_name(name)


def run_in(bench, *command):
    """Run a command in the bench's folder and environment."""
    folder, environment = bench
    return subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, timeout=300,
        check=False,
    )


@pytest.mark.slow
def test_the_walk_through_of_the_readme_runs_as_written(bench):
    folder, _ = bench
    script = next(block for block in blocks("bash") if "boilwright new" in block)
    done = run_in(bench, "bash", "-euo", "pipefail", "-c", script)
    assert done.returncode == 0, done.stdout + done.stderr
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF-")
    assert "recommended" in done.stdout.lower()


@pytest.mark.slow
def test_the_python_of_the_readme_runs_as_written(bench):
    (script,) = blocks("python")
    done = run_in(bench, sys.executable, "-c", script)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()
