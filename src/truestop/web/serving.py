"""The practice room's server: the door, the page, the conversation, and the questions of the page.

Conventions: it listens on the loopback address, or, asked to, on this machine's address in its network by https. Errors
in what was handed in are answered as problem+json (RFC 9457) with one clear sentence and its remedy.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import socket
import threading
import webbrowser
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI, Request, WebSocket
from fastapi.responses import FileResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.websockets import WebSocketDisconnect
from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol
from websockets.protocol import State

from truestop.bootstrap import Places
from truestop.domain.errors import TruestopError
from truestop.web.conversation import Conversation
from truestop.web.desk import RoomDesk
from truestop.web.ending import ending_as_ctrl_c_does
from truestop.web.guard import DOOR, Guard, Key, cookie_name
from truestop.web.nearby import Certificate, own_certificate, qr_text
from truestop.web.notebook import Notebook, room_name
from truestop.web.ports import Desk
from truestop.web.questions import make_questions
from truestop.web.takes import TakeFolder

STATIC = Path(__file__).parent / "static"
USUAL_PORT = 8734
LOOPBACK = "127.0.0.1"
LARGEST_MESSAGE_BYTES = 1 << 20
COOKIE_DAYS = 30
RECOVER_AFTER_S = 120.0
"""A take that was written to this recently may belong to a page that is about to come back."""


class Room:
    """Everything the running server holds."""

    def __init__(self, folder: Path, desk: Desk, *, port: int, address: str | None = None) -> None:
        """``address`` is the one of the network where the room is served there, by https."""
        self.port = port
        self.address = address
        self.desk = desk
        self.key = Key(folder / "key")
        self.takes = TakeFolder(folder / "takes")
        self.notebook = Notebook(folder / "rooms")
        self.conversations: dict[str, Conversation] = {}

    def close(self) -> None:
        """Let go of the takes that are still open."""
        for conversation in self.conversations.values():
            conversation.close()

    def launch(self) -> str:
        """An address that opens the room once."""
        home = f"https://{self.address}" if self.address else "http://127.0.0.1"
        return f"{home}:{self.port}{DOOR}?key={self.key.launch_token()}"

    def conversation(self, asked: object) -> Conversation:
        """The conversation of a room, in memory, on paper or new."""
        name = room_name(asked)
        if name not in self.conversations:
            self.conversations[name] = Conversation(name, desk=self.desk, takes=self.takes, notebook=self.notebook)
        return self.conversations[name]


def make_app(room: Room) -> FastAPI:
    """The guarded door and the conversation; questions and page are added to it."""
    app = FastAPI(title="truestop room", docs_url=None, redoc_url=None, openapi_url=None)
    app.add_middleware(Guard, key=room.key, port=room.port, address=room.address)
    app.add_exception_handler(TruestopError, _problem)
    app.add_api_route(DOOR, _door(room), methods=["GET"])
    app.add_api_websocket_route("/live", _live(room))
    return app


def add_page(app: FastAPI) -> None:
    """The built page; last, since it takes every path that is left."""
    app.add_api_route("/", _page, methods=["GET"])
    if STATIC.is_dir():
        app.mount("/", StaticFiles(directory=STATIC), name="static")


async def _page() -> Response:
    if not (STATIC / "index.html").is_file():
        return PlainTextResponse("The page was not built: run 'python hatch_build.py', or install truestop.", 503)
    return FileResponse(STATIC / "index.html")


def _door(room: Room) -> Callable[..., Any]:
    async def enter(key: str = "") -> Response:
        if not room.key.spend(key):
            return PlainTextResponse("This key was used already. Start 'truestop room' again for a new one.", 403)
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(
            cookie_name(room.port), room.key.cookie, httponly=True, samesite="strict", max_age=COOKIE_DAYS * 86400,
            secure=room.address is not None,
        )  # fmt: skip
        return answer

    return enter


def _problem(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, TruestopError)
    body = {
        "type": "about:blank",
        "title": str(error),
        "status": 422,
        "detail": error.hint,
        "where": error.where,
    }
    return JSONResponse(body, status_code=422, media_type="application/problem+json")


def _live(room: Room) -> Callable[[WebSocket], Any]:
    async def live(websocket: WebSocket) -> None:
        await websocket.accept()
        outgoing: asyncio.Queue[str] = asyncio.Queue()

        def send(message: dict[str, Any]) -> None:
            outgoing.put_nowait(json.dumps(message, allow_nan=False, separators=(",", ":")))

        writer = asyncio.create_task(_write(websocket, outgoing))
        conversation: Conversation | None = None
        try:
            conversation = await _converse(room, websocket, send)
        finally:
            writer.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await writer
            if conversation is not None:
                conversation.leave(send)

    return live


async def _write(websocket: WebSocket, outgoing: asyncio.Queue[str]) -> None:
    with contextlib.suppress(WebSocketDisconnect, RuntimeError):
        while True:
            await websocket.send_text(await outgoing.get())


async def _converse(room: Room, websocket: WebSocket, send: Callable[[dict[str, Any]], None]) -> Conversation | None:
    """Until the page leaves. The first words must be 'hello' with the room's name, if the page has one."""
    conversation: Conversation | None = None
    async for message in _messages(websocket):
        if isinstance(message, dict) and message.get("type") == "hello":
            conversation = room.conversation(message.get("room"))
            holds = message.get("holds")
            conversation.join(
                send, practising=bool(message.get("practising", True)), holds=holds if isinstance(holds, list) else None
            )
        elif conversation is not None and conversation.hears(send):
            if isinstance(message, bytes):
                conversation.hear_sound(message)
            else:
                conversation.hear_words(message)
    return conversation


