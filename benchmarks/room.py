"""How fast the practice room draws a landing, what it costs, and whether it grows.

    python benchmarks/room.py                 latency and load, about two minutes
    python benchmarks/room.py --growth 30     memory of the server over half an hour of sound, fed at speed
    python benchmarks/room.py --session 30    half an hour in real time: memory of server and page every five minutes
    python benchmarks/room.py --kills 20      the server killed in mid-take: is every acknowledged sample there?

Needs a Chromium. Sound: the bowed-string synthesiser through a WAV file as microphone. Latency is told in parts: from
the earliest moment at which a landing may be final (160 ms after the finger came to rest) to the block in which the
server said so (the take's own clock); and from the capture of that block to the drawn frame (the page's clock).
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import os
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path
from typing import Any

import numpy as np
import psutil
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / "src"), str(HERE.parent / "tests")]

from browser.conftest import Study  # noqa: E402
from browser.harness import RATE_HZ, RunningRoom, play, write_wav  # noqa: E402
from browser.steps import Overheard, overhear, to_practice  # noqa: E402
from truestop.adapters.score.reading import read_score  # noqa: E402
from truestop.app.demo import STUDY, study_bytes  # noqa: E402
from truestop.app.mainjob import Setup, take_in_hand  # noqa: E402
from truestop.sounding.takes import PlayedAttempt  # noqa: E402
from truestop.web.conversation import Conversation  # noqa: E402
from truestop.web.ears import ShiftEar  # noqa: E402
from truestop.web.notebook import Notebook  # noqa: E402
from truestop.web.open_takes import BLOCK_HEADER  # noqa: E402
from truestop.web.takes import TakeFolder, read_frames  # noqa: E402

EARLIEST_S = 0.160
BLOCK = 512


def make_study() -> Study:
    in_hand = take_in_hand(read_score(study_bytes(), name=STUDY, family="violin"), Setup(family="violin"))
    number = next(
        shift.number
        for shift in in_hand.way.shifts
        if not shift.silent and not shift.crossing and shift.direction == "up"
    )
    return Study(in_hand, number)


def measure_latency(attempts: int) -> None:
    """True and high in turn, so that the run never stops."""
    study = make_study()
    played = [PlayedAttempt(landing_cents=4.0 if i % 3 else 28.0, vibrato_cents=0.0) for i in range(attempts)]
    with tempfile.TemporaryDirectory() as folder:
        room = RunningRoom(Path(folder)).start()
        wav = write_wav(Path(folder) / "mic.wav", study.play(*played), lead_s=5.0)
        try:
            with overhear(room) as (page, heard):
                to_practice(page, study.number, "name")
                page.get_by_role("button", name="How").click()
                page.get_by_label("Go on by itself").uncheck()
                page.get_by_role("button", name="Done").click()
                page.locator(".stages button[title='plain']").click()
                play(page, wav)
                assert room.process is not None
                load = Load(room.process.pid)
                go_first([load.server, *load.browser])
                heard.wait(page, lambda h: len(h.of("landing")) >= 1, seconds=60)
                load.begin()
                heap = [page.evaluate("performance.memory ? performance.memory.usedJSHeapSize : 0")]
                keep_going(page, heard, attempts)
                heap.append(page.evaluate("performance.memory ? performance.memory.usedJSHeapSize : 0"))
                server, browser = load.end()
                drawn = page.evaluate("performance.getEntriesByName('landing drawn').map((e) => e.duration)")
                decided = [
                    1000 * (m["frames"] / RATE_HZ - m["at"] - EARLIEST_S) for m in heard.of("landing") if "frames" in m
                ]
        finally:
            room.stop()
    report("rest + 160 ms to decision (take's clock)", decided)
    report("captured block to drawn frame", drawn)
    both = [a + b for a, b in zip(decided, drawn, strict=False)]
    report("rest + 160 ms to drawn frame", both)
    print(f"server: {server:.1f} % of a core; browser, all processes: {browser:.1f} % of a core")
    print(f"page's heap: {heap[0] / 1e6:.1f} MB at the first landing, {heap[1] / 1e6:.1f} MB at the last")


def go_first(processes: list[psutil.Process]) -> None:
    """On a Linux machine that has other work: let it wait, where we may. The room is measured, not the queue."""
    if not sys.platform.startswith("linux"):
        return
    for each in processes:
        with contextlib.suppress(psutil.Error, OSError):
            for thread in each.threads():
                os.setpriority(os.PRIO_PROCESS, thread.id, -15)


def keep_going(page: Any, heard: Overheard, attempts: int, *, seconds: float | None = None) -> None:
    """Until the sound is over; the aim is met now and then, and the pedal begins the run again."""
    end = time.monotonic() + (2.6 * attempts + 5 if seconds is None else seconds)
    while time.monotonic() < end and len(heard.of("landing")) < attempts:
        page.wait_for_timeout(100)
        views = heard.of("practice")
        if views and views[-1]["phase"] in ("met", "stopped"):
            page.keyboard.press("PageUp")
            page.wait_for_timeout(200)


class Load:
    """Processor time of the server and of the browser's processes."""

    def __init__(self, server: int) -> None:
        self.server = psutil.Process(server)
        ours = psutil.Process()
        self.browser = [each for each in ours.children(recursive=True) if "chrom" in each.name().lower()]

    def _seconds(self) -> tuple[float, float]:
        def spent(process: psutil.Process) -> float:
            try:
                times = process.cpu_times()
            except psutil.Error:
                return 0.0
            return float(times.user + times.system)

        return spent(self.server), sum(spent(each) for each in self.browser)

    def begin(self) -> None:
        self.at = time.monotonic()
        self.before = self._seconds()

    def end(self) -> tuple[float, float]:
        """Percent of one core: server, browser."""
        elapsed = time.monotonic() - self.at
        server, browser = self._seconds()
        return 100 * (server - self.before[0]) / elapsed, 100 * (browser - self.before[1]) / elapsed


