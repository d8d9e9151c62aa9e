"""The measure on simulated contours whose truth has a closed form.

Noise and smoothing as a tracker adds them: 0.5 cent of noise, a smoothing of 1 to 5 ms; bow wander 1.5 cents.
"""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from listening.sounds import corrected_path, glide, overshot_path, plain_path, vibrato_path
from truestop.listening.contour import band_edge, bridge, find_turns, first_rest, mean_between, slopes, smooth
from truestop.listening.landing import Landing, measure_landing, steadiness
from truestop.listening.resting import Travel
from truestop.listening.straightening import freed
from truestop.listening.vibrato import find_vibrato


def heard(contour, random, *, noise=0.5, sigma_ms=None, wander=0.0):
    """The contour as a tracker would give it."""
    sigma_ms = random.uniform(1, 5) if sigma_ms is None else sigma_ms
    rough = gaussian_filter1d(contour, sigma_ms, mode="nearest")
    rough = rough + noise * random.standard_normal(len(contour))
    drift = gaussian_filter1d(random.standard_normal(len(contour)), 60.0, mode="nearest")
    return rough + wander * drift / max(drift.std(), 1e-9)


def travel(interval=500.0, **more):
    return Travel(interval_cents=interval, **more)


@pytest.mark.parametrize("interval", [500.0, -500.0, 200.0, -900.0, 100.0])
@pytest.mark.parametrize("landing", [0.0, 14.0, -31.0])
def test_a_plain_landing_is_where_the_finger_rests(interval, landing):
    found = measure_landing(plain_path(interval, landing, departure=6.0), travel(interval))
    assert found.reason is None
    assert found.landing_cents == pytest.approx(landing, abs=0.05)
    assert found.departure_cents == pytest.approx(6.0, abs=0.05)
    assert found.correction_cents == 0.0
    assert found.vibrato is None


@pytest.mark.parametrize("sigma_ms", [3.0, 6.0, 9.0])
@pytest.mark.parametrize("slide_ms", [70, 150, 400])
def test_times_are_read_from_what_was_not_calmed(slide_ms, sigma_ms):
    """However much the tracker smooths, and whatever calming adds, the times are those of the path smoothed by 8 ms."""
    path = plain_path(600.0, 5.0, slide_ms=slide_ms)
    read, calm = (gaussian_filter1d(path, sigma, mode="nearest") for sigma in (sigma_ms, np.hypot(sigma_ms, 6.0)))
    true = measure_landing(path, travel(600.0, smoothing_ms=0.0))
    line = freed(read, sigma_ms)
    found = measure_landing(calm, travel(600.0, smoothing_ms=1.2 * sigma_ms, line_cents=line))
    assert found.arrival == pytest.approx(true.arrival, abs=0.2)
    assert found.leaving == pytest.approx(true.leaving, abs=0.2)


@pytest.mark.parametrize("slide_ms", [900, 1400, 2000])
@pytest.mark.parametrize("interval", [700.0, -500.0])
def test_the_end_of_a_slow_slide_is_no_rest_yet(interval, slide_ms):
    """Minimum jerk, 10u³ − 15u⁴ + 6u⁵ (Flash & Hogan 1985), creeps for a sixth of a second before it stands."""
    u = (np.arange(slide_ms) + 0.5) / slide_ms
    way = 10 * u**3 - 15 * u**4 + 6 * u**5
    path = np.concatenate([np.full(500, -interval), -interval * (1 - way) + 12.0 * way, np.full(800, 12.0)])
    found = measure_landing(path, travel(interval))
    assert found.landing_cents == pytest.approx(12.0, abs=1.0)
    assert found.reason is None


def test_a_correction_after_the_rest_is_seen_and_has_its_direction():
    found = measure_landing(corrected_path(-30.0, -2.0), travel())
    assert found.landing_cents == pytest.approx(-30.0, abs=0.1)
    assert found.correction_cents == pytest.approx(28.0, abs=0.5)
    assert found.toward
    away = measure_landing(corrected_path(4.0, 25.0), travel())
    assert away.correction_cents == pytest.approx(21.0, abs=0.5)
    assert not away.toward


