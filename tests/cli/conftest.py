"""Running the command in a home of its own."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from typer.testing import CliRunner

from truestop import bootstrap
from truestop.adapters.audio.files import write_wav
from truestop.app.demo import TAKES, play, study_bytes
from truestop.app.mainjob import Setup, take_in_hand
from truestop.cli import main


@dataclass(frozen=True)
class Ran:
    """What a run of the command left behind."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@pytest.fixture(scope="session")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("study") / "study.musicxml"
    path.write_bytes(study_bytes())
    return path


@pytest.fixture(scope="session")
def take(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example's second take: low, true, true, corrected, true."""
    path = tmp_path_factory.mktemp("takes") / "take.wav"
    sound = play(take_in_hand(bootstrap.read_study(), Setup()), TAKES[1], seed=1)
    write_wav(path, sound.samples, sample_rate_hz=sound.sample_rate_hz)
    return path


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs the command in this process, errors shown as the edge shows them."""
    monkeypatch.setenv("TRUESTOP_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("TRUESTOP_DATABASE", raising=False)

    def call(*arguments: object, stdin: bytes | None = None) -> Ran:
        result = CliRunner().invoke(main.app, [str(one) for one in arguments], input=stdin)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return Ran(result.exit_code, result.stdout, result.stderr)

    return call


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs the command as the shell would see it: exit code and what stands on the two outputs."""
    monkeypatch.setenv("TRUESTOP_HOME", str(tmp_path / "home"))

    def call(*arguments: object) -> Ran:
        monkeypatch.setattr(sys, "argv", ["truestop", *(str(one) for one in arguments)])
        code = 0
        try:
            main.main()
        except SystemExit as left:
            code = int(left.code or 0)
        shown = capsys.readouterr()
        return Ran(code, shown.out, shown.err)

    return call
