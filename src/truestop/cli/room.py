"""``truestop room``."""

from __future__ import annotations

from typing import Annotated

import typer


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(room)


def room(
    port: Annotated[int | None, typer.Option(min=1, max=65535, help="Port on this machine; else a free one.")] = None,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser.")] = True,
) -> None:
    """Open the practice room in the browser."""
    from truestop.web.serving import serve  # the web server is heavy; other commands do without

    serve(port=port, open_browser=browser)
