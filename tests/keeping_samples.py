"""Cards, takes and attempts for the tests of the record. People and music are invented."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from truestop.app.ports import Draft
from truestop.domain.attempt import Attempt, NoteLanding, Target, Verdict, Vibrato
from truestop.domain.fingerboard import cents_to_mm
from truestop.domain.pitch import Pitch
from truestop.domain.record import KeptTake, PassageCard, Player, ShiftCard

PLAYER = Player(key="mira", name="Mira Tolland")
PASSAGE = PassageCard(key="ferry-song-1", title="Ferry Song", instrument="violin", source="ferry.musicxml")


def instant(day: int, hour: float = 10.0, month: int = 3) -> float:
    """Seconds since 1970 of an hour of a day in 2026, UTC."""
    return datetime(2026, month, day, tzinfo=UTC).timestamp() + 3600.0 * hour


def shift_card(number: int = 1, **changes: Any) -> ShiftCard:
    """A shift on the violin's E string, first to third position."""
    values: dict[str, Any] = {
        "key": f"s{number}", "passage": PASSAGE.key, "number": number, "measure": str(number), "direction": "up",
        "relation": "same", "crossing": False, "cover": "none", "interval": "+m3", "departure_pitch": "F#5",
        "departure_finger": "1", "departure_string": 1, "departure_place": 2, "arrival_pitch": "A5",
        "arrival_finger": "1", "string": 1, "place": 5, "from_position": "1st", "to_position": "3rd",
        "guide_finger": "1", "travel_mm": 46.5, "length_mm": 328.0,
    }  # fmt: skip
    return ShiftCard(**(values | changes))


def attempt(
    shift: str = "s1", *, stage: str = "plain", start_s: float = 1.0, verdict: str = "true", **changes: Any
) -> Attempt:
    """A judged attempt; ``landing_cents`` also sets mm."""
    landing = changes.pop("landing_cents", 4.25)
    target = Target(pitch=Pitch.parse("A5"), hz=880.0, system="pythagorean", reference="A4 = 440 Hz", string=1, place=5)
    values: dict[str, Any] = {
        "shift": shift, "stage": stage, "start_s": start_s, "end_s": start_s + 1.5, "departure_s": start_s + 0.5,
        "arrival_s": start_s + 0.7, "target": target, "verdict": Verdict(verdict), "faults": (),
        "landing_cents": landing, "landing_se_cents": 0.5,
        "landing_mm": None if landing is None else cents_to_mm(landing, 5, 328.0),
        "departure_cents": -1.5, "departure_se_cents": 0.6, "interval_error_cents": 5.75,
        "interval_error_se_cents": 0.78, "settled_cents": 4.0, "correction_cents": 0.0, "overshoot_cents": 1.0,
        "slide_s": 0.2, "vibrato": Vibrato(present=True, rate_hz=5.5, extent_cents=18.0), "timing_s": None,
        "trace_s": (start_s, start_s + 0.5, start_s + 1.0), "trace_cents": (-300.0, -12.5, 4.25),
    }  # fmt: skip
    return Attempt(**(values | changes))


def double_stop_notes() -> tuple[NoteLanding, NoteLanding]:
    """A true lower note and an upper one that was not judged."""
    lower, upper = (Target(pitch=Pitch.parse(name), hz=hz, system="just", reference=None, string=string, place=5)
                    for name, hz, string in (("C#5", 550.0, 2), ("A5", 880.0, 1)))  # fmt: skip
    return (
        NoteLanding(target=lower, verdict=Verdict.HIGH, faults=("high", "moved away"), borderline=True, arrival_s=1.7,
                    landing_cents=20.123456789012345, landing_se_cents=0.6, landing_mm=1.1, interval_error_cents=-2.0,
                    settled_cents=26.5, correction_cents=6.4, overshoot_cents=0.0,
                    vibrato=Vibrato(present=True, rate_hz=5.5, extent_cents=18.0)),
        NoteLanding(target=upper, verdict=Verdict.UNJUDGED, reason="Covered, \"by\" the lower note’s."),
    )  # fmt: skip


def take(number: int, at_s: float, *, shift: str | None = "s1", player: str = PLAYER.key, **changes: Any) -> KeptTake:
    """A take of the passage; its number makes id and digest."""
    values: dict[str, Any] = {
        "id": f"take-{number}", "player": player, "passage": PASSAGE.key, "shift": shift, "recorded_at_s": at_s,
        "utc_offset_s": 0, "duration_s": 12.5, "sample_rate_hz": 44100, "sha256": f"{number:064x}",
    }  # fmt: skip
    return KeptTake(**(values | changes))


def drafts(*attempts: Attempt) -> list[Draft]:
    """Attempts on their way into the record."""
    return [Draft(attempt=one) for one in attempts]
