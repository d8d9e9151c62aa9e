"""``truestop room``."""

from __future__ import annotations

from typing import Annotated

import typer


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(room)


def room(
    port: Annotated[int | None, typer.Option(min=1, max=65535, help="Port on this machine; else a free one.")] = None,
    https: Annotated[
        bool,
        typer.Option(
            "--https",
            help="For a phone or tablet on the same network too: shows a QR code; its browser asks once about the "
            "certificate (docs/room.md).",
        ),
    ] = False,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser.")] = True,
) -> None:
    """Open the practice room in the browser."""
    from truestop.web.nearby import own_address  # the web server is heavy; other commands do without
    from truestop.web.serving import serve

    serve(port=port, open_browser=browser, address=own_address() if https else None)