def test_an_overshoot_that_never_rests_belongs_to_the_slide():
    found = measure_landing(overshot_path(3.0, 30.0), travel())
    assert found.landing_cents == pytest.approx(3.0, abs=0.3)
    assert found.correction_cents == 0.0
    assert found.overshoot_cents == pytest.approx(30.0, abs=1.0)


@pytest.mark.parametrize("phase", [0.0, 1.6, 3.1, 4.7])
def test_a_vibrato_from_the_first_moment_is_averaged_over_whole_cycles(phase):
    found = measure_landing(vibrato_path(8.0, 30.0, phase=phase), travel())
    assert found.vibrato is not None
    assert found.landing_cents == pytest.approx(8.0, abs=2.5)
    assert found.vibrato.rate_hz == pytest.approx(5.8, abs=0.2)
    assert found.vibrato.extent_cents == pytest.approx(30.0, abs=2.0)


def test_a_vibrato_that_comes_later_leaves_the_landing_plain():
    found = measure_landing(vibrato_path(-12.0, 25.0, onset_ms=260), travel())
    assert found.rest is not None
    assert found.vibrato is not None
    assert found.landing_cents == pytest.approx(-12.0, abs=0.2)
    assert found.correction_cents == 0.0


def turns_of_vibrato(path):
    """The vibrato that the turns of a path alone tell, from the end of its slide to the horizon."""
    return find_vibrato(find_turns(smooth(path, 8.0), 650, 1370, 8.0))


def test_a_vibrato_too_late_for_four_turns_is_told_by_two_cycles():
    path = vibrato_path(-12.0, 14.0, rate_hz=5.0, onset_ms=340)
    assert turns_of_vibrato(path) is None
    found = measure_landing(path, travel())
    assert found.landing_cents == pytest.approx(-12.0, abs=0.2)
    assert found.vibrato is not None
    assert found.vibrato.rate_hz == pytest.approx(5.0, abs=0.5)
    assert found.vibrato.extent_cents == pytest.approx(14.0, abs=2.5)


def swaying(path, cents, rate_hz, *, phase=1.0):
    """The path with another sway on it from 170 ms after the slide on."""
    time_s = np.arange(730) / 1000.0
    path[-730:] += cents * np.sin(2 * np.pi * rate_hz * time_s + phase)
    return path


def test_a_vibrato_whose_turns_are_uneven_is_told_by_two_cycles():
    """A sway of half the rate makes every other turn too faint to be one."""
    path = swaying(vibrato_path(-12.0, 5.0, rate_hz=6.0, onset_ms=170), 2.5, 3.0)
    assert turns_of_vibrato(path) is None
    found = measure_landing(path, travel())
    assert found.vibrato is not None
    assert found.vibrato.rate_hz == pytest.approx(6.0, abs=0.3)


RESTING_IN_A_ROOM = [
    17.0, 15.5, 13.9, 13.2, 10.8, 2.0, 4.1, 10.3, 12.3, 12.9, 14.0, 16.2, 17.3, 16.2, 15.2, 14.3, 14.2, 14.9, 15.6,
    15.1, 14.2, 12.2, 4.5, 7.0, 14.2, 13.8, 11.6, 10.5, 11.9, 14.3, 15.7, 16.8, 16.5, 15.5, 14.7, 14.7, 15.4, 15.9,
    15.5, 13.5, 9.2, 6.4, 10.0, 12.4, 12.9, 12.2, 12.2, 13.3, 14.1, 15.2, 15.7, 15.0, 15.3, 16.2, 16.3, 16.4, 16.2,
    15.6, 15.0, 14.1, 12.7, 11.5, 11.9, 13.1, 14.3, 14.3, 14.3, 14.7, 15.0, 14.9,
]  # fmt: skip
"""What the tracker heard, every 10 ms, of a recorded violin note bent to rest at 15.4 cents, in a room whose tail
cancels it from time to time (take 1288 of benchmarks.takes)."""


