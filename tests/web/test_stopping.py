"""The room is told to end, by Ctrl+C or otherwise, whatever its pages are doing: it ends without a word."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import struct
import subprocess
import sys
import time
import wave
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import truestop
from truestop.web.guard import Key, cookie_name
from truestop.web.open_takes import BLOCK_HEADER

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(os.name == "nt", reason="there a process cannot send another one a Ctrl+C of its own"),
]
ENDS = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
SLOW_S = 3.0
"""Longer than the room waits for an answer when it is stopped."""
#: A room in which the tone of a string is slow; it is told to end by what nobody else, as nohup, has decided about.
SERVER = f"""
import signal, sys, time
for name in ("SIGTERM", "SIGHUP"):
    signal.signal(getattr(signal, name), signal.SIG_DFL)
from pathlib import Path
import truestop.cli
from truestop.bootstrap import Places
from truestop.web import questions
from truestop.web.serving import serve
questions.sound_of_string = lambda *_: time.sleep({SLOW_S}) or b""
tell = lambda line: print(line, flush=True)
serve(port=int(sys.argv[2]), open_browser=False, places=Places.under(Path(sys.argv[1])), tell=tell)
"""


@dataclass
class Server:
    """A running room."""

    home: Path
    port: int
    process: subprocess.Popen[str]

    def ask(self, path: str, *more: str) -> socket.socket:
        """A page's connection that has asked for ``path``."""
        page = socket.create_connection(("127.0.0.1", self.port), timeout=10)
        cookie = f"{cookie_name(self.port)}={Key(self.home / 'room' / 'key').cookie}"
        here = f"127.0.0.1:{self.port}"
        lines = [f"GET {path} HTTP/1.1", f"Host: {here}", f"Origin: http://{here}", f"Cookie: {cookie}", *more, "", ""]
        page.sendall("\r\n".join(lines).encode())
        return page

    def listen(self) -> socket.socket:
        """A page's socket, as a browser opens it (RFC 6455, 1.3, with the key of its example)."""
        key = "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ=="
        page = self.ask("/live", "Upgrade: websocket", "Connection: Upgrade", "Sec-WebSocket-Version: 13", key)
        assert b" 101 " in page.recv(4096)
        return page

    def hear_out(self) -> None:
        """What was said to it before has been read when it answers."""
        with self.ask("/api/start") as page:
            assert page.recv(1)

    def interrupt(self, end: signal.Signals = signal.SIGINT) -> None:
        self.process.send_signal(end)

    def end(self) -> tuple[int, str]:
        """How it ended, and what it wrote to its standard error."""
        _, errors = self.process.communicate(timeout=60)
        return self.process.returncode, errors


def frame(opcode: int, payload: bytes) -> bytes:
    """A frame of a page, masked with zeros (RFC 6455, 5.2)."""
    size = len(payload)
    length = struct.pack("!B", 0x80 | size) if size < 126 else struct.pack("!BH", 0x80 | 126, size)
    return struct.pack("!B", 0x80 | opcode) + length + bytes(4) + payload


def words(**message: Any) -> bytes:
    """One message of a page."""
    return frame(0x1, json.dumps(message).encode())


def ask_until_answers_pile_up(page: socket.socket) -> None:
    """Pings whose answers nobody reads, many more than the buffers of both ends hold."""
    for _ in range(400):
        page.sendall(frame(0x9, b"." * 125) * 200)


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    process = subprocess.Popen(
        [sys.executable, "-c", SERVER, str(tmp_path), str(port)], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, env=os.environ | {"PYTHONPATH": str(Path(truestop.__file__).parents[1])},
    )  # fmt: skip
    assert process.stdout is not None
    assert any("End it with Ctrl+C" in line for line in process.stdout)
    for _ in range(400):
        with contextlib.suppress(OSError):
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            break
        time.sleep(0.05)
    yield Server(tmp_path, port, process)
    if process.poll() is None:
        process.kill()
    process.communicate()


def test_while_a_page_closes_its_socket(server: Server) -> None:
    """The goodbye of the page was answered, but the answer waits behind others: the socket is still there."""
    with server.listen() as page:
        ask_until_answers_pile_up(page)
        page.sendall(frame(0x8, struct.pack("!H", 1001)))
        server.hear_out()
        server.interrupt()
        assert server.end() == (0, "")


def test_while_a_question_takes_long_and_a_page_reads_nothing(server: Server) -> None:
    with server.listen() as page, server.ask("/api/strings/1/tone"):
        ask_until_answers_pile_up(page)
        server.interrupt()
        assert server.end() == (0, "")


def test_twice(server: Server) -> None:
    """An impatient player: the second Ctrl+C comes before a slow answer."""
    with server.listen(), server.ask("/api/strings/1/tone"):
        server.hear_out()
        server.interrupt()
        time.sleep(0.5)
        server.interrupt()
        assert server.end() == (0, "")


@pytest.mark.parametrize("end", ENDS)
def test_while_a_take_is_kept(server: Server, end: signal.Signals) -> None:
    """Whatever ends it, the take is whole on the disk and the record lies in its one file, without a log beside it."""
    frames, take = 12_000, "take-that-sounds"
    with server.listen() as page:
        page.sendall(words(type="hello", room="a-room-of-mine", practising=True, holds=[]))
        page.sendall(words(type="take-open", take=take, purpose="tune", sampleRate=48_000, slot=1))
        page.sendall(frame(0x2, BLOCK_HEADER.pack(1, 0) + bytes(2 * frames)))
        server.hear_out()
        server.interrupt(end)
        assert server.end() == (0, "")
    with wave.open(str(server.home / "room" / "takes" / f"{take}.wav")) as kept:
        assert kept.getnframes() == frames
    assert not list(server.home.rglob("*-wal"))
    assert list(server.home.rglob("*.sqlite*")) or list(server.home.rglob("*.db"))
