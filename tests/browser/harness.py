"""A running room and a Chromium that hears WAV files, for tests and measurements.

The microphone is silent until a test plays a file: then the file begins, however quick or slow the machine was before.
A WAV is 16-bit at 44.1 kHz and reaches the page bit by bit.
"""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, sync_playwright

import truestop
from truestop.web.guard import Key, cookie_name
from truestop.web.takes import wave_header

RATE_HZ = 44100
SOURCE = Path(truestop.__file__).parents[1]
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
PORTS = (20000, 32000)
LONGEST_START_S = 60.0
LONGEST_WAIT_MS = 60_000
"""For what comes by itself: a machine that is busy may be many times slower than it needs to be."""
ALLOW = "--use-fake-ui-for-media-stream"
FLAGS = (
    "--use-fake-device-for-media-stream",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-quic",
    "--disable-gpu",
)
#: The browser begins its file at each getUserMedia. The page's own stream is kept still, so that the file is not half
#: over when the room listens at last; ``__play`` opens another one and adds it where the page hears its own.
PLAYER = """
const devices = navigator.mediaDevices;
const ask = devices?.getUserMedia?.bind(devices);
const open = AudioContext.prototype.createMediaStreamSource;
let wish, heard, played;
if (ask) {
  devices.getUserMedia = async (asked) => {
    const stream = (window.__stream = await ask((wish = asked)));
    for (const track of stream.getAudioTracks()) track.enabled = false;
    return stream;
  };
  AudioContext.prototype.createMediaStreamSource = function (stream) {
    heard = new GainNode(this);
    open.call(this, stream).connect(heard);
    return heard;
  };
  window.__play = async () => {
    for (const track of played?.mediaStream.getTracks() ?? []) track.stop();
    played?.disconnect();
    played = new MediaStreamAudioSourceNode(heard.context, { mediaStream: await ask(wish) });
    played.connect(heard);
  };
}
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
    """One that nobody uses, so that several rooms can run at a time.

    It lies below those that a system gives to whoever connects (RFC 6335: from 49152 on; Linux: from 32768 on), among
    which another program may take it before the server has begun, or while it is started again.
    """
    while True:
        port = random.randrange(*PORTS)
        with contextlib.suppress(OSError), socket.socket() as probe:
            probe.bind(("127.0.0.1", port))
            return port


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
    ending: bool = False

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
        self.answers = self.ending = False
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
        assert self.process is not None
        end = time.monotonic() + LONGEST_START_S
        while self.process.poll() is None and time.monotonic() < end:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), timeout=0.2):
                self.answers = True
                return self
            time.sleep(0.05)
        raise RuntimeError(f"The room did not answer: {self.errors}")

    def kill(self) -> None:
        """End it as a power cut would."""
        assert self.process is not None
        self.process.send_signal(signal.SIGKILL if os.name != "nt" else signal.SIGTERM)
        self._reap()

    def ask_to_end(self) -> None:
        """Tell it to end as Ctrl+C does; ``stop`` waits until it has."""
        if self.process is not None and self.process.poll() is None and not self.ending:
            self.ending = True
            self.process.send_signal(signal.SIGINT if os.name != "nt" else signal.SIGTERM)

    def stop(self) -> None:
        """End it as Ctrl+C does."""
        if self.process is not None and self.process.poll() is None:
            self.ask_to_end()
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


@dataclass
class Browsers:
    """What is started once and used by all pages: starting a browser for each takes longer than opening its page."""

    driver: Playwright | None = None
    listening: Browser | None = None
    """The browser that may use its microphone, which hears ``microphone``."""
    folder: Path | None = None

    @property
    def microphone(self) -> Path:
        """The file that the browser takes for its microphone: it is read anew at each getUserMedia."""
        if self.folder is None:
            self.folder = Path(tempfile.mkdtemp(prefix="truestop-"))
            write_wav(self.folder / "microphone.wav", np.zeros(0, dtype=np.float32))
        return self.folder / "microphone.wav"


_browsers = Browsers()


def playwright() -> Playwright:
    """Playwright's driver, started once."""
    _browsers.driver = _browsers.driver or sync_playwright().start()
    return _browsers.driver


def end_playwright() -> None:
    """Close the browser and stop the driver; while it runs, no other event loop can run in this thread."""
    if _browsers.listening is not None:
        _browsers.listening.close()
    if _browsers.driver is not None:
        _browsers.driver.stop()
    if _browsers.folder is not None:
        shutil.rmtree(_browsers.folder, ignore_errors=True)
    _browsers.driver = _browsers.listening = _browsers.folder = None


def _launch(*, allow: bool) -> Browser:
    chromium = find_chromium()
    assert chromium is not None
    flags = [*FLAGS, ALLOW if allow else "--deny-permission-prompts"]
    flags.append(f"--use-file-for-fake-audio-capture={_browsers.microphone}%noloop")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        flags.append("--no-sandbox")
    return playwright().chromium.launch(executable_path=chromium, headless=True, args=flags)


@contextlib.contextmanager
def _browser(*, allow: bool) -> Iterator[Browser]:
    """The one that all pages share, started again where it died; of its own for a page without a microphone."""
    if allow:
        if _browsers.listening is None or not _browsers.listening.is_connected():
            _browsers.listening = _launch(allow=True)
        yield _browsers.listening
        return
    alone = _launch(allow=False)
    try:
        yield alone
    finally:
        alone.close()


@contextlib.contextmanager
def open_page(
    room: RunningRoom,
    *,
    size: tuple[int, int] = (1024, 768),
    allow: bool = True,
    script: str = "",
    bypass_csp: bool = False,
    before: Callable[[Page], None] = lambda page: None,
) -> Iterator[Page]:
    """A clean profile on the room's page; ``script`` runs before the page's own, ``before`` it is opened, do that."""
    with _browser(allow=allow) as browser:
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, ignore_https_errors=bool(room.address),
            bypass_csp=bypass_csp,
        )  # fmt: skip
        try:
            context.set_default_timeout(LONGEST_WAIT_MS)
            # One script, since nobody says in which order several run.
            context.add_init_script(f"{{{PLAYER}}}\n{{{script}}}")
            page = context.new_page()
            before(page)
            page.goto(room.answer().enter(context))
            yield page
        finally:
            context.close()


def play(page: Page, wav: Path) -> None:
    """The player plays ``wav``, from its beginning, to a page that has a microphone."""
    fresh = _browsers.microphone.with_suffix(".fresh")
    shutil.copyfile(wav, fresh)
    fresh.replace(_browsers.microphone)
    page.evaluate("window.__play()")