def test_a_narrow_sway_without_a_period_is_no_vibrato():
    held = np.interp(np.arange(700) / 10.0, np.arange(len(RESTING_IN_A_ROOM)), RESTING_IN_A_ROOM)
    path = np.concatenate([plain_path(500.0, held[0], after_ms=0), held, np.full(200, held[-1])])
    assert turns_of_vibrato(path) is not None
    assert measure_landing(path, travel()).vibrato is None


@pytest.mark.parametrize("moves", [(30.0,), (-18.0, 12.0), (9.0, 9.0)])
def test_fingers_that_are_moved_make_no_vibrato(moves):
    for dwell_ms in range(100, 300, 20):
        path = corrected_path(-30.0, -30.0 + moves[0], dwell_ms=dwell_ms)
        if len(moves) > 1:
            again = 500 + 150 + dwell_ms + 80 + 160
            path[again:] += np.minimum(np.arange(len(path) - again) / 60.0, 1.0) * moves[1]
        assert measure_landing(path, travel()).vibrato is None


def test_an_announced_guide_note_is_a_stop_and_has_its_own_error():
    path = np.concatenate(
        [np.full(500, -500.0), glide(-500, -190, 150), np.full(250, -190.0), glide(-190, 5, 12), np.full(700, 5.0)]
    )
    found = measure_landing(path, travel(guide_cents=-200.0))
    assert found.guide_cents == pytest.approx(10.0, abs=0.2)
    assert found.landing_cents == pytest.approx(5.0, abs=0.2)
    assert found.correction_cents == 0.0


def test_a_wrong_rest_left_by_a_step_is_a_new_finger():
    path = np.concatenate(
        [np.full(500, -500.0), glide(-500, -200, 150), np.full(150, -200.0), glide(-200, 4, 10), np.full(700, 4.0)]
    )
    assert measure_landing(path, travel()).landing_cents == pytest.approx(4.0, abs=0.2)


@pytest.mark.parametrize(
    ("path", "reason"),
    [
        (np.full(900, -500.0), "no travel"),
        (np.concatenate([np.full(500, -500.0), glide(-500, 400, 900)]), "no landing"),
        (np.full(50, np.nan), "no travel"),
        (np.empty(0), "no travel"),
    ],
)
def test_no_landing_is_invented(path, reason):
    found = measure_landing(path, travel())
    assert found.reason == reason
    assert found.landing_cents is None


def test_a_gap_between_half_way_and_the_window_leaves_it_open():
    path = plain_path(500.0, 0.0)
    path[600:640] = np.nan
    assert measure_landing(path, travel()).reason == "gap"
    path = plain_path(500.0, 0.0)
    path[700:715] = np.nan
    assert measure_landing(path, travel()).reason is None


@pytest.mark.parametrize("silent_ms", [30, 50])
def test_a_new_bow_may_come_with_the_arrival_where_it_is_expected(silent_ms):
    whole = plain_path(500.0, 7.0)
    rest = measure_landing(whole, travel()).rest
    path = whole.copy()
    path[rest - silent_ms : rest] = np.nan
    assert measure_landing(path, travel()).reason == "gap"
    found = measure_landing(path, travel(new_bow=True))
    assert found.reason is None
    assert found.landing_cents == pytest.approx(7.0, abs=0.05)
    assert found.arrival >= rest
    path = whole.copy()
    path[rest + 10 : rest + 10 + silent_ms] = np.nan
    path[rest - 40 : rest + 10] = -60.0
    late = measure_landing(path, travel(new_bow=True))
    assert (late.reason, late.landing_cents) == (None, pytest.approx(7.0, abs=0.05))


def test_silence_in_the_landings_window_is_a_fault_with_any_bow():
    path = plain_path(500.0, 7.0)
    rest = measure_landing(path, travel()).rest
    path[rest + 85 : rest + 110] = np.nan
    assert measure_landing(path, travel(new_bow=True)).reason == measure_landing(path, travel()).reason


def test_nothing_after_the_horizon_is_judged():
    path = np.concatenate([plain_path(500.0, 5.0, after_ms=760), np.full(500, 60.0)])
    found = measure_landing(path, travel())
    assert found.correction_cents == 0.0
    assert found == measure_landing(np.concatenate([path, np.full(800, -90.0)]), travel())


