"""Judgements that take seconds are made beside the room, one after the other."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from truestop.domain.errors import TruestopError


class JudgingQueue:
    """One thread, so that what was played first is told first, however long it takes."""

    def __init__(self, trouble: Callable[[TruestopError], None]) -> None:
        """``trouble`` is told of a judgement that failed."""
        self._trouble = trouble
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="judging")
        self._running: dict[asyncio.Future[Any], str] = {}

    @property
    def takes(self) -> frozenset[str]:
        """Names of the takes of which something is being judged."""
        return frozenset(self._running.values())

    def ask(self, take: str, tell: Callable[[Any], None], judge: Callable[..., Any], *about: Any) -> None:
        """Have ``judge(*about)`` done, and tell its result in the room's own thread; None where it failed."""
        judging = asyncio.get_running_loop().run_in_executor(self._thread, judge, *about)
        self._running[judging] = take

        def judged(done: asyncio.Future[Any]) -> None:
            self._running.pop(done, None)
            error = done.exception()
            if isinstance(error, TruestopError):
                self._trouble(error)
            tell(None if error else done.result())

        judging.add_done_callback(judged)

    def close(self) -> None:
        """What is running comes to its end; nothing new is begun."""
        self._thread.shutdown(wait=False)
