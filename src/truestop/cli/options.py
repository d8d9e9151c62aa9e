"""Options that several commands share, declared once.

A command that takes ``options: PassageOptions`` and is decorated with ``with_options`` gets every field of the
dataclass as a command-line option of its own.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import MISSING, dataclass, fields
from enum import StrEnum
from functools import wraps
from typing import Annotated, Any, get_type_hints

import typer

from truestop.domain.attempt import TOLERANCES_CENTS
from truestop.domain.instrument import STRINGS
from truestop.domain.shift import GuideRule

Family = StrEnum("Family", {name: name for name in STRINGS})  # type: ignore[misc]


class Numbering(StrEnum):
    """How cello positions are numbered."""

    LOWER_UPPER = "lower-upper"
    MAJOR_SCALE = "major-scale"


class StyleName(StrEnum):
    """Which fingerings are preferred where the edition leaves a choice."""

    USUAL = "usual"
    SECURE = "secure"
    ONE_STRING = "one-string"
    BRILLIANT = "brilliant"
    BEGINNER = "beginner"


@dataclass(frozen=True, slots=True, kw_only=True)
class PassageOptions:
    """How a passage is read and taken into the hand."""

    instrument: Annotated[Family | None, typer.Option(help="Instrument; as the score names it, else by its clefs.")] = (
        None
    )
    size: Annotated[str | None, typer.Option(help="Size, like 4/4, 3/4 (viola: body, 405 in mm or 16 in inches).")] = (
        None
    )
    length_mm: Annotated[
        float | None, typer.Option("--length", metavar="MM", help="Vibrating string length from a ruler.")
    ] = None
    strings: Annotated[
        str | None, typer.Option(help="Open strings, like 'E5 A4 D4 A3'; bass also: solo, five-b, five-c, extension.")
    ] = None
    part: Annotated[str | None, typer.Option(help="Part by name or id, where the score has several.")] = None
    measures: Annotated[str | None, typer.Option(metavar="A-B", help="Bars as printed, like 9-16 or 12.")] = None
    style: Annotated[StyleName, typer.Option(help="Preference where the edition leaves a choice.")] = StyleName.USUAL
    pin: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NOTE=MARK",
            help="Fix a note's finger or string: m3n2=II1 is finger 1 on string II. shifts --ids shows ids.",
        ),
    ] = None
    guide: Annotated[GuideRule, typer.Option(help="Which finger carries the hand.")] = GuideRule.LOWER
    numbering: Annotated[Numbering, typer.Option(help="Names of cello positions.")] = Numbering.LOWER_UPPER
    a4_hz: Annotated[float, typer.Option("--a4", metavar="HZ", help="Reference pitch, 380 to 470 Hz.")] = 440.0
    intonation: Annotated[
        str, typer.Option(metavar="SYSTEM", help="equal, pythagorean, just, strings or a Scala .scl file.")
    ] = "pythagorean"
    open_strings: Annotated[
        str | None, typer.Option(metavar="HZ…", help="Measured open strings, I first, for --intonation strings.")
    ] = None
    tolerance: Annotated[str, typer.Option(metavar="CENTS", help=f"Cents, or {', '.join(TOLERANCES_CENTS)}.")] = (
        "student"
    )


JsonFlag = Annotated[bool, typer.Option("--json", help="Print JSON with a versioned schema (docs/json.md).")]
PassageArgument = Annotated[
    str,
    typer.Argument(
        metavar="PASSAGE",
        help="A MusicXML, ABC or MIDI file, - for standard input, or one shift in words: 'II 1 B4 > II 3 F#5'.",
    ),
]


def with_options(command: Callable[..., None]) -> Callable[..., None]:
    """Spread the fields of the ``options`` parameter's dataclass over the command line."""
    hints = get_type_hints(command, include_extras=True)
    bundle = hints.pop("options")
    spread = [_parameter(bundle, field.name) for field in fields(bundle)]
    own = [
        parameter.replace(annotation=hints[parameter.name], kind=inspect.Parameter.KEYWORD_ONLY)
        for parameter in inspect.signature(command).parameters.values()
        if parameter.name != "options"
    ]

    @wraps(command)
    def run(**values: Any) -> None:
        names = [parameter.name for parameter in spread]
        command(options=bundle(**{name: values.pop(name) for name in names}), **values)

    run.__signature__ = inspect.Signature(own + spread)  # type: ignore[attr-defined]
    run.__annotations__ = {parameter.name: parameter.annotation for parameter in own + spread}
    del run.__wrapped__
    return run


def _parameter(bundle: type, name: str) -> inspect.Parameter:
    field = next(field for field in fields(bundle) if field.name == name)
    default = inspect.Parameter.empty if field.default is MISSING else field.default
    annotation = get_type_hints(bundle, include_extras=True)[name]
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation)
