"""From a command's options to a passage in the hand."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import typer

from truestop import bootstrap
from truestop.app.mainjob import InHand, Setup, take_in_hand
from truestop.cli.options import PassageOptions
from truestop.cli.output import warn
from truestop.cli.show import counted
from truestop.domain.attempt import TOLERANCES_CENTS
from truestop.domain.fingering import Pin
from truestop.domain.instrument import ROMAN
from truestop.domain.passage import Finger, Passage
from truestop.domain.stop import FingeredPassage

MOST_REMARKS = 12
_PIN = re.compile(r"(?P<string>IV|V|I{1,3})?(?P<finger>[0-4T])?")


def open_passage(source: str, options: PassageOptions, *, fresh: bool = False) -> Passage:
    """The passage the command names."""
    family = options.instrument.value if options.instrument else None
    return bootstrap.open_passage(source, part=options.part, measures=options.measures, family=family, fresh=fresh)


def open_in_hand(source: str, options: PassageOptions, *, name: str = "") -> InHand:
    """The passage the command names, fingered, with its shifts; what was passed over is told under ``name``."""
    in_hand = take_in_hand(open_passage(source, options), setup_from(options), pins=pins_from(options.pin))
    tell_instrument(in_hand.fingered, options, name=name)
    tell_remarks(in_hand.fingered, name=name)
    return in_hand


def tell_instrument(fingered: FingeredPassage, options: PassageOptions, *, name: str = "") -> None:
    """On standard error that a part for something else, a flute perhaps, is read for a string instrument."""
    passage = fingered.passage
    if passage.part and passage.instrument is None and options.instrument is None:
        where = f"{name}: " if name else ""
        what = f"the part '{passage.part}' is read for the {fingered.instrument.family}, as its clefs suggest."
        warn(f"{where}{what if where else what[0].upper() + what[1:]}", "--instrument chooses another.")


def tell_remarks(fingered: FingeredPassage, *, name: str = "") -> None:
    """On standard error what the player should know of the passage: marks passed over, chords that are broken."""
    where = f"{name}: " if name else ""
    for remark in fingered.remarks[:MOST_REMARKS]:
        warn(f"{where}{remark}")
    if len(fingered.remarks) > MOST_REMARKS:
        more = len(fingered.remarks) - MOST_REMARKS
        warn(f"{where}For {counted(more, 'more remark')} of this kind see truestop shifts --json.")


def setup_from(options: PassageOptions) -> Setup:
    """The player's settings."""
    scale = None
    if options.intonation.lower().endswith(".scl"):
        scale = bootstrap.read_scale(Path(options.intonation))
    return Setup(
        family=options.instrument.value if options.instrument else None,
        size=options.size,
        length_mm=options.length_mm,
        strings=options.strings,
        style=options.style.value.replace("-", " "),
        numbering=options.numbering.value,
        guide_rule=options.guide,
        a4_hz=options.a4_hz,
        system=options.intonation,
        scale=scale,
        open_strings_hz=_open_strings(options.open_strings),
        tolerance_cents=_tolerance(options.tolerance),
    )


def pins_from(texts: Sequence[str] | None) -> dict[str, Pin]:
    """Pins written like 'm3n2=II1', 'm3n2=II', 'm3n2=1'."""
    pins = {}
    strings = {numeral: number for number, numeral in ROMAN.items()}
    for text in texts or ():
        note, _, mark = text.partition("=")
        match = _PIN.fullmatch(mark.strip())
        if not note or not mark.strip() or match is None:
            raise typer.BadParameter(
                f"'{text}' is no pin. Write the note's id, =, and a string numeral, a finger or both: m3n2=II1; "
                "truestop shifts PASSAGE --ids shows the ids."
            )
        finger, string = match["finger"], match["string"]
        pins[note.strip()] = Pin(finger=Finger(finger) if finger else None, string=strings[string] if string else None)
    return pins


def _tolerance(text: str) -> float:
    named = TOLERANCES_CENTS.get(text.replace("-", " "))
    if named is not None:
        return named
    try:
        cents = float(text)
    except ValueError:
        cents = -1.0
    if not 1.0 <= cents <= 100.0:
        presets = ", ".join(f"{name} ({value:g})" for name, value in TOLERANCES_CENTS.items())
        raise typer.BadParameter(f"'{text}' is no tolerance. Give 1 to 100 cents, or {presets}.")
    return cents


def _open_strings(text: str | None) -> tuple[float | None, ...] | None:
    if text is None:
        return None
    try:
        return tuple(None if word == "-" else float(word) for word in text.replace(",", " ").split())
    except ValueError:
        raise typer.BadParameter(
            f"'{text}' are no frequencies. Give Hz for each string from I on, - for one unmeasured: '659.8 440 293 -'."
        ) from None