def report(what: str, values: list[float]) -> None:
    if not values:
        print(f"{what}: nothing measured")
        return
    median, high = np.percentile(values, [50, 95])
    print(
        f"{what}: median {median:.0f} ms, 95th percentile {high:.0f} ms, most {max(values):.0f} ms, n = {len(values)}"
    )


class LongDesk:
    """Ears of the real kind; what is kept is only counted."""

    def __init__(self, study: Study) -> None:
        self.study = study
        self.kept = 0

    def ear_for(self, purpose: str, about: Any, sample_rate_hz: int, beats_s: tuple[float, ...]) -> ShiftEar:
        return ShiftEar(self.study.expectation(), sample_rate_hz)

    def keep_take(self, slip: Any, path: Path, attempts: Any) -> str:
        self.kept += len(attempts)
        return "kept"

    def judge_through(self, slip: Any, path: Path) -> list[dict[str, Any]]:
        return [{"number": 1, "bytes": path.stat().st_size}]

    def stages(self, passage: str, shift: int) -> tuple[str, ...]:
        return ("plain",)

    def beats(self, passage: str, shift: int, stage: str, way: str) -> dict[str, Any]:
        return {"arrivals": [2.0], "length": 8}

    def cold_due(self, passage: str, shift: int) -> bool:
        return False


