"""MusicXML to pictures, in worker processes that may die.

Conventions: lengths are mm on paper. Every request has a time limit; a worker that exceeds it or its memory limit, or
that crashes, is replaced, and the document is tried once more in a fresh one before it counts as unengravable. Results
are cached by content in a folder that the caller names; the cache may be deleted at any time.
"""

from __future__ import annotations

import hashlib
import json
import os
import struct
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from importlib.metadata import version
from pathlib import Path
from queue import LifoQueue
from threading import Timer
from types import TracebackType
from typing import Any

from truestop.adapters.engrave.finish import finish_svg
from truestop.adapters.engrave.prepare import prepare_musicxml
from truestop.app.sheet_ports import Picture
from truestop.domain.errors import EngravingError

WORKER = Path(__file__).with_name("worker.py")
TIME_LIMIT_S = 20.0
MEMORY_LIMIT_BYTES = 2 * 1024**3
#: Raise it whenever a change here or in the library's options changes pictures, so that old cache entries are left.
PICTURE_VERSION = 2
MOST_CACHED = 4000
MARGIN_MM = 3.0

#: Options of the library that hold for every picture. Tenths of a millimetre at the staff's own size.
FIXED_OPTIONS: dict[str, Any] = {
    "adjustPageHeight": True,
    "breaks": "auto",
    "defaultBottomMargin": 0.9,
    "expandNever": True,
    "fingeringScale": 0.75,
    "font": "Leland",
    "fontTextLiberation": True,
    "footer": "none",
    "header": "none",
    "logLevel": "off",
    "lyricSize": 3.9,
    "minLastJustification": 0.85,
    "pageHeight": 60000,
    "pageMarginBottom": 10,
    "pageMarginTop": 10,
    "scale": 100,
    "smuflTextFont": "none",
    "spacingLinear": 0.33,
    "spacingNonLinear": 0.6,
    "svgRemoveXlink": True,
    "svgViewBox": True,
    "systemMaxPerPage": 1,
    "xmlIdChecksum": True,
}


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


class Engraver:
    """Engraves MusicXML in a few worker processes, started when first needed. A context; or call ``close``."""

    def __init__(
        self,
        *,
        cache_folder: Path | None = None,
        workers: int = 1,
        time_limit_s: float = TIME_LIMIT_S,
        memory_limit_bytes: int = MEMORY_LIMIT_BYTES,
    ) -> None:
        self._cache_folder = cache_folder
        self._time_limit_s = time_limit_s
        self._memory_limit_bytes = memory_limit_bytes
        self._workers = workers
        self._idle: LifoQueue[Worker | None] = LifoQueue()
        for _ in range(workers):
            self._idle.put(None)

    def __enter__(self) -> Engraver:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the worker processes. The engraver may be used again: they are started anew."""
        for _ in range(self._workers):
            worker = self._idle.get()
            if worker is not None:
                worker.end()
        for _ in range(self._workers):
            self._idle.put(None)

    def engrave(self, musicxml: bytes, *, width_mm: float, staff_mm: float = 7.0) -> tuple[Picture, ...]:
        """One picture per system, ``width_mm`` wide, staves ``staff_mm`` high; EngravingError where it cannot be."""
        request = {
            "musicxml": prepare_musicxml(musicxml).decode(),
            "options": FIXED_OPTIONS | _size_options(width_mm, staff_mm),
        }
        key = self._key(request)
        pages = self._cached(key)
        if pages is None:
            pages = self._engraved(request)
            self._keep(key, pages)
        return tuple(finish_svg(page, width_mm=width_mm) for page in pages)

    def engrave_all(
        self, documents: Sequence[bytes], *, width_mm: float, staff_mm: float = 7.0
    ) -> tuple[tuple[Picture, ...], ...]:
        """The pictures of several documents, shared out among the workers."""
        with ThreadPoolExecutor(max_workers=self._workers) as threads:
            return tuple(
                threads.map(lambda musicxml: self.engrave(musicxml, width_mm=width_mm, staff_mm=staff_mm), documents)
            )

    def _engraved(self, request: dict[str, Any]) -> list[str]:
        worker = self._idle.get()
        try:
            for _ in range(2):
                try:
                    worker = worker or Worker(memory_limit_bytes=self._memory_limit_bytes)
                    reply = worker.ask(request, time_limit_s=self._time_limit_s)
                except WorkerDiedError:
                    reply = {"error": "the engraving process ended"}
                if "pages" in reply:
                    return list(reply["pages"])
                if worker is not None:
                    worker.end()
                worker = None
        finally:
            self._idle.put(worker)
        raise EngravingError(
            f"The page could not be engraved: {reply['error']}.",
            hint=f"Try fewer measures at once; the limit is {self._time_limit_s:g} s and "
            f"{self._memory_limit_bytes // 1024**2} MB.",
        )

    def _key(self, request: dict[str, Any]) -> str:
        text = json.dumps([PICTURE_VERSION, version("verovio"), request], sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()

    def _cached(self, key: str) -> list[str] | None:
        if self._cache_folder is None:
            return None
        try:
            pages: list[str] = json.loads((self._cache_folder / f"{key}.json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return pages

    def _keep(self, key: str, pages: list[str]) -> None:
        """Write to a file of its own first, then rename: a reader sees all of it or nothing."""
        if self._cache_folder is None:
            return
        try:
            self._cache_folder.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=self._cache_folder, suffix=".part")
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                json.dump(pages, file)
            Path(name).replace(self._cache_folder / f"{key}.json")
            _thin_out(self._cache_folder)
        except OSError:
            return


def _size_options(width_mm: float, staff_mm: float) -> dict[str, Any]:
    """A staff is eight units high; a unit is given in tenths of a millimetre."""
    return {
        "pageWidth": round(width_mm * 10),
        "unit": staff_mm * 10 / 8,
        "pageMarginLeft": 0,
        "pageMarginRight": 0,
    }


def _thin_out(folder: Path) -> None:
    """Delete the oldest cached pictures beyond the number that is kept."""
    kept = list(folder.glob("*.json"))
    if len(kept) <= MOST_CACHED:
        return
    kept.sort(key=lambda path: path.stat().st_mtime)
    for path in kept[: len(kept) - MOST_CACHED]:
        path.unlink(missing_ok=True)
