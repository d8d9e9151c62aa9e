"""Steady pitches against the Cramér–Rao bound, and open strings against known and foreign pitches.

    python -m benchmarks.tune_up [--write]

The bound is that of the harmonic model in white noise: var ω ≥ 24 σ² / (N (N² − 1) Σ k² A_k²). A stretch of 120 ms, at
44.1 kHz, amplitudes 1/k, phases and detuning drawn; each figure is the RMS error over the bound, known to about 7 %.
Below about ten periods a stretch is too short for the formula itself, which then promises too much.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import parselmouth
from benchmarks.one_thread import on_one_thread
from benchmarks.recorded_notes import RATE_HZ, STEADY, bent, labelled_midi, recorded_note

from truestop.domain.instrument import make_instrument
from truestop.domain.pitch import equal_hz
from truestop.listening.strings import measure_open_strings, measure_steady
from truestop.sounding.bowed import bow_envelope, sound_string

ACCURACY = Path(__file__).parent.parent / "docs" / "accuracy.md"
BEGIN, END = "<!-- tune-up: begin -->", "<!-- tune-up: end -->"
PITCHES_HZ = (98.0, 196.0, 440.0, 1318.5)
SNRS_DB = (0, 10, 30)
TRIES = 100


def cents(hz: float, reference_hz: float) -> float:
    """Cents above the reference."""
    return float(1200.0 * np.log2(hz / reference_hz))


def over_the_bound(hz: float, snr_db: float, *, stretch_s: float = 0.12) -> float:
    """RMS error of the least-squares estimate in bounds."""
    rng, n = np.random.default_rng([int(hz), snr_db]), int(stretch_s * RATE_HZ)
    k = np.arange(1, max(2, min(10, int(8000 / hz))) + 1)
    amplitudes, t = 1.0 / k, np.arange(n) / RATE_HZ
    noise = np.sum(amplitudes**2) / 2.0 / 10.0 ** (snr_db / 10.0)
    errors = []
    for _ in range(TRIES):
        true_hz = hz * 2.0 ** (rng.uniform(-30, 30) / 1200)
        phases = rng.uniform(0, 2 * np.pi, len(k))
        tone = np.cos(2 * np.pi * true_hz * np.outer(t, k) + phases) @ amplitudes
        found = measure_steady(tone + np.sqrt(noise) * rng.standard_normal(n), RATE_HZ, hz)
        errors.append(cents(found.hz, true_hz) if found else 100.0)
    omega = np.sqrt(24.0 * noise / (n * (n**2 - 1.0) * np.sum((k * amplitudes) ** 2)))
    return float(np.sqrt(np.mean(np.square(errors))) / (omega * RATE_HZ / (2 * np.pi * hz) * 1200 / np.log(2)))


def synthetic_tune_up(family: str, *, snr_db: float) -> list[float]:
    """Errors in cents of all four strings, detuned by −30…30 cents, three times."""
    strings = [equal_hz(pitch.midi) for pitch in make_instrument(family).strings]
    rng, errors = np.random.default_rng(1), []
    for _ in range(3):
        offsets = rng.uniform(-30, 30, len(strings))
        n = int(1.5 * RATE_HZ)
        level = bow_envelope(n, sample_rate_hz=RATE_HZ)
        notes = [
            sound_string(
                np.full(n, hz * 2 ** (off / 1200)), sample_rate_hz=RATE_HZ, family=family, level=level, rng=rng
            )
            for hz, off in zip(strings, offsets, strict=True)
        ]
        sound = np.concatenate([part for note in notes for part in (note, np.zeros(RATE_HZ // 3))])
        sound = sound + 0.1 * 10 ** (-snr_db / 20) * rng.standard_normal(len(sound))
        heard = {reading.string: reading.cents for reading in measure_open_strings(sound, RATE_HZ, strings)}
        errors += [heard.get(number, 1e3) - off for number, off in enumerate(offsets, 1)]
    return errors


def recorded_strings() -> list[tuple[str, float, float]]:
    """Recorded notes bent straight at +9 cents of a string tuned to them: our error, and Praat's."""
    found = []
    for source in ("violin", "cello", "bass"):
        for stem in STEADY[source]:
            hz = equal_hz(labelled_midi(stem))
            note = recorded_note(source, stem)
            sound = bent(
                note,
                np.full(int(min(1.4, 0.6 * len(note.samples) / RATE_HZ) * RATE_HZ), hz * 2 ** (9 / 1200)),
                begin=2000,
            )
            heard = measure_open_strings(sound, RATE_HZ, (hz,))
            pitch = parselmouth.Sound(sound, RATE_HZ).to_pitch_ac(pitch_floor=0.6 * hz, pitch_ceiling=1.6 * hz)
            praat = pitch.selected_array["frequency"]
            ours = heard[0].cents - 9.0 if heard else float("nan")
            found.append((f"{source} {stem}", ours, cents(float(np.median(praat[praat > 0])), hz) - 9.0))
    return found