def measure_growth(minutes: float) -> None:
    """Half an hour of attempts in takes of two minutes, as fast as the server hears them."""
    study = make_study()
    sound = study.play(*(PlayedAttempt(landing_cents=float(cents)) for cents in (4, 30, 3, -28, 5, 31, 2)))
    pcm = np.clip(np.round(sound * 32767), -32768, 32767).astype("<i2")
    process = psutil.Process()

    async def run() -> None:
        with tempfile.TemporaryDirectory() as folder:
            desk = LongDesk(study)
            talk = Conversation(
                "room-benchmark-0001", desk=desk, takes=TakeFolder(Path(folder) / "takes"),
                notebook=Notebook(Path(folder) / "rooms"),
            )  # fmt: skip
            talk.join(lambda message: None)
            talk.hear_words({"type": "begin", "passage": "p", "shift": 1, "settings": {"by_itself": False}})
            began, fed_s, take = time.process_time(), 0.0, 0
            while fed_s < 60 * minutes:
                take += 1
                name = f"take-{take:06d}"
                about = {"stage": "plain"}
                opening = {"take": name, "purpose": "practice", "sampleRate": RATE_HZ, "about": about}
                talk.hear_words({"type": "take-open", "slot": take, **opening})
                frames = 0
                for _ in range(8):
                    for start in range(0, pcm.size - BLOCK, BLOCK):
                        talk.hear_sound(BLOCK_HEADER.pack(take, frames) + pcm[start : start + BLOCK].tobytes())
                        frames += BLOCK
                        if talk.practice is not None and talk.practice.phase.value in ("met", "stopped"):
                            talk.hear_words({"type": "goto", "stage": "plain"})
                talk.hear_words({"type": "take-close", "take": name, "frames": frames})
                fed_s += frames / RATE_HZ
                if take in (1, 2) or take % 5 == 0:
                    print(f"{fed_s / 60:5.1f} min of sound: {process.memory_info().rss / 1e6:.1f} MB")
            spent_s = time.process_time() - began
            print(f"{desk.kept} attempts; {100 * spent_s / fed_s:.1f} % of a core, writing and hearing together")

    asyncio.run(run())


SESSION_STEP_S = 300.0


def measure_session(minutes: float) -> None:
    """A player who practises on and on: whenever the aim is met, the pedal begins the run again."""
    study = make_study()
    landings = (4.0, 30.0, 3.0, 28.0, 5.0, 31.0, -2.0, 27.0)
    played = study.play(*(PlayedAttempt(landing_cents=cents) for cents in landings))
    sound = np.tile(played, 1 + round(60 * minutes * RATE_HZ / played.size))
    with tempfile.TemporaryDirectory() as folder:
        room = RunningRoom(Path(folder)).start()
        wav = write_wav(Path(folder) / "mic.wav", sound, lead_s=2.0)
        try:
            with overhear(room, script="localStorage.setItem('truestop.by-itself', 'false')") as (page, heard):
                to_practice(page, study.number, "plain")
                play(page, wav)
                assert room.process is not None
                load = Load(room.process.pid)
                load.begin()
                began, due, told = time.monotonic(), 0.0, 0
                print("| minutes | server, MB | page's heap, MB | browser, all processes, MB | attempts told |")
                print("|---:|---:|---:|---:|---:|")
                while (spent := time.monotonic() - began) < 60 * minutes:
                    if spent >= due:
                        print_memory(page, load, told, spent)
                        due += SESSION_STEP_S
                    keep_going(page, heard, 10**9, seconds=5.0)
                    told += len(heard.told)
                    heard.messages = heard.of("practice")[-1:]
                    heard.sent.clear()
                    heard.blocks.clear()
                print_memory(page, load, told, spent)
                server, browser = load.end()
                print(f"server: {server:.1f} % of a core; browser, all processes: {browser:.1f} % of a core")
        finally:
            room.stop()


def print_memory(page: Any, load: Load, told: int, spent_s: float) -> None:
    """One line of the table; the page's heap after a collection."""
    session = page.context.new_cdp_session(page)
    session.send("HeapProfiler.collectGarbage")
    heap = session.send("Runtime.getHeapUsage")["usedSize"]
    session.detach()
    browser = sum(each.memory_info().rss for each in load.browser if each.is_running())
    server = load.server.memory_info().rss
    cells = (f"{spent_s / 60:.0f}", f"{server / 1e6:.1f}", f"{heap / 1e6:.2f}", f"{browser / 1e6:.0f}", str(told))
    print(f"| {' | '.join(cells)} |", flush=True)


