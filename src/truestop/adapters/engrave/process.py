"""One engraving process, seen from outside.

Conventions: a worker answers one request at a time; when it ends, or is ended because its time is over, WorkerDiedError
is raised and the worker is of no further use.
"""

from __future__ import annotations

import json
import struct
import subprocess
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from threading import Timer
from typing import Any

WORKER = Path(__file__).with_name("worker.py")
TIME_LIMIT_S = 20.0
MEMORY_LIMIT_BYTES = 2 * 1024**3


class WorkerDiedError(Exception):
    """The worker process ended, or was ended, before it answered."""


class Worker:
    """One engraving process. Not safe to share between threads."""

    def __init__(self, *, memory_limit_bytes: int = MEMORY_LIMIT_BYTES, command: Sequence[str] | None = None) -> None:
        self._process = subprocess.Popen(
            command or [sys.executable, "-P", str(WORKER), str(memory_limit_bytes)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        try:
            self._reply(TIME_LIMIT_S)
        except WorkerDiedError:
            self.end()
            raise

    @property
    def process_id(self) -> int:
        """The process's id."""
        return self._process.pid

    def ask(self, request: dict[str, Any], *, time_limit_s: float) -> dict[str, Any]:
        """The answer to one request; WorkerDiedError when it ends or takes longer than ``time_limit_s``."""
        body = json.dumps(request).encode()
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(struct.pack(">Q", len(body)) + body)
            self._process.stdin.flush()
        except OSError as error:
            raise WorkerDiedError(str(error)) from error
        return self._reply(time_limit_s)

    def _reply(self, time_limit_s: float) -> dict[str, Any]:
        assert self._process.stdout is not None
        alarm = Timer(time_limit_s, self._process.kill)
        alarm.start()
        try:
            head = self._process.stdout.read(8)
            body = self._process.stdout.read(struct.unpack(">Q", head)[0]) if len(head) == 8 else b""
            reply: dict[str, Any] = json.loads(body)
        except ValueError as error:
            raise WorkerDiedError("it ended before it answered") from error
        finally:
            alarm.cancel()
        return reply

    def end(self) -> None:
        """End the process and wait for it."""
        self._process.kill()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with suppress(OSError):
                    stream.close()
        self._process.wait()
