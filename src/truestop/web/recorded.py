"""The page's questions about the record: how shifts stand, pictures of it, takes to hear again or to delete.

Conventions: numbers come from ``app.progress``, pictures from ``app.pictures``; here they are only put into words.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from fastapi import APIRouter
from fastapi.responses import Response
from numpy.typing import NDArray

from truestop.app.keeping import USUAL_PLAYER, forget_take
from truestop.app.mainjob import InHand
from truestop.app.pictures import draw_diary, draw_landings, draw_share, draw_standing
from truestop.app.progress import PassageReport, report_of_passage
from truestop.app.sheet import choose_shifts
from truestop.domain.diagnosis import Diagnosis
from truestop.domain.errors import StoreError
from truestop.domain.fingerboard import cents_to_mm
from truestop.domain.progress import ShiftProgress
from truestop.domain.record import KeptAttempt, KeptTake, Outcome, passage_key
from truestop.domain.statistics import Landings, Share
from truestop.web.desk import RoomDesk
from truestop.web.takes import wave_header

View = dict[str, Any]
NARROWEST_MM, WIDEST_MM = 60, 200
LOW_MM, HIGH_MM, WIDEST_STANDING_MM = 26.0, 34.0, 120.0
MOST_DAYS = 30
DAYS_APART_MM = 8.0


def add_record(router: APIRouter, desk: RoomDesk) -> None:
    """Add the questions about the record."""

    @router.get("/passages/{passage}/progress")
    def progress(passage: str, wide: int = 120) -> View:
        in_hand, report = _report(desk, passage)
        found = {one.card.key: (one, diagnosis) for one, diagnosis in report.lines}
        rows = [(shift.number, *found[in_hand.key(shift)]) for shift in in_hand.way.shifts]
        return {
            "rows": [_view_progress(number, one, diagnosis) for number, one, diagnosis in rows],
            "standing": draw_standing([one for _, one, _ in rows], width_mm=_within(wide, WIDEST_STANDING_MM)).svg,
        }

    @router.get("/passages/{passage}/shifts/{number}/pictures")
    def pictures(passage: str, number: int, wide: int = 120) -> View:
        in_hand, report = _report(desk, passage)
        (shift,) = choose_shifts(in_hand.way, (number,))
        one = next(one for one, _ in report.lines if one.card.key == in_hand.key(shift))
        outcomes = desk.store.outcomes(player=USUAL_PLAYER.key, passage=report.progress.card.key)
        own = [each for each in outcomes if each.shift == one.card.key and each.counts]
        return _view_pictures(desk, one, own, _within(wide, WIDEST_MM))

    @router.get("/passages/{passage}/shifts/{number}/takes")
    def kept(passage: str, number: int) -> list[View]:
        in_hand = desk.in_hand(passage)
        (shift,) = choose_shifts(in_hand.way, (number,))
        key, back = in_hand.key(shift), in_hand.key(in_hand.way_back(shift))
        found = desk.store.takes(player=USUAL_PLAYER.key, passage=passage_key(in_hand.fingered.passage))
        views = (_view_take(take, desk.store.attempts_of(take.id), key, back) for take in reversed(found))
        return [view for view in views if view is not None]

    @router.get("/takes/{take}/sound")
    def sound(take: str, start: float = 0.0, end: float = 3600.0) -> Response:
        file = desk.store.take(take).file
        if file is None:
            raise StoreError("The sound of this take was not kept.", hint="Its verdicts are still in the record.")
        return wave_answer(*cut_sound(desk.shelf.path(file), start, end))

    @router.delete("/takes/{take}")
    def delete(take: str) -> View:
        forget_take(desk.store, desk.shelf, take)
        return {"deleted": True}


def _within(wide: float, widest_mm: float) -> float:
    """A width that the page asked for, in mm, within what a picture can be."""
    return float(max(NARROWEST_MM, min(widest_mm, wide)))


def _report(desk: RoomDesk, passage: str) -> tuple[InHand, PassageReport]:
    in_hand = desk.in_hand(passage)
    desk.keep_passage(in_hand)
    key = passage_key(in_hand.fingered.passage)
    return in_hand, report_of_passage(desk.store, player=USUAL_PLAYER.key, passage=key)


def cut_sound(path: Path, start_s: float, end_s: float) -> tuple[NDArray[np.float32], int]:
    """A stretch of a take, and its rate."""
    with soundfile.SoundFile(path) as file:
        rate = int(file.samplerate)
        first = max(0, min(file.frames, round(start_s * rate)))
        count = max(0, min(file.frames - first, round((end_s - start_s) * rate)))
        file.seek(first)
        return file.read(count, dtype="float32"), rate


def wave_answer(samples: NDArray[np.float32], sample_rate_hz: int = 44100) -> Response:
    """Mono samples as a WAV answer of 16 bits."""
    pcm = np.clip(np.round(samples * 32767.0), -32768, 32767).astype("<i2")
    return Response(wave_header(pcm.size, sample_rate_hz) + pcm.tobytes(), media_type="audio/wav")


def _view_progress(number: int, one: ShiftProgress, diagnosis: Diagnosis) -> View:
    progress = one.progress
    return {
        "number": number,
        "label": str(one.card.label),
        "attempts": progress.attempts,
        "standing": progress.tested.standing.value,
        "cold": _share(progress.cold),
        "warm": _share(progress.warm),
        "bias": _spread(progress.landing_mm, progress.landing_cents, "bias"),
        "spread": _spread(progress.landing_mm, progress.landing_cents, "spread"),
        "sentence": str(diagnosis.sentence),
        "exercise": str(diagnosis.exercise),
        "own_ear": "" if progress.own_ear is None else f"Own ear: right in {_share(progress.own_ear)}.",
        "stages": [{"stage": stage, "judged": judged, "true": true} for stage, judged, true in progress.practice],
    }


def _view_pictures(desk: RoomDesk, one: ShiftProgress, outcomes: Sequence[Outcome], width_mm: float) -> View:
    """Pictures of one shift, and the diary; an empty string where there is nothing to draw."""
    landed = [each for each in outcomes if each.landing_mm is not None]
    diary = desk.store.diary(player=USUAL_PLAYER.key)[-min(MOST_DAYS, int(width_mm / DAYS_APART_MM)) :]
    tolerance_mm = cents_to_mm(one.progress.tolerance_cents or 20.0, one.card.place, one.card.length_mm)
    landings = draw_landings(outcomes, tolerance_mm=tolerance_mm, width_mm=width_mm, height_mm=HIGH_MM)
    return {
        "landings": landings.svg if landed else "",
        "share": draw_share(outcomes, width_mm=width_mm, height_mm=LOW_MM).svg if outcomes else "",
        "diary": draw_diary(diary, width_mm=width_mm, height_mm=LOW_MM).svg if diary else "",
        "last": _spoken_landing(landed[-1]) if landed else "",
    }


def _spoken_landing(one: Outcome) -> str:
    return f"the last {one.landing_mm or 0.0:+.1f} mm from the place, {one.verdict.value}".replace("-", "−")


def _share(share: Share) -> str:
    return f"{share.true} of {share.judged}" if share.judged else "–"


def _spread(mm: Landings | None, cents: Landings | None, what: str) -> str:
    in_mm, in_cents = (getattr(each, what, None) for each in (mm, cents))
    if in_mm is None or in_cents is None:
        return "–"
    sign = "+" if what == "bias" else ""
    words = f"{round(in_mm, 1) + 0.0:{sign}.1f} mm, {round(in_cents) + 0.0:{sign}.0f} cents"
    return words.replace("-", "−")


def _view_take(take: KeptTake, attempts: Sequence[KeptAttempt], shift: str, back: str) -> View | None:
    """A take with its attempts at one shift, and at its way back where that was drilled with it; None where it has none
    and was not recorded for it."""
    own = [kept for kept in attempts if kept.attempt.shift in ((shift, back) if take.shift == shift else (shift,))]
    if not own and take.shift != shift:
        return None
    return {
        "take": take.id,
        "recorded_at_s": take.recorded_at_s,
        "duration_s": take.duration_s,
        "sound": take.file is not None,
        "others": len(attempts) - len(own),
        "attempts": [_view_kept(kept, back=kept.attempt.shift == back) for kept in own],
    }


def _view_kept(kept: KeptAttempt, *, back: bool) -> View:
    attempt = kept.attempt
    return {
        "id": kept.id,
        "stage": f"{attempt.stage}, back" if back else attempt.stage,
        "cold": kept.cold and not back,
        "verdict": attempt.verdict.value,
        "cents": attempt.landing_cents,
        "mm": attempt.landing_mm,
        "reason": attempt.reason,
        "own_ear": kept.own_ear,
        "start_s": attempt.start_s,
        "end_s": attempt.end_s,
        "tolerance_cents": attempt.tolerance_cents,
        "trace_s": list(attempt.trace_s),
        "trace_cents": list(attempt.trace_cents),
    }
