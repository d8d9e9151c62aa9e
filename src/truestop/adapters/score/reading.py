"""Reading a score of any kind: which kind it is, which part, which measures.

Conventions: the contents decide what a file is, its name only where they do not. Bytes come in, a passage goes out;
files are opened by whoever calls.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import PurePath

from truestop.adapters.score.abc_reading import list_abc_parts, looks_like_abc, read_abc, read_abc_part
from truestop.adapters.score.bounds import check_size
from truestop.adapters.score.container import is_compressed
from truestop.adapters.score.midi_reading import list_midi_parts, read_midi, read_midi_part
from truestop.adapters.score.musicxml_reading import list_musicxml_parts, read_musicxml, read_musicxml_part
from truestop.adapters.score.score import PartInfo, Score
from truestop.adapters.score.selection import select_measures
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Passage


@dataclass(frozen=True, slots=True, kw_only=True)
class _Format:
    suffixes: tuple[str, ...]
    read: Callable[..., Score]
    read_part: Callable[..., Passage]
    list_parts: Callable[..., tuple[PartInfo, ...]]


_FORMATS = {
    "MusicXML": _Format(
        suffixes=(".musicxml", ".xml", ".mxl"),
        read=read_musicxml,
        read_part=read_musicxml_part,
        list_parts=list_musicxml_parts,
    ),
    "ABC": _Format(suffixes=(".abc",), read=read_abc, read_part=read_abc_part, list_parts=list_abc_parts),
    "MIDI": _Format(suffixes=(".mid", ".midi"), read=read_midi, read_part=read_midi_part, list_parts=list_midi_parts),
}


#: First bytes of files that are taken for scores, or named so. Sources: ISO 32000-1, 7.5.2; ISO/IEC 15948 (PNG), 5.2;
#: ITU-T T.81 (JPEG), B.1.1.3.
_OTHERS = {b"%PDF": "a PDF", b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture"}


def read_score(
    data: bytes, *, name: str, part: str | None = None, measures: str | None = None, family: str | None = None
) -> Passage:
    """The passage in ``data``: one part, and of it ``measures`` ('3-8', '5', '12a') where given.

    ``name`` is the file's name for messages and for what its contents do not tell. ``part`` is a part's id, name or
    place in the list; without it the first part for ``family``, else for any bowed string instrument, is read.
    ``family`` is the player's instrument: it settles 'sul G' and a printed 0 in scores that name no instrument.
    Raises ScoreError.
    """
    passage = _format_of(data, name).read_part(data, name=name, part=part, family=family)
    if not passage.notes:
        raise ScoreError(f"The part {passage.part or 'read'} of {name} has no notes.", hint="Choose another part.")
    if measures is not None:
        passage = select_measures(passage, measures)
        if not passage.notes:
            raise ScoreError(f"Bars {measures} of {name} hold no notes.", hint="Choose bars in which it plays.")
    return passage if passage.title else replace(passage, title=PurePath(name).stem)


def list_parts(data: bytes, name: str) -> tuple[PartInfo, ...]:
    """The parts of the score (the tunes of an ABC file) with the instrument family and number of notes of each."""
    return _format_of(data, name).list_parts(data, name=name)


def _format_of(data: bytes, name: str) -> _Format:
    check_size(len(data), name=name)
    other = next((what for start, what in _OTHERS.items() if data.startswith(start)), None)
    if other is not None:
        hint = "Export the music from the notation program as MusicXML; a printed page must be typed in there first."
        raise ScoreError(f"{name} is {other}: its notes cannot be read.", hint=hint)
    kind = kind_of(data, name)
    if kind is None:
        raise ScoreError(
            f"{name} is not a score that truestop can read.",
            hint=f"Give a {', '.join(suffix for form in _FORMATS.values() for suffix in form.suffixes)} file.",
        )
    return _FORMATS[kind]


def kind_of(data: bytes, name: str) -> str | None:
    """The format of ``data``, None where it is no score."""
    start = data[:4096].lstrip(b"\xef\xbb\xbf\x00 \t\r\n")
    if is_compressed(data) or start[:1] == b"<" or data[:4] in (b"\xff\xfe<\x00", b"\xfe\xff\x00<"):
        return "MusicXML"
    if data[:4] == b"MThd":
        return "MIDI"
    if looks_like_abc(data):
        return "ABC"
    suffix = PurePath(name).suffix.lower()
    return next((kind for kind, form in _FORMATS.items() if suffix in form.suffixes), None)