class Sender:
    """A page without a browser: it keeps what was not acknowledged and sends it again, as the real one does."""

    def __init__(self, room: RunningRoom, samples: np.ndarray[Any, Any]) -> None:
        self.room, self.samples = room, samples
        self.acknowledged, self.sent, self.known = 0, 0, 0
        jar = urllib.request.HTTPCookieProcessor()
        urllib.request.build_opener(jar).open(room.launch).read()
        (cookie,) = jar.cookiejar
        self.headers = {"Cookie": f"{cookie.name}={cookie.value}"}

    def run(self, until_s: float, frames: int) -> bool:
        """Connect and send until the moment or the end of the sound; whether that was reached. Like the page, in
        real time and a little faster, since it has a backlog."""
        address = f"127.0.0.1:{self.room.port}"
        with connect(f"ws://{address}/live", origin=f"http://{address}", additional_headers=self.headers) as socket:
            opening = {"take": "take-stress-1", "purpose": "tune", "sampleRate": RATE_HZ, "about": {}, "slot": 1}
            socket.send(json.dumps({"type": "hello", "room": "room-stress-000001"}))
            socket.send(json.dumps({"type": "take-open", **opening}))
            self.sent = self.acknowledged
            while time.monotonic() < until_s:
                if self.sent < frames:
                    block = self.samples[self.sent : self.sent + BLOCK]
                    socket.send(BLOCK_HEADER.pack(1, self.sent) + block.tobytes())
                    self.sent += block.size
                self._listen(socket, 0.004)
                if self.acknowledged >= frames - RATE_HZ // 5 and self.sent >= frames:
                    return True
        return False

    def _listen(self, socket: Any, seconds: float) -> None:
        with contextlib.suppress(TimeoutError):
            message = json.loads(socket.recv(timeout=seconds))
            if message["type"] == "ack":
                self.acknowledged = max(self.acknowledged, message["frames"])


def measure_kills(kills: int) -> None:
    """Noise in which no sample is zero; after each kill every acknowledged frame on the disk is compared."""
    random = np.random.default_rng(1)
    seconds = 4 * kills + 20
    samples = (random.integers(1, 30000, seconds * RATE_HZ) * random.choice([-1, 1], seconds * RATE_HZ)).astype("<i2")
    lost = wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        room = RunningRoom(Path(folder)).start()
        sender = Sender(room, samples)
        file = Path(folder) / "room" / "takes" / "take-stress-1.wav"
        for number in range(1, kills + 1):
            killing = threading.Timer(random.uniform(0.4, 1.6), room.kill)
            killing.start()
            with contextlib.suppress(ConnectionClosed, OSError):
                sender.run(time.monotonic() + 3.0, samples.size)
            killing.join()
            on_disk = read_frames(file)
            lost += max(0, sender.acknowledged - on_disk.size)
            wrong += int(np.count_nonzero(on_disk != samples[: on_disk.size]))
            print(f"kill {number}: {sender.acknowledged} frames acknowledged, {on_disk.size} on the disk", flush=True)
            room.start()
        ended = sender.run(time.monotonic() + 120.0, sender.acknowledged + 5 * RATE_HZ)
        on_disk = read_frames(file)
        wrong += int(np.count_nonzero(on_disk != samples[: on_disk.size]))
        room.stop()
    print(f"{kills} kills: {lost} acknowledged frames lost, {wrong} samples differ, reached the end: {ended}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--attempts", type=int, default=40)
    parser.add_argument("--growth", type=float, metavar="MINUTES")
    parser.add_argument("--session", type=float, metavar="MINUTES")
    parser.add_argument("--kills", type=int, metavar="TIMES")
    chosen = parser.parse_args()
    if chosen.growth:
        measure_growth(chosen.growth)
    elif chosen.session:
        measure_session(chosen.session)
    elif chosen.kills:
        measure_kills(chosen.kills)
    else:
        measure_latency(chosen.attempts)
