"""Takes with known truth, judged whole and in blocks."""

import dataclasses
import math

import numpy as np
import pytest

from listening.sounds import SILENCE, bowed, corrected_path, expect, overshot_path, plain_path, stop, vibrato_path
from truestop.domain.attempt import Verdict
from truestop.listening.judging import DepartureHeard, LandingFinal, Listener, SoundState, VerdictFinal, judge_take
from truestop.listening.landing import Landing, measure_landing
from truestop.listening.notes import in_doubt
from truestop.listening.resting import Travel
from truestop.listening.wording import REASONS

E5_HZ = 659.2551

PATHS = {
    "true": (plain_path(500, 4), Verdict.TRUE, 4.0),
    "high": (plain_path(500, 25), Verdict.HIGH, 25.0),
    "low": (plain_path(500, -28), Verdict.LOW, -28.0),
    "corrected": (corrected_path(-30, 0), Verdict.CORRECTED, -30.0),
    "corrected inside": (corrected_path(15, 0), Verdict.CORRECTED, 15.0),
    "vibrato": (vibrato_path(3, 25), Verdict.TRUE, 3.0),
    "overshot": (overshot_path(2, 30), Verdict.TRUE, 2.0),
    "wrong note": (plain_path(500, -100), Verdict.WRONG_NOTE, -100.0),
    "fast": (plain_path(500, 3, slide_ms=60), Verdict.TRUE, 3.0),
    "slow": (plain_path(500, 3, slide_ms=900), Verdict.TRUE, 3.0),
}


def take(paths, target_hz=E5_HZ, **more):
    """One take of several attempts with silence between."""
    return bowed(np.concatenate([part for path in paths for part in (SILENCE, path)] + [SILENCE]), target_hz, **more)


@pytest.fixture(scope="module")
def long_take():
    return take([path for path, _, _ in PATHS.values()], noise_db=35)


def listen(sound, expectation, block, rate_hz=44100):
    listener = Listener(expectation, rate_hz)
    events = [event for a in range(0, len(sound), block) for event in listener.feed(sound[a : a + block])]
    return events + listener.finish()


def test_every_kind_of_attempt_gets_its_word(long_take):
    attempts = judge_take(long_take, 44100, expect())
    assert [attempt.verdict for attempt in attempts] == [verdict for _, verdict, _ in PATHS.values()]
    for attempt, (name, (_, _, landing)) in zip(attempts, PATHS.items(), strict=True):
        assert attempt.landing_cents == pytest.approx(landing, abs=1.5 if name in ("vibrato", "slow") else 0.3), name
        assert attempt.reason is None
        assert attempt.interval_error_cents == pytest.approx(landing, abs=4.0 if name == "slow" else 2.0)


def test_the_numbers_of_one_attempt(long_take):
    attempt = judge_take(long_take, 44100, expect())[3]
    assert attempt.correction_cents == pytest.approx(30.0, abs=0.5)
    assert attempt.faults == ("corrected", "low")
    assert attempt.landing_mm == pytest.approx(-3.79, abs=0.05)
    assert 0.1 < attempt.slide_s < 0.15
    assert len(attempt.trace_s) == len(attempt.trace_cents) > 100


def attempts_of(events):
    return tuple(event.attempt for event in events if isinstance(event, VerdictFinal))


@pytest.fixture(scope="module")
def streamed(long_take):
    return listen(long_take, expect(), 1000)


@pytest.mark.parametrize("block", [1, 64, 44100])
def test_blocks_of_any_size_give_identical_attempts(long_take, streamed, block):
    assert attempts_of(listen(long_take, expect(), block)) == attempts_of(streamed)


def test_a_stream_gives_the_same_attempts_as_the_file(long_take, streamed):
    same_attempts(attempts_of(streamed), judge_take(long_take, 44100, expect()))


def same_attempts(some, others):
    """Equal but for the rounding of single precision, which depends on how many frames are worked out at once."""
    assert [attempt.verdict for attempt in some] == [attempt.verdict for attempt in others]
    for one, other in zip(some, others, strict=True):
        for field in dataclasses.fields(one):
            a, b = getattr(one, field.name), getattr(other, field.name)
            if field.name.startswith("trace"):
                shorter = min(len(a), len(b))
                assert abs(len(a) - len(b)) <= 4
                assert a[:shorter] == pytest.approx(b[:shorter], abs=0.011)
            elif isinstance(a, float):
                assert a == pytest.approx(b, abs=0.021), field.name
            elif field.name != "vibrato":
                assert a == b, field.name
        assert one.vibrato.present == other.vibrato.present