def report() -> str:
    """The section of docs/accuracy.md."""
    return "\n".join([*_bound_table(), *_tune_up_table(), *_recorded_lines()])


def _bound_table() -> list[str]:
    lines = [
        "## Steady pitches and open strings", "", "`python -m benchmarks.tune_up --write`", "",
        "Least squares on the harmonic model, 120 ms in white noise, RMS error over the Cramér–Rao bound",
        f"({TRIES} tries each, so ± 7 %):", "",
        "| Hz | " + " | ".join(f"{snr} dB" for snr in SNRS_DB) + " |", "|---|" + "---|" * len(SNRS_DB),
    ]  # fmt: skip
    rows = ([f"{hz:g}", *(f"{over_the_bound(hz, snr):.2f}" for snr in SNRS_DB)] for hz in PITCHES_HZ)
    return [*lines, *(f"| {' | '.join(row)} |" for row in rows)]


def _tune_up_table() -> list[str]:
    lines = ["", "Tune-ups on the synthesiser, strings up to 30 cents off, largest error in cents (1000: unheard):", "",
             "| instrument | 40 dB | 20 dB |", "|---|---|---|"]  # fmt: skip
    for family in ("violin", "viola", "cello", "bass"):
        worst = [max(np.abs(synthetic_tune_up(family, snr_db=snr))) for snr in (40, 20)]
        lines.append(f"| {family} | {worst[0]:.2f} | {worst[1]:.2f} |")
    return lines


def _recorded_lines() -> list[str]:
    recorded = recorded_strings()
    ours, praat = (np.array([row[i] for row in recorded]) for i in (1, 2))
    heard = np.isfinite(ours)
    missed = ", ".join(row[0] for row, ok in zip(recorded, heard, strict=True) if not ok) or "none"
    both = [(np.abs(errors).mean(), np.abs(errors).max()) for errors in (ours[heard], praat)]
    return [
        "", f"Recorded notes bent to a known pitch ({len(recorded)} notes; about 0.3 cent is the truth's own error):",
        f"mean absolute error {both[0][0]:.2f} cents, largest {both[0][1]:.2f}; praat-parselmouth on the same notes",
        f"{both[1][0]:.2f}, largest {both[1][1]:.2f}. Not heard as a steady string: {missed}.",
    ]  # fmt: skip


def main() -> None:
    """Print the section, or put it into docs/accuracy.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    write = parser.parse_args().write
    text = report()
    print(text)
    if write:
        page = ACCURACY.read_text(encoding="utf-8")
        section = f"{BEGIN}\n{text}\n{END}\n"
        if BEGIN in page:
            before, after = page.split(BEGIN)[0], page.split(END)[1].lstrip("\n")
            ACCURACY.write_text(before + section + after, encoding="utf-8")
        else:
            ACCURACY.write_text(page.rstrip("\n") + "\n\n" + section, encoding="utf-8")


if __name__ == "__main__":
    on_one_thread("benchmarks.tune_up")
    main()
