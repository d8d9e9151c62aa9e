"""The engraving process: MusicXML in, one SVG per system out.

Conventions: messages on standard input and output are a length (8 bytes, big-endian) and that many bytes of JSON. Runs
as a script of its own that imports nothing of the package, so that it starts quickly and can be killed at any time. A
document that cannot be loaded ends the process: the library is not safe to use after a failed load.
"""

from __future__ import annotations

import json
import os
import struct
import sys
from pathlib import Path
from typing import IO, Any

import verovio


def limit_memory(most_bytes: int) -> None:
    """Cap the address space of this process, where the platform can."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))


def make_toolkit() -> Any:
    """A toolkit with its fonts found beside the library."""
    toolkit = verovio.toolkit(False)
    toolkit.setResourcePath(str(Path(verovio.__file__).parent / "data"))
    return toolkit


def engrave(toolkit: Any, request: dict[str, Any]) -> dict[str, Any]:
    """The pages of each document, or an error."""
    toolkit.resetOptions()
    toolkit.setOptions(request["options"])
    documents = []
    for musicxml in request["documents"]:
        if not toolkit.loadData(musicxml):
            return {"error": "the music could not be loaded"}
        pages = toolkit.getPageCount()
        if pages < 1:
            return {"error": "the music has no page"}
        documents.append([toolkit.renderToSVG(page) for page in range(1, pages + 1)])
    return {"documents": documents}


def read_message(stream: IO[bytes]) -> dict[str, Any] | None:
    """The next message, or None at the end of the stream."""
    head = stream.read(8)
    if len(head) < 8:
        return None
    (length,) = struct.unpack(">Q", head)
    message: dict[str, Any] = json.loads(stream.read(length))
    return message


def write_message(stream: IO[bytes], message: dict[str, Any]) -> None:
    """Send one message."""
    body = json.dumps(message).encode()
    stream.write(struct.pack(">Q", len(body)) + body)
    stream.flush()


def serve(requests: IO[bytes], replies: IO[bytes]) -> None:
    """Answer requests until there are no more, or until one fails."""
    toolkit = make_toolkit()
    write_message(replies, {"ready": True})
    while (request := read_message(requests)) is not None:
        reply = engrave(toolkit, request)
        write_message(replies, reply)
        if "error" in reply:
            return


def main() -> None:
    """Serve on standard input and output; what the library prints goes to standard error."""
    limit_memory(int(sys.argv[1]))
    replies = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    serve(sys.stdin.buffer, replies)


if __name__ == "__main__":
    main()