def test_single_samples_give_the_same_attempt():
    sound = take([plain_path(500, 4, before_ms=150, after_ms=300)], rate_hz=16000)
    whole = judge_take(sound, 16000, expect())
    events = listen(sound, expect(), 1, 16000)
    same_attempts(attempts_of(events), whole)
    assert len(whole) == 1


def test_a_landing_is_final_in_time_and_stays(long_take):
    events = listen(long_take, expect(), 441)
    told = [event for event in events if isinstance(event, LandingFinal)]
    final = [event for event in events if isinstance(event, VerdictFinal)]
    assert len(told) == len(final) == len(PATHS)
    for event, verdict, name in zip(told, final, PATHS, strict=True):
        assert event.landing_cents == pytest.approx(verdict.attempt.landing_cents, abs=1e-3)
        assert event.at_s <= verdict.at_s
        if "vibrato" not in name:
            assert event.at_s - event.rest_s <= 0.25


def test_no_mark_is_drawn_where_the_attempt_could_not_be_judged():
    trembling = plain_path(500, 7, after_ms=900)
    trembling[650:] += 4.0 * np.sin(2 * np.pi * 15.0 * np.arange(900) / 1000.0)
    events = listen(take([trembling, plain_path(500, 7)]), expect(), 441)
    unsteady, steady = (event for event in events if isinstance(event, VerdictFinal))
    assert (unsteady.attempt.reason, steady.attempt.reason) == (REASONS["unsteady"], None)
    assert unsteady.attempt.landing_cents is not None
    (mark,) = (event for event in events if isinstance(event, LandingFinal))
    assert mark.at_s > unsteady.at_s


def test_the_sound_is_reported_while_it_comes(long_take, streamed):
    events = streamed
    states = [event for event in events if isinstance(event, SoundState)]
    assert len(states) > 5 * len(long_take) / 44100
    assert all(math.isfinite(state.level_db) for state in states)
    assert any(state.heard for state in states)
    assert not all(state.heard for state in states)
    assert any(isinstance(event, DepartureHeard) for event in events)


@pytest.mark.parametrize("rate_hz", [8000, 16000, 22050, 48000, 96000, 192000])
def test_any_usual_rate_will_do(rate_hz):
    attempts = judge_take(take([plain_path(500, 13)], rate_hz=rate_hz), rate_hz, expect())
    assert [attempt.verdict for attempt in attempts] == [Verdict.TRUE]
    assert attempts[0].landing_cents == pytest.approx(13.0, abs=0.2)


def test_timing_counts_from_the_nearest_click():
    sound = take([plain_path(500, 2)])
    arrival_s = judge_take(sound, 44100, expect())[0].arrival_s
    late = judge_take(sound, 44100, expect(beats_s=(arrival_s - 0.1, arrival_s + 2.0)))[0]
    assert late.verdict is Verdict.LATE
    assert late.timing_s == pytest.approx(0.1, abs=1e-3)
    early = judge_take(sound, 44100, expect(beats_s=(arrival_s + 0.09,)))[0]
    assert early.verdict is Verdict.EARLY
    in_time = judge_take(sound, 44100, expect(beats_s=(arrival_s + 0.03,)))[0]
    assert in_time.verdict is Verdict.TRUE


def test_the_limit_is_borderline_within_its_standard_error():
    assert judge_take(take([plain_path(500, 19.8)]), 44100, expect())[0].borderline
    assert not judge_take(take([plain_path(500, 17.0)]), 44100, expect())[0].borderline


def test_downward_shifts_and_the_way_back():
    down = judge_take(take([-plain_path(500, 26, slide_ms=200)], 493.88), 44100, expect("E5", "B4"))
    assert [attempt.verdict for attempt in down] == [Verdict.LOW]
    there_and_back = np.concatenate([plain_path(500, 3, after_ms=900), plain_path(500, 3, slide_ms=200)[650::-1]])
    attempts = judge_take(take([there_and_back, there_and_back]), 44100, expect())
    assert [attempt.verdict for attempt in attempts] == [Verdict.TRUE, Verdict.TRUE]


