"""Scala files: the rules of the format, and every scale of an archive against a foreign reader (music21)."""

from pathlib import Path

import music21.scale.scala
import pytest

from truestop.domain.errors import PitchError
from truestop.domain.instrument import make_instrument
from truestop.domain.pitch import Pitch
from truestop.domain.tuning import make_intonation
from truestop.domain.tuning_scala import parse_scale

# The example in the public description of the format (huygens-fokker.org/scala/scl_format.html); from memory.
MEANTONE = """! meanquar.scl
!
1/4-comma meantone scale. Pietro Aaron's temperament (1523)
 12
!
 76.04900
 193.15686
 310.26471
 5/4
 503.42157
 579.47057
 696.57843
 25/16
 889.73529
 1006.84314
 1082.89214
 2/1
"""


def test_the_published_example():
    scale = parse_scale(MEANTONE, name="meanquar")
    assert scale.description.startswith("1/4-comma meantone")
    assert scale.cents[3] == pytest.approx(386.3137, abs=1e-4)
    assert scale.period_cents == 1200.0
    assert scale.degree_cents(0) == 0.0
    assert scale.degree_cents(12 + 4) == pytest.approx(1586.3137, abs=1e-4)
    assert scale.degree_cents(-12) == -1200.0


@pytest.mark.parametrize(
    ("line", "cents"),
    [("81/64", 407.82), (" 408.", 408.0), ("5", 2786.3137), ("-5.0", -5.0), ("10/20", -1200.0), ("100.0 cents", 100.0),
     ("\t100.0 C#", 100.0), ("5/4   E\\", 386.3137)],
)  # fmt: skip
def test_valid_pitch_lines(line, cents):
    assert parse_scale(f"x\n1\n{line}\n", name="x").cents[0] == pytest.approx(cents, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "words"),
    [("", "ends before"), ("x\nmany\n", "line 2: 'many' is not a number"), ("x\n2\n3/2\n", "2 notes and gives 1"),
     ("x\n1\n-3/2\n", "not above zero"), ("x\n1\n3/0\n", "not above zero"), ("x\n1\nabc\n", "neither a ratio nor"),
     ("x\n99999\n", "99999 notes"), ("x\n1\n1234567.0\n", "line 3: 1234567.0 cents")],
)  # fmt: skip
def test_what_cannot_be_read_names_its_line(text, words):
    with pytest.raises(PitchError, match=words):
        parse_scale(text, name="x")


def archive():
    folder = Path(music21.scale.scala.__file__).parent / "scl"
    files = sorted(folder.glob("*.scl"))
    assert len(files) > 3000
    return files[::40]


@pytest.mark.parametrize("file", archive(), ids=lambda file: file.name)
def test_archive_scales_read_as_a_foreign_reader_reads_them(file):
    text = file.read_text(encoding="latin-1")
    foreign = music21.scale.scala.ScalaData(text, file.name)
    foreign.parse()
    scale = parse_scale(text, name=file.stem)
    assert scale.cents == pytest.approx([pitch.cents for pitch in foreign.pitchValues], abs=1e-4)


def test_targets_lie_on_the_scale_above_a():
    intonation = make_intonation("", scale=parse_scale(MEANTONE, name="meanquar"), instrument=make_instrument("violin"))
    target = intonation.target(Pitch.parse("C#5"), string=2, place=4)
    assert target.hz == pytest.approx(440.0 * 5 / 4)
    assert target.system == "meanquar"
    assert intonation.target(Pitch.parse("E4"), string=3, place=2).hz == pytest.approx(220.0 * 2 ** (696.57843 / 1200))


def test_scales_of_other_sizes_are_refused():
    scale = parse_scale("x\n7\n9/8\n5/4\n4/3\n3/2\n5/3\n15/8\n2/1\n", name="x")
    with pytest.raises(PitchError, match="7 notes"):
        make_intonation("", scale=scale, instrument=make_instrument("violin"))