def test_transposing_and_mirroring_change_signs_only():
    up = measure_landing(corrected_path(-24.0, -3.0), travel(500.0))
    down = measure_landing(-corrected_path(-24.0, -3.0), travel(-500.0))
    assert down.landing_cents == pytest.approx(-up.landing_cents)
    assert down.correction_cents == pytest.approx(-up.correction_cents)
    assert (down.rest, down.arrival, down.leaving) == (up.rest, up.arrival, up.leaving)


@pytest.mark.parametrize("vibrato_cents", [0.0, 20.0])
def test_times_are_read_between_the_milliseconds_of_the_grid(vibrato_cents):
    """The same path sampled a part of a millisecond later is left and reached that part earlier."""

    def path(shift_ms):
        t = np.arange(1700) + shift_ms
        u = np.clip((t - 600.0) / 137.0, 0.0, 1.0)
        swing = vibrato_cents * np.sin(2 * np.pi * 5.5e-3 * np.maximum(t - 1000.0, 0.0))
        return -500.0 + 500.0 * u**3 * (10 - 15 * u + 6 * u * u) + swing

    on_grid = measure_landing(path(0.0), travel())
    for part in (0.25, 0.5, 0.8):
        between = measure_landing(path(part), travel())
        assert between.arrival == pytest.approx(on_grid.arrival - part, abs=0.05)
        assert between.leaving == pytest.approx(on_grid.leaving - part, abs=0.05)


def simulated(random, count):
    """Contours of many kinds with landing, settled pitch and whether there is a vibrato."""
    for _ in range(count):
        interval = float(random.choice([-1, 1]) * random.integers(2, 10) * 100)
        landing, slide = random.normal(0, 20), int(random.integers(60, 600))
        kind = random.choice(["plain", "corrected", "overshot", "vibrato", "late vibrato", "short"])
        if kind == "plain":
            yield kind, interval, landing, 0.0, False, plain_path(interval, landing, slide_ms=slide)
        elif kind == "short":
            yield kind, interval, landing, 0.0, False, plain_path(interval, landing, slide_ms=slide, after_ms=260)
        elif kind == "corrected":
            landing = np.sign(landing) * max(abs(landing), 12.0)
            moved = -landing * random.uniform(0.7, 1.2)
            dwell, move = int(random.integers(130, 330)), int(random.integers(40, 160))
            path = corrected_path(
                landing, landing + moved, interval=interval, dwell_ms=dwell, move_ms=move, slide_ms=slide
            )
            yield kind, interval, landing, moved, False, path
        elif kind == "overshot":
            over, slide = random.uniform(20, 45), min(slide, 350)
            path = overshot_path(
                landing, over, interval=interval, slide_ms=slide, back_ms=int(random.integers(40, 110))
            )
            yield kind, interval, landing, 0.0, False, path
        else:
            onset = 0 if kind == "vibrato" else int(random.integers(200, 260))
            path = vibrato_path(
                landing,
                random.uniform(14, 40),
                interval=interval,
                rate_hz=random.uniform(5.0, 7.0),
                phase=random.uniform(0, 6.3),
                onset_ms=onset,
                slide_ms=slide,
                after_ms=1100,
            )
            yield kind, interval, landing, 0.0, True, path


def test_many_simulated_landings_meet_the_figures():
    random = np.random.default_rng(20261125)
    errors, right, judged, vibrato_right, rows = {}, 0, 0, 0, 0
    found_moved = np.zeros((2, 2), int)
    for kind, interval, landing, moved, swings, path in simulated(random, 400):
        found = measure_landing(heard(path, random, wander=0.4), travel(interval))
        rows += 1
        vibrato_right += (found.vibrato is not None) == swings
        if found.reason is not None:
            continue
        errors.setdefault(kind, []).append(abs(found.landing_cents - landing))
        toward = bool(found.correction_cents) and found.toward
        found_moved[int(bool(moved)), int(toward)] += 1
        if abs(abs(landing) - 20.0) >= 1.5:
            judged += 1
            right += (abs(found.landing_cents) > 20.0) == (abs(landing) > 20.0) and toward == bool(moved)
    assert rows == 400
    for kind, off in errors.items():
        assert np.median(off) <= (1.0 if kind == "vibrato" else 0.5), kind
    hits, misses, alarms = found_moved[1, 1], found_moved[1, 0], found_moved[0, 1]
    assert 2 * hits / (2 * hits + misses + alarms) >= 0.98
    assert vibrato_right / rows >= 0.98
    assert right / judged >= 0.98