def test_nothing_is_made_of_what_is_no_attempt():
    random = np.random.default_rng(5)
    held = bowed(np.full(2000, -500.0), E5_HZ)
    for sound in (
        np.zeros(0, np.float32),
        np.zeros(50000, np.float32),
        (0.2 * random.standard_normal(90000)).astype(np.float32),
        held,
        bowed(np.full(2000, 0.0), E5_HZ),
        take([plain_path(500, 0)], 220.0),
    ):
        assert judge_take(sound, 44100, expect()) == ()


def test_an_overdriven_arrival_is_not_judged():
    sound = np.clip(12.0 * take([plain_path(500, 2)]), -1, 1).astype(np.float32)
    attempt = judge_take(sound, 44100, expect())[0]
    assert attempt.verdict is Verdict.UNJUDGED
    assert "overdriven" in attempt.reason


def test_no_number_is_ever_nan(long_take):
    broken = long_take.copy()
    broken[::5000] = np.nan
    for attempt in judge_take(broken, 44100, expect()):
        for field in dataclasses.fields(attempt):
            value = getattr(attempt, field.name)
            assert not (isinstance(value, float) and not math.isfinite(value)), field.name
        assert all(math.isfinite(cents) for cents in attempt.trace_cents)


def test_an_untidy_take_gives_its_attempts_and_no_others():
    scale = [np.full(250, cents) for cents in (-1200.0, -1000.0, -900.0, -700.0)]
    parts = [np.full(500, -500.0), *scale, plain_path(500, 4), SILENCE, np.full(400, 0.0), SILENCE]
    parts += [np.full(600, -500.0), SILENCE, SILENCE, plain_path(500, -27), SILENCE, np.linspace(-900, -650, 700)]
    sound = bowed(np.concatenate([part for one in parts for part in (SILENCE[:80], one)]), E5_HZ, noise_db=40)
    assert [attempt.verdict for attempt in judge_take(sound, 44100, expect())] == [Verdict.TRUE, Verdict.LOW]


@pytest.mark.parametrize(("departure", "arrival"), [("B4", "E5"), ("C3", "F3"), ("G2", "C3")])
@pytest.mark.parametrize("slide_ms", [80, 200])
def test_an_arrival_is_timed_as_its_path_is(departure, arrival, slide_ms):
    contour = plain_path(500.0, 4.0, slide_ms=slide_ms)
    sound = bowed(contour, stop(arrival).hz)
    heard = judge_take(sound, 44100, expect(departure, arrival))[0]
    true = measure_landing(contour, Travel(interval_cents=500.0, smoothing_ms=0.0))
    assert 1000.0 * heard.arrival_s == pytest.approx(true.arrival, abs=0.4)
    assert 1000.0 * heard.departure_s == pytest.approx(true.leaving, abs=0.7)


@pytest.mark.parametrize(("departure", "arrival"), [("B4", "E5"), ("C3", "F3"), ("G2", "C3")])
@pytest.mark.parametrize(("slide_ms", "within"), [(80, 2.5), (150, 0.6), (300, 0.4)])
def test_the_line_that_is_kept_is_the_slide_that_was_played(departure, arrival, slide_ms, within):
    contour = plain_path(500.0, 4.0, slide_ms=slide_ms)
    heard = judge_take(bowed(contour, stop(arrival).hz), 44100, expect(departure, arrival))[0]
    times_ms = 1000.0 * np.array(heard.trace_s)
    travelling = (times_ms > 500) & (times_ms < 500 + slide_ms)
    off = np.array(heard.trace_cents) - np.interp(times_ms, np.arange(len(contour)), contour)
    assert np.median(np.abs(off[travelling])) < within


@pytest.mark.parametrize(
    ("moved", "harmonics_se", "doubtful"), [(-16.0, 3.6, True), (-35.0, 3.6, False), (-8.0, 0.3, False)]
)
def test_a_small_correction_where_the_harmonics_disagree_is_in_doubt(moved, harmonics_se, doubtful):
    landing = Landing(landing_cents=40.0, correction_cents=moved, toward=True, window=(20, 100))
    travel = Travel(interval_cents=500.0, tracker_se_cents=np.full(900, harmonics_se))
    assert in_doubt(landing, travel) is doubtful
    assert not in_doubt(dataclasses.replace(landing, toward=False), travel)
