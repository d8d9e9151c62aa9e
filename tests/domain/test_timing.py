"""The take's own pulse."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from truestop.domain.timing import predict_beat


@given(st.floats(0.3, 2.0), st.floats(-5.0, 5.0))
def test_a_steady_pulse_predicts_its_beat(quarter_s: float, start_s: float) -> None:
    onsets = [(float(beat), start_s + quarter_s * beat) for beat in (0, 1, 2, 4, 5, 6)]
    found = predict_beat(3.0, onsets)
    assert found is not None
    assert found.at_s == pytest.approx(start_s + 3 * quarter_s, abs=1e-9)
    assert found.se_s == pytest.approx(0.0, abs=1e-6)


def test_the_error_of_a_line_is_the_textbook_one() -> None:
    """Standard error of a fitted line's mean at x (e.g. Draper & Smith, Applied Regression Analysis, ch. 1)."""
    stats = pytest.importorskip("statsmodels.api")
    beats, seconds = [0.0, 1.0, 2.0, 4.0, 5.0], [0.01, 0.49, 1.02, 1.99, 2.52]
    fitted = stats.OLS(seconds, stats.add_constant(beats)).fit()
    theirs = fitted.get_prediction([[1.0, 3.0]])
    ours = predict_beat(3.0, list(zip(beats, seconds, strict=True)))
    assert ours is not None
    assert ours.at_s == pytest.approx(float(theirs.predicted_mean[0]))
    assert ours.se_s == pytest.approx(float(theirs.se_mean[0]))


def test_too_few_onsets_predict_nothing() -> None:
    assert predict_beat(3.0, [(1.0, 1.0), (2.0, 2.0), (4.0, 4.0)]) is None
    assert predict_beat(3.0, [(0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (2.5, 2.5)]) is None