def test_slopes_are_least_squares():
    contour = np.random.default_rng(1).normal(size=300)
    expected = [np.polyfit(np.arange(80) / 1000.0, contour[t : t + 80], 1)[0] for t in range(221)]
    assert slopes(contour, 80) == pytest.approx(np.array(expected))


def test_smoothing_repeats_edges_and_leaves_gaps_alone():
    contour = np.concatenate([np.full(50, 3.0), np.full(30, np.nan), np.full(40, 7.0)])
    smoothed = smooth(contour, 8.0)
    assert np.array_equal(np.isfinite(smoothed), np.isfinite(contour))
    assert smoothed[:50] == pytest.approx(3.0)
    assert smoothed[80:] == pytest.approx(7.0)


def test_smoothing_agrees_with_scipy():
    contour = np.cumsum(np.random.default_rng(2).normal(size=500))
    expected = gaussian_filter1d(contour, 8.0, mode="nearest", truncate=3.0)
    assert smooth(contour, 8.0) == pytest.approx(expected, abs=1e-9)


def test_short_gaps_are_bridged_by_lines_and_long_ones_stay():
    contour = np.arange(100.0)
    contour[40:60] = np.nan
    assert bridge(contour) == pytest.approx(np.arange(100.0))
    contour[40:61] = np.nan
    assert np.isnan(bridge(contour)[40:61]).all()


def test_turns_are_extremes_after_a_reversal():
    contour = 20.0 * np.sin(2 * np.pi * 5.0 * np.arange(1000) / 1000.0)
    turns = find_turns(contour, 0, 1000, 8.0)
    assert [turn.at for turn in turns] == pytest.approx([50, 150, 250, 350, 450, 550, 650, 750, 850, 950], abs=1)
    assert all(turn.known > turn.at for turn in turns)
    assert find_turns(0.1 * contour, 0, 1000, 8.0) == []


def test_a_rest_needs_its_whole_window():
    contour = np.concatenate([np.linspace(-300, 0, 100), np.zeros(100)])
    options = {"window_ms": 80, "slope_limit": 30.0, "band_cents": 5.0}
    start = first_rest(contour, contour, 0, 200, **options)
    assert start is not None
    assert 95 <= start <= 100
    assert first_rest(contour, contour, 0, 170, **options) is None


def test_the_mean_between_is_the_integral_of_the_line():
    contour = np.arange(10.0) ** 2
    assert mean_between(contour, 2.0, 4.0) == pytest.approx((4 / 2 + 9 + 16 / 2) / 2)


def test_a_band_has_no_edge_towards_a_point_that_lies_in_it():
    off = np.array([2.0, 8.0, 9.0, 12.0])
    assert band_edge(off, 2, 3, 10.0) == pytest.approx(2 + 1 / 3)
    assert band_edge(off, 2, 1, 10.0) == 2.0
    assert band_edge(off, 3, 4, 10.0) == 3.0


@pytest.mark.parametrize(
    ("before", "se_cents", "now"),
    [
        (None, 3.9, None), (None, 4.1, "unsteady"),
        ("unsteady", 1.9, None), ("unsteady", 2.1, "unsteady"),
        ("gap", 0.5, "gap"),
    ],
)  # fmt: skip
def test_a_landing_read_again_is_as_steady_as_what_is_told(
    before: str | None, se_cents: float, now: str | None
) -> None:
    """One that was unsteady at first must be twice as sure."""
    assert steadiness(Landing(reason=before, landing_se_cents=se_cents)) == now
