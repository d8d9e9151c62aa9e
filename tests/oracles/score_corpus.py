"""Public-domain scores of the music21 corpus (PyPI), read without importing music21."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path


def corpus_path(name: str) -> Path:
    """Where a file of the corpus lies."""
    spec = find_spec("music21")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "corpus" / name


def corpus_bytes(name: str) -> bytes:
    """A file of the corpus."""
    return corpus_path(name).read_bytes()
