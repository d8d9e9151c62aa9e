"""The front end's packages, for the tests that need more of them than the page is built from."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).parents[1]
FRONTEND = ROOT / "frontend"


def build_script() -> ModuleType:
    """The script that builds the page, as a module."""
    spec = importlib.util.spec_from_file_location("hatch_build", ROOT / "hatch_build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def installed_packages() -> Path:
    """Where the front end lies; all its packages are installed from the lock where they are not there yet."""
    if not (FRONTEND / "node_modules" / "vitest").is_dir():
        done = build_script().run_npm("ci", cwd=FRONTEND)
        assert done.returncode == 0, done.stdout
    return FRONTEND
