"""Scores damaged at random, as a careless disk or a hostile sender would: seeded, so that every run is the same."""

from __future__ import annotations

import io
import random
import re
import zipfile
from collections.abc import Iterator

from oracles.score_corpus import corpus_bytes

ABC = """%abc-2.1
X:1
T:Evening study
M:3/4
L:1/8
Q:1/4=80
K:D
"^IV"!1!D2 | (!3!A4 B2) | c>d e<f (3gfe | {/a}[D!2!A]4 z2 |: ^f-f f =f !open!d2 | "^sul G"G,2- G,2 [K:Gm] T_B2 :|
!thumb!a4 "^3-1"d'2 | !slide!g6 |]

X:2
T:Second
K:C clef=bass
L:1/4
C,D,E,F, | G,4 |
V:2
c4 | d4 |
"""
_NUMBERS = ("0", "-1", "99999999999", "1e309", "NaN", "0.3", "", "٣", "1/0", "٤٥", "-0", "4294967296", "x")
_NESTING = "<note>" * 200
_ODD_XML = (
    "<note/>", "<chord/>", "<grace/>", "<backup><duration>9999</duration></backup>", "<pitch/>", _NESTING,
    "<technical><string>9</string><fingering>1-2/3(4)</fingering></technical>", "<!-- -->", "<![CDATA[x]]>", "&amp;",
    "<transpose><chromatic>40</chromatic></transpose>", "<key><fifths>99</fifths></key>", "&lol;", "\x00", "\ud7ff",
    "<time><beats>0</beats><beat-type>0</beat-type></time>", "<harmonic><artificial/></harmonic>",
    "<forward><duration>1000000000</duration></forward>",
)  # fmt: skip
_ODD_ABC = (
    *"[]{}()\"!|:^_=<>-&'/%0zZyK~\n", "Z99999", "(9:9:9", "[K:", "A9999/", "||:", "M:0/4\n", "V:9\n", "X:1\n", "'" * 9,
)  # fmt: skip


def sources() -> dict[str, bytes]:
    """The whole files that are damaged, by name."""
    from truestop.adapters.score.container import unpack
    from truestop.adapters.score.midi_writing import write_midi
    from truestop.adapters.score.musicxml_writing import write_musicxml
    from truestop.adapters.score.reading import read_score

    packed = corpus_bytes("haydn/opus1no1/movement4.mxl")
    passage = read_score(packed, name="movement4.mxl", measures="1-12")
    own = write_musicxml(read_score(ABC.encode(), name="study.abc"))
    return {
        "corpus.mxl": packed,
        "corpus.musicxml": unpack(packed, name="corpus.mxl"),
        "own.musicxml": own,
        "short.musicxml": write_musicxml(passage),
        "study.abc": ABC.encode(),
        "study.mid": write_midi(passage),
    }


def damaged(count: int, *, seed: int) -> Iterator[tuple[str, bytes]]:
    """``count`` damaged files: name and contents."""
    chance = random.Random(seed)
    whole = sources()
    names = list(whole)
    for index in range(count):
        name = names[index % len(names)]
        data = whole[name]
        for _ in range(chance.choice((1, 1, 2, 5))):
            data = _damage(data, name, chance)
        yield name, data


def _damage(data: bytes, name: str, chance: random.Random) -> bytes:
    if name.endswith(".mxl") and chance.random() < 0.5:
        return _repacked(data, chance)
    if name.endswith(".musicxml") and chance.random() < 0.6:
        return _damaged_xml(data.decode("utf-8", "replace"), chance).encode("utf-8", "replace")
    if name.endswith(".abc") and chance.random() < 0.6:
        place = chance.randrange(len(data) + 1)
        return data[:place] + chance.choice(_ODD_ABC).encode() + data[place:]
    return _damaged_bytes(data, chance)


def _damaged_bytes(data: bytes, chance: random.Random) -> bytes:
    if not data:
        return b"\x00"
    first = chance.randrange(len(data))
    last = min(len(data), first + chance.choice((1, 1, 2, 8, 60, 500)))
    kind = chance.randrange(6)
    if kind == 0:
        return data[:first]
    if kind == 1:
        return data[:first] + data[last:]
    if kind == 2:
        return data[:first] + data[first:last] * chance.choice((2, 3, 40)) + data[last:]
    if kind == 3:
        return data[:first] + bytes(chance.randrange(256) for _ in range(last - first)) + data[last:]
    if kind == 4:
        return data[:first] + bytes([data[first] ^ (1 << chance.randrange(8))]) + data[first + 1 :]
    other = chance.randrange(len(data))
    return data[:first] + data[other : other + last - first] + data[last:]


def _damaged_xml(text: str, chance: random.Random) -> str:
    kind = chance.randrange(4)
    if kind == 0:
        numbers = list(re.finditer(r">(-?\d+)<", text))
        if numbers:
            match = chance.choice(numbers)
            return text[: match.start(1)] + chance.choice(_NUMBERS) + text[match.end(1) :]
    tags = list(re.finditer(r"<[^<>]*>", text))
    if not tags:
        return text
    tag = chance.choice(tags)
    if kind == 1:
        return text[: tag.end()] + chance.choice(_ODD_XML) + text[tag.end() :]
    if kind == 2:
        return text[: tag.start()] + text[tag.end() :]
    other = chance.choice(tags)
    return text[: tag.start()] + other[0] + text[tag.end() :]


def _repacked(data: bytes, chance: random.Random) -> bytes:
    out = io.BytesIO()
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
            for info in archive.infolist():
                member = archive.read(info)
                if chance.random() < 0.5:
                    member = _damaged_bytes(member, chance)
                if chance.random() < 0.95:
                    packed.writestr(info.filename, member)
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, RuntimeError, EOFError, zipfile.LargeZipFile):
        return _damaged_bytes(data, chance)
    except Exception as error:  # zlib.error has no public home before reading
        if type(error).__name__ != "error":
            raise
        return _damaged_bytes(data, chance)
    return out.getvalue()
