"""Every reference tone heard from outside: pitch by Praat, loudness by libebur128, clicks counted.

Run ``python benchmarks/tones.py`` for the table of docs/accuracy.md; ``--write`` puts it there. Every kind of shift of
every instrument sounds its arrival, interval, guide path and phrase, in four tuning systems and four reference
pitches in turn, every other one with its arrivals moved on purpose; then shifts at the ends of the range down to a
five-string bass, and drones. What should sound is worked out apart from the renderer
(``tests/oracles/tone_hearing.py``); Praat's own uncertainty is its error on exact sines and sawtooths of the same pitch
and length.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import cycle
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests"), str(ROOT / "benchmarks")]

import pyebur128  # noqa: E402

from oracles.tone_hearing import (  # noqa: E402
    Heard,
    bends,
    click_onsets_s,
    closed_form_hz,
    hear,
    loudness_lufs,
    sung,
)
from tables import replace_section, table  # noqa: E402
from truestop.adapters.score.typed_entry import read_typed  # noqa: E402
from truestop.app.mainjob import InHand, Setup, take_in_hand  # noqa: E402
from truestop.app.tones import RenderedTones, TonesWanted, make_tones  # noqa: E402
from truestop.domain.drill.specimens import GROUNDS, kinds_of, make_specimen  # noqa: E402
from truestop.domain.shift import Relation  # noqa: E402

PAGE = ROOT / "docs" / "accuracy.md"
BPM = 60.0
#: Tuning systems and reference pitches, taken in turn; the measured strings are up to 14 cents off.
SYSTEMS = ("equal", "pythagorean", "just", "strings")
A4S_HZ = (415.0, 440.0, 442.0, 466.0)
OFF_CENTS = (0.0, -35.0, 0.0, 18.0, 0.0, 7.5, 0.0, -12.0)
STRING_CENTS = (9.0, 0.0, -14.0, 5.0, -7.0)
KINDS = ("arrival", "interval", "guide")
DRONES = ("tonic", "fifth", "open")
LOW_DRONES = ("B0", "C1", "E1", "F#1", "A#1")
#: The ends of the range, in the words of the command line; the bass has five strings.
FAR = {
    "violin": ("I 2 A6 > I 2 C7", "I 1 F5 > I 4 B6", "IV 1 A3 > IV 3 E4"),
    "viola": ("IV 1 D3 > IV 3 A3", "I 1 B4 > I 3 C6"),
    "cello": ("IV 1 D2 > IV 4 A2", "I 1 E4 > I 3 A5"),
    "bass": ("V 1 C1 > V 4 F1", "V 1 C#1 > V 1 E1", "IV 1 F1 > IV 1 Bb1", "IV 4 G#1 > IV 1 F1"),
}
FIVE_STRINGS = {"bass": "five-b"}


@dataclass(slots=True)
class Findings:
    """What was heard of one instrument."""

    heard: list[Heard] = field(default_factory=list)
    lufs: list[float] = field(default_factory=list)
    lufs_apart: list[float] = field(default_factory=list)
    peaks_db: list[float] = field(default_factory=list)
    bends: list[float] = field(default_factory=list)
    starts_db: list[float] = field(default_factory=list)
    clicks_ms: list[float] = field(default_factory=list)
    unheard: int = 0
    """Pitches of double stops in one another's overtones, which no tracker parts."""


def setups(family: str) -> Iterator[Setup]:
    """One setup after another, every system with every reference pitch in turn."""
    turns = [(system, a4_hz) for shift in range(4) for system, a4_hz in zip(SYSTEMS, A4S_HZ[shift:] + A4S_HZ[:shift])]
    for system, a4_hz in cycle(turns):
        yield Setup(family=family, system=system, a4_hz=a4_hz)


def with_strings(setup: Setup, in_hand: InHand) -> Setup:
    """The setup with measured strings, where the system asks for them."""
    if setup.system != "strings":
        return setup
    pitches = in_hand.instrument.strings
    hz = [closed_form_hz(pitch, system="pythagorean", a4_hz=setup.a4_hz) for pitch in pitches]
    measured = tuple(value * 2.0 ** (cents / 1200.0) for value, cents in zip(hz, STRING_CENTS, strict=False))
    return replace(setup, open_strings_hz=measured)


def listen(findings: Findings, in_hand: InHand, wanted: TonesWanted) -> None:
    """Render and hear everything wanted."""
    rendered = make_tones(in_hand, wanted)
    notes = list(sung(in_hand, rendered, wanted.bpm or BPM))
    for note in notes:
        if parted(note.notes_hz):
            findings.heard.extend(hear(rendered, note))
        else:
            findings.unheard += len(note.notes_hz)
    everywhere, inside = bends(rendered, notes)
    findings.bends.append(everywhere / inside)
    measure_level(findings, rendered)


def parted(notes_hz: tuple[float, ...]) -> bool:
    """Whether no note's fundamental lies on another's overtone."""
    low, *others = sorted(notes_hz)
    return all(abs(hz / low - round(hz / low)) > 0.06 for hz in others)


def measure_level(findings: Findings, rendered: RenderedTones) -> None:
    """Loudness, true peak, and the start's level below the whole."""
    samples, rate = rendered.samples.astype(np.float32), rendered.sample_rate_hz
    mode = pyebur128.MeasurementMode.MODE_I | pyebur128.MeasurementMode.MODE_TRUE_PEAK
    state = pyebur128.R128State(1, rate, mode)
    state.add_frames(samples, len(samples))
    lufs = pyebur128.get_loudness_global(state)
    findings.lufs.append(lufs)
    findings.lufs_apart.append(loudness_lufs(samples, rate) - lufs)
    findings.peaks_db.append(20 * np.log10(pyebur128.get_true_peak(state, 0)))
    sounding = samples[np.abs(samples) > 1e-4].astype(float)
    first = samples[: round(0.3 * rate)].astype(float)
    findings.starts_db.append(10 * np.log10(np.mean(first**2) / np.mean(sounding**2)))