async def _messages(websocket: WebSocket) -> AsyncIterator[bytes | dict[str, Any]]:
    while True:
        received = await websocket.receive()
        if received["type"] != "websocket.receive":
            return
        if received.get("bytes") is not None:
            yield received["bytes"]
        else:
            with contextlib.suppress(ValueError):
                words = json.loads(received.get("text") or "")
                if isinstance(words, dict):
                    yield words


class PageSocket(WebSocketsSansIOProtocol):
    """A page's socket. Stopped while it is closing already, uvicorn's own raises, and the room would not be closed."""

    def shutdown(self) -> None:
        """Say that the server ends, where the page still listens."""
        if self.conn.state in (State.CLOSING, State.CLOSED):
            self.transport.abort()
        else:
            super().shutdown()


class RoomServer(uvicorn.Server):
    """Ends without a word: an answer that would take too long is given up, which uvicorn tells as an error."""

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Let the pages and their questions go."""
        logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
        await super().shutdown(sockets)


def free_port(asked: int | None, address: str = LOOPBACK) -> int:
    """``asked`` or the usual port where it is free, else any."""
    for port in (asked or USUAL_PORT, 0):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            with contextlib.suppress(OSError):
                probe.bind((address, port))
                return int(probe.getsockname()[1])
        if asked is not None:
            raise TruestopError(
                f"Port {asked} is in use.", hint="Leave out --port to take a free one, or end the other program."
            )
    raise TruestopError("No port is free on this machine.", hint="Close other programs and try again.")


@ending_as_ctrl_c_does()
def serve(
    *,
    port: int | None = None,
    open_browser: bool = True,
    places: Places | None = None,
    tell: Callable[[str], None] = print,
    address: str | None = None,
) -> None:
    """Run the room until it is told to end. What it keeps lies beside the record, or where ``places`` says.

    ``address`` is this machine's own in its network: the room is served there by https, for a phone as well.
    """
    places = places or Places.usual()
    folder = places.shelf.parent / "room"
    chosen = free_port(port, address or LOOPBACK)
    certificate = own_certificate(folder / "https", address) if address else None
    desk = RoomDesk(places, folder)
    try:
        room = Room(folder, desk, port=chosen, address=address)
        recovered = desk.recover(room.takes, older_than_s=RECOVER_AFTER_S)
        if recovered:
            tell(f"{recovered} take(s) that were cut off are in the record now.")
        app = make_app(room)
        app.include_router(make_questions(desk, room.takes))
        add_page(app)
        _announce(room, certificate, tell, open_browser=open_browser)
        config = uvicorn.Config(
            app, host=address or LOOPBACK, port=chosen, log_level="warning", timeout_graceful_shutdown=2,
            ws=PageSocket, ws_max_size=LARGEST_MESSAGE_BYTES, ws_per_message_deflate=False, ws_ping_interval=20.0,
            ws_ping_timeout=60.0,
            ssl_certfile=certificate.file if certificate else None,
            ssl_keyfile=certificate.key_file if certificate else None,
        )  # fmt: skip
        with contextlib.suppress(KeyboardInterrupt):
            RoomServer(config).run()
        room.close()
    finally:
        desk.close()


def _announce(room: Room, certificate: Certificate | None, tell: Callable[[str], None], *, open_browser: bool) -> None:
    if certificate is not None:
        elsewhere = room.launch()
        tell(qr_text(elsewhere))
        tell(f"For a phone or tablet on this network, once: {elsewhere}")
        tell(f"The browser does not know this machine's certificate and asks. Its SHA-256 is {certificate.fingerprint}")
    launch = room.launch()
    tell(f"The practice room is open. This address works once: {launch}")
    tell("End it with Ctrl+C.")
    if open_browser:
        threading.Timer(0.6, webbrowser.open, [launch]).start()
