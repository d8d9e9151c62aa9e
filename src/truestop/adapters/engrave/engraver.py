"""MusicXML to pictures, in worker processes that may die.

Conventions: lengths are mm on paper. Every request has a time limit; a worker that exceeds it or its memory limit, or
that crashes, is replaced, and each document is tried once more alone in a fresh one before it counts as unengravable.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import LifoQueue
from types import TracebackType
from typing import Any

from truestop.adapters.engrave.cache import PictureCache, key_of
from truestop.adapters.engrave.finish import finish_svg
from truestop.adapters.engrave.prepare import prepare_musicxml
from truestop.adapters.engrave.process import MEMORY_LIMIT_BYTES, TIME_LIMIT_S, Worker, WorkerDiedError
from truestop.app.sheet_ports import Picture
from truestop.domain.errors import EngravingError

MOST_TOGETHER = 10
"""Documents that go to a worker in one message."""
CHARACTERS_PER_S = 50_000
"""MusicXML that a worker is given a second more for; a whole quartet movement's part is some 1.5 million characters."""

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
    "lyricSize": 3.9,
    "minLastJustification": 0.85,
    "pageHeight": 60000,
    "pageMarginBottom": 5,
    "pageMarginTop": 10,
    "scale": 100,
    "slurMargin": 3.0,
    "smuflTextFont": "none",
    "spacingStaff": 8,
    "staffLineWidth": 0.2,
    "svgRemoveXlink": True,
    "svgViewBox": True,
    "systemMaxPerPage": 1,
    "xmlIdChecksum": True,
}

#: How wide notes are set: roomy for music with marks over it, close for short exercises that share a line.
ROOMY: dict[str, Any] = {"spacingLinear": 0.33, "spacingNonLinear": 0.6}
CLOSE: dict[str, Any] = {"spacingLinear": 0.22, "spacingNonLinear": 0.58}


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
        self._cache = PictureCache(cache_folder)
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
        return self.engrave_all([musicxml], width_mm=width_mm, staff_mm=staff_mm)[0]

    def engrave_all(
        self, documents: Sequence[bytes], *, width_mm: float, staff_mm: float = 7.0, close: bool = False
    ) -> tuple[tuple[Picture, ...], ...]:
        """The pictures of several documents in their order, shared out among the workers."""
        options = FIXED_OPTIONS | (CLOSE if close else ROOMY) | _size_options(width_mm, staff_mm)
        prepared = [prepare_musicxml(document).decode() for document in documents]
        keys = [key_of(musicxml, options) for musicxml in prepared]
        found = {key: self._cache.find(key) for key in keys}
        missing = {key: musicxml for key, musicxml in zip(keys, prepared, strict=True) if found[key] is None}
        for key, pages in self._shared_out(missing, options):
            found[key] = pages
            self._cache.keep(key, pages)
        return tuple(tuple(finish_svg(page, width_mm=width_mm) for page in found[key] or ()) for key in keys)

    def _shared_out(self, missing: dict[str, str], options: dict[str, Any]) -> Iterator[tuple[str, list[str]]]:
        if not missing:
            return
        names = list(missing)
        size = min(MOST_TOGETHER, -(-len(names) // self._workers))
        chunks = [names[start : start + size] for start in range(0, len(names), size)]
        with ThreadPoolExecutor(max_workers=self._workers) as threads:
            together = threads.map(lambda chunk: self._engraved([missing[name] for name in chunk], options), chunks)
            for chunk, documents in zip(chunks, together, strict=True):
                yield from zip(chunk, documents, strict=True)

    def _engraved(self, documents: Sequence[str], options: dict[str, Any]) -> list[list[str]]:
        """The pages of each document; where they fail together, one by one."""
        try:
            return self._asked(documents, options)
        except EngravingError:
            return [self._asked([document], options)[0] for document in documents]

    def _asked(self, documents: Sequence[str], options: dict[str, Any]) -> list[list[str]]:
        request = {"documents": list(documents), "options": options}
        worker = self._idle.get()
        reply: dict[str, Any] = {"error": "the engraving process ended"}
        try:
            worker = worker or Worker(memory_limit_bytes=self._memory_limit_bytes)
            more_s = sum(map(len, documents)) / CHARACTERS_PER_S
            reply = worker.ask(request, time_limit_s=self._time_limit_s + more_s)
        except WorkerDiedError:
            pass
        finally:
            if "error" in reply and worker is not None:
                worker.end()
                worker = None
            self._idle.put(worker)
        if "error" in reply:
            raise EngravingError(
                f"The page could not be engraved: {reply['error']}.",
                hint=f"Try fewer bars at once; the limit is about {self._time_limit_s:g} s and "
                f"{self._memory_limit_bytes // 1024**2} MB.",
            )
        return list(reply["documents"])


def _size_options(width_mm: float, staff_mm: float) -> dict[str, Any]:
    """A staff is eight units high; a unit is given in tenths of a millimetre."""
    return {
        "pageWidth": round(width_mm * 10),
        "unit": staff_mm * 10 / 8,
        "pageMarginLeft": 0,
        "pageMarginRight": 0,
    }