def listen_to_clicks(findings: Findings, in_hand: InHand, bpm: float) -> None:
    """A count-in and four measures of clicks: how far each begins from its beat."""
    rendered = make_tones(in_hand, TonesWanted(kinds=("clicks",), bpm=bpm))
    onsets = click_onsets_s(rendered.samples, rendered.sample_rate_hz)
    beats = np.arange(len(onsets)) * 60.0 / bpm
    assert len(onsets) == 5 * in_hand.fingered.passage.measures[0].beats
    findings.clicks_ms.extend(1000.0 * (onsets - beats))


def hear_family(family: str) -> Findings:
    """Every kind of shift of an instrument, its drones and its clicks."""
    findings, turn = Findings(), setups(family)
    for index, kind in enumerate(kinds_of(family)):
        if kind.relation is Relation.TO_OPEN:
            continue
        passage = make_specimen(family, kind).fingered.passage
        setup = next(turn)
        in_hand = take_in_hand(passage, with_strings(setup, take_in_hand(passage, setup)))
        off_cents = OFF_CENTS[index % len(OFF_CENTS)]
        listen(findings, in_hand, TonesWanted(kinds=KINDS, shifts=(1,), off_cents=off_cents, bpm=BPM))
        if setup.system in ("equal", "pythagorean"):
            listen(findings, in_hand, TonesWanted(kinds=("phrase",), click=False, bpm=BPM))
    for words in FAR[family]:
        for off_cents in (0.0, -25.0):
            setup = replace(next(turn), strings=FIVE_STRINGS.get(family))
            passage = read_typed(words, family=family)
            in_hand = take_in_hand(passage, with_strings(setup, take_in_hand(passage, setup)))
            listen(findings, in_hand, TonesWanted(kinds=KINDS, shifts=(1,), off_cents=off_cents))
    for drone in (*DRONES, *(LOW_DRONES if family == "bass" else ())):
        listen(findings, in_hand, TonesWanted(kinds=("drone",), drone=drone))
    for bpm in (40.0, 72.0, 132.0, 208.0):
        listen_to_clicks(findings, in_hand, bpm)
    return findings


def rows(family: str, findings: Findings) -> Iterator[list[str]]:
    """One row for every kind of tone."""
    for kind in ("arrival", "interval", "guide", "phrase", "drone"):
        heard = [each for each in findings.heard if each.kind == kind]
        hz = [each.target_hz for each in heard]
        off = [abs(each.off_cents) for each in heard]
        share = max(abs(each.off_cents) / each.uncertainty_cents for each in heard)
        within = sum(each.within for each in heard)
        yield [family, kind, f"{len(heard)}", f"{min(hz):.0f}–{max(hz):.0f}", f"{np.median(off):.4f}",
               f"{max(off):.4f}", f"{max(each.uncertainty_cents for each in heard):.4f}", f"{share:.2f}",
               f"{within} of {len(heard)}"]  # fmt: skip


def report() -> list[str]:
    """The section of the page."""
    found = {family: hear_family(family) for family in GROUNDS}
    heads = ["instrument", "tone", "pitches", "Hz", "median off, cents", "largest", "Praat’s largest uncertainty",
             "largest share of it", "within"]  # fmt: skip
    pitch = table(heads, [row for family, findings in found.items() for row in rows(family, findings)])
    heads = ["instrument", "sounds", "LUFS", "own meter minus libebur128", "highest true peak, dBTP",
             "first 0.3 s under the whole, dB", "bend", "clicks", "off the beat, ms"]  # fmt: skip
    level = table(heads, [
        [family, f"{len(each.lufs)}", f"{min(each.lufs):.2f} to {max(each.lufs):.2f}",
         f"{min(each.lufs_apart):+.2f} to {max(each.lufs_apart):+.2f}", f"{max(each.peaks_db):.1f}",
         f"{max(each.starts_db):.0f}", f"{max(each.bends):.2f}", f"{len(each.clicks_ms)}",
         f"{min(each.clicks_ms):+.2f} to {max(each.clicks_ms):+.2f}"]
        for family, each in found.items()
    ])  # fmt: skip
    unheard = sum(each.unheard for each in found.values())
    about = ABOUT.format(unheard=unheard).split("\n")
    return ["## Reference tones", "", "`python benchmarks/tones.py --write`", "", *about, "", *pitch, "", *level]


ABOUT = """Every kind of shift sounded and heard from outside: Praat (accurate autocorrelation, search range set by the
note) for pitch, libebur128 for loudness and true peak. Targets are worked out apart from the renderer for *equal* and
*pythagorean*. Praat’s uncertainty at a pitch is its largest error on an exact sine, sawtooth, and sawtooth with a weak
fundamental of that pitch and length, plus 0.001 cent; *share* is the largest difference over it. {unheard} pitches of
double stops lie on one another’s overtones, so that no tracker parts them. *Bend*: the largest second difference of the
sound over the largest inside its steady tones; a click would be a bend that the tones have not."""


def main() -> None:
    """Measure, print, and with ``--write`` renew the section of docs/accuracy.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    lines = report()
    print("\n".join(lines))
    if options.write:
        replace_section(PAGE, "tones", lines)


if __name__ == "__main__":
    main()
