"""The page's own checks, run by the Node that comes from PyPI: biome, the strict type check, vitest."""

from __future__ import annotations

import json
from pathlib import Path
from types import ModuleType

import pytest

from front_end import FRONTEND, build_script, installed_packages


@pytest.fixture(scope="module")
def build() -> ModuleType:
    return build_script()


@pytest.fixture(scope="module")
def packages() -> Path:
    return installed_packages()


def test_the_front_end_checks_pass(build: ModuleType, packages: Path) -> None:
    """As documented, in one command: no script of it asks for another npm than the one that runs it."""
    done = build.run_npm("run", "check", cwd=packages)
    assert done.returncode == 0, done.stdout
    scripts = json.loads((FRONTEND / "package.json").read_text(encoding="utf-8"))["scripts"]
    assert scripts["check"].split(" && ") == [f"node --run {each}" for each in ("lint", "types", "test")]


def test_the_lock_names_no_registry() -> None:
    assert '"resolved"' not in (FRONTEND / "package-lock.json").read_text()


def test_a_change_of_the_sources_is_noticed(build: ModuleType, tmp_path: Path) -> None:
    frontend = tmp_path / "frontend"
    (frontend / "src").mkdir(parents=True)
    (frontend / "src" / "main.ts").write_text("let a = 1;\n")
    static = build.static_folder(tmp_path)
    static.mkdir(parents=True)
    assert not build.is_built(tmp_path)
    (static / build.STAMP).write_text(build.source_digest(frontend))
    assert build.is_built(tmp_path)
    (frontend / "src" / "main.ts").write_text("let a = 2;\n")
    assert not build.is_built(tmp_path)


def test_line_endings_and_tests_do_not_count_as_changes(build: ModuleType, tmp_path: Path) -> None:
    (tmp_path / "src").mkdir()
    (tmp_path / "src" / "main.ts").write_bytes(b"let a = 1;\n")
    before = build.source_digest(tmp_path)
    (tmp_path / "src" / "main.ts").write_bytes(b"let a = 1;\r\n")
    (tmp_path / "node_modules").mkdir()
    (tmp_path / "node_modules" / "x.js").write_text("x")
    assert build.source_digest(tmp_path) == before
