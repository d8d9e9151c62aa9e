"""A running room and a Chromium that hears a WAV file, for tests and measurements.

The WAV is 16-bit at 44.1 kHz and reaches the page bit by bit; it starts at each getUserMedia and ends in silence.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from playwright.sync_api import BrowserContext, Page, Playwright, sync_playwright

import truestop
from truestop.web.guard import Key, cookie_name
from truestop.web.takes import wave_header

RATE_HZ = 44100
SOURCE = Path(truestop.__file__).parents[1]
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FLAGS = (
    "--use-fake-ui-for-media-stream",
    "--use-fake-device-for-media-stream",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-quic",
    "--disable-gpu",
)
ALLOW = FLAGS[0]
#: Remembers the microphone's stream, so that a test can pull the plug; muted, it gives silence until then.
KEEP_STREAM = """
const ask = navigator.mediaDevices?.getUserMedia?.bind(navigator.mediaDevices);
if (ask) navigator.mediaDevices.getUserMedia = async (wish) => {
  const stream = (window.__stream = await ask(wish));
  for (const track of stream.getAudioTracks()) track.enabled = !window.__muted;
  return stream;
};
"""
SERVER = """
import sys
from pathlib import Path
import truestop.cli
from truestop.bootstrap import Places
from truestop.web.serving import serve
home, port, address = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] or None
tell = lambda line: print(line, flush=True)
serve(port=port, open_browser=False, places=Places.under(home), tell=tell, address=address)
"""


def find_chromium() -> str | None:
    """A Chromium of this machine: the one TRUESTOP_CHROMIUM names, one on the path, or Playwright's own."""
    named = os.environ.get("TRUESTOP_CHROMIUM")
    if named:
        return named
    found = next((path for name in CHROMIUM_NAMES if (path := shutil.which(name))), None)
    if found:
        return found
    own = playwright().chromium.executable_path
    return own if Path(own).exists() else None


def write_wav(path: Path, samples: NDArray[np.float32], *, lead_s: float = 0.0, tail_s: float = 0.5) -> Path:
    """16-bit mono; silence before and after, since the last 10 ms sound for ever."""
    pieces = [np.zeros(round(lead_s * RATE_HZ)), samples, np.zeros(round(tail_s * RATE_HZ))]
    pcm = np.clip(np.round(np.concatenate(pieces) * 32767), -32768, 32767).astype("<i2")
    path.write_bytes(wave_header(pcm.size, RATE_HZ) + pcm.tobytes())
    return path


def free_port() -> int:
    """One that nobody uses, so that several rooms can run at a time."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class RunningRoom:
    """A server process with a home of its own."""

    home: Path
    port: int | None = None
    process: subprocess.Popen[str] | None = None
    launch: str = ""
    lines: list[str] = field(default_factory=list)
    address: str = ""
    """Where it is served by https; by plain http on the loopback address where empty."""
    entered: bool = False
    answers: bool = False

    def start(self) -> RunningRoom:
        """Start the server, or start it again at the same port; it answers afterwards."""
        return self.begin().answer()

    def begin(self) -> RunningRoom:
        """Let the server start, while something else is done."""
        self.port = self.port or free_port()
        environment = os.environ | {"PYTHONPATH": str(SOURCE), "PYTHONUNBUFFERED": "1"}
        with (self.home / "errors.txt").open("a") as errors:
            self.process = subprocess.Popen(
                [sys.executable, "-c", SERVER, str(self.home), str(self.port), self.address],
                stdout=subprocess.PIPE, stderr=errors, text=True, env=environment,
            )  # fmt: skip
        self.answers = False
        return self

    def answer(self) -> RunningRoom:
        """Wait until the server answers."""
        if self.answers:
            return self
        assert self.process is not None
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(line)
            if "The practice room is open" in line:
                self.launch = line.split()[-1]
                return self._wait()
        raise RuntimeError(self.errors)

    def enter(self, context: BrowserContext) -> str:
        """Where a browser goes to: the launch address the first time, then home with the cookie that it had given."""
        if not self.entered:
            self.entered = True
            return self.launch
        home = f"{self.launch.split('/enter')[0]}/"
        key = Key(self.home / "room" / "key")
        context.add_cookies([{"name": cookie_name(self.port or 0), "value": key.cookie, "url": home}])
        return home

    def _wait(self) -> RunningRoom:
        for _ in range(200):
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), timeout=0.2):
                self.answers = True
                return self
            time.sleep(0.05)
        raise RuntimeError("The room did not answer.")

    def kill(self) -> None:
        """End it as a power cut would."""
        assert self.process is not None
        self.process.send_signal(signal.SIGKILL if os.name != "nt" else signal.SIGTERM)
        self._reap()

    def stop(self) -> None:
        """End it as Ctrl+C does."""
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGINT if os.name != "nt" else signal.SIGTERM)
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(8)
            if self.process.poll() is None:
                self.process.kill()
        self._reap()

    def _reap(self) -> None:
        if self.process is not None:
            self.process.wait(10)
            if self.process.stdout is not None:
                self.process.stdout.close()

    @property
    def errors(self) -> str:
        """What the server wrote to its standard error."""
        return (self.home / "errors.txt").read_text()


_playwrights: list[Playwright] = []
"""The one that runs, if any: starting it takes as long as starting a browser."""


def playwright() -> Playwright:
    """Playwright's driver, started once."""
    if not _playwrights:
        _playwrights.append(sync_playwright().start())
    return _playwrights[0]


def end_playwright() -> None:
    """Stop the driver; while it runs, no other event loop can run in this thread."""
    while _playwrights:
        _playwrights.pop().stop()


@contextlib.contextmanager
def open_page(
    room: RunningRoom,
    wav: Path,
    *,
    profile: Path,
    size: tuple[int, int] = (1024, 768),
    allow: bool = True,
    before: Callable[[Page], None] = lambda page: None,
) -> Iterator[Page]:
    """A clean browser profile with ``wav`` as its microphone, on the room's page; ``before`` it is opened, do that."""
    chromium = find_chromium()
    assert chromium is not None
    flags = [flag for flag in FLAGS if allow or flag != ALLOW]
    flags.append(f"--use-file-for-fake-audio-capture={wav}%noloop")
    if not allow:
        flags.append("--deny-permission-prompts")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        flags.append("--no-sandbox")
    context = playwright().chromium.launch_persistent_context(
        str(profile), executable_path=chromium, headless=True, args=flags,
        viewport={"width": size[0], "height": size[1]}, ignore_https_errors=bool(room.address),
    )  # fmt: skip
    try:
        context.add_init_script(KEEP_STREAM)
        page = context.pages[0] if context.pages else context.new_page()
        before(page)
        page.goto(room.answer().enter(context))
        yield page
    finally:
        context.close()
