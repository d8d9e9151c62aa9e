"""Takes on disk: what was acknowledged is there, whatever happens to the process."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

import truestop
from examples import examples
from truestop.domain.errors import SoundError
from truestop.web.takes import HEADER_BYTES, Slip, TakeFolder, TakeWriter, mend_take, read_frames


def ramp(count: int, first: int = 0) -> np.ndarray:
    return (np.arange(first, first + count) % 30000).astype(np.int16)


def test_a_take_reads_back_as_wave(tmp_path: Path) -> None:
    """libsndfile (python-soundfile) is the foreign reader."""
    with TakeWriter(tmp_path / "take-one.wav", 44100) as writer:
        for first in range(0, 5000, 500):
            writer.append(first, ramp(500, first))
    samples, rate = soundfile.read(tmp_path / "take-one.wav", dtype="int16")
    assert rate == 44100
    np.testing.assert_array_equal(samples, ramp(5000))


def test_blocks_sent_again_are_written_once(tmp_path: Path) -> None:
    with TakeWriter(tmp_path / "take-one.wav", 44100) as writer:
        assert writer.append(0, ramp(100)).size == 100
        assert writer.append(0, ramp(100)).size == 0
        np.testing.assert_array_equal(writer.append(50, ramp(100, 50)), ramp(50, 100))
    np.testing.assert_array_equal(read_frames(tmp_path / "take-one.wav"), ramp(150))


def test_a_hole_is_refused(tmp_path: Path) -> None:
    with TakeWriter(tmp_path / "take-one.wav", 44100) as writer:
        writer.append(0, ramp(100))
        with pytest.raises(SoundError, match="missing between frame 100 and 150"):
            writer.append(150, ramp(10))


def test_going_on_where_a_killed_writer_stopped(tmp_path: Path) -> None:
    path = tmp_path / "take-one.wav"
    writer = TakeWriter(path, 48000)
    writer.append(0, ramp(1000))
    writer._file.close()
    with path.open("ab") as file:
        file.write(b"\x01")
    resumed = TakeWriter(path, 48000)
    assert resumed.frames == 1000
    resumed.append(1000, ramp(10, 1000))
    resumed.close()
    np.testing.assert_array_equal(soundfile.read(path, dtype="int16")[0], ramp(1010))


@examples(50)
@given(cuts=st.lists(st.integers(0, 2000), min_size=1, max_size=12))
def test_any_order_of_resending_gives_the_same_take(cuts: list[int], tmp_path_factory: pytest.TempPathFactory) -> None:
    whole = ramp(2000)
    path = tmp_path_factory.mktemp("resend") / "take-one.wav"
    with TakeWriter(path, 44100) as writer:
        for cut in cuts:
            start = min(writer.frames, cut)
            writer.append(start, whole[start : max(cut, start)])
        writer.append(writer.frames, whole[writer.frames :])
    np.testing.assert_array_equal(read_frames(path), whole)


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is POSIX")
def test_kill_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    path = tmp_path / "take-one.wav"
    script = (
        "import sys, numpy as np\nfrom pathlib import Path\nfrom truestop.web.takes import TakeWriter\n"
        f"writer = TakeWriter(Path({str(path)!r}), 44100)\nfirst = 0\n"
        "while True:\n    writer.append(first, (np.arange(first, first + 512) % 30000).astype(np.int16))\n"
        "    first += 512\n    print(first, flush=True)\n"
    )
    source = Path(truestop.__file__).parents[1]
    environment = os.environ | {"PYTHONPATH": str(source)}
    process = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True, env=environment)
    assert process.stdout is not None
    process.stdout.readline()
    time.sleep(0.3)
    process.send_signal(signal.SIGKILL)
    acknowledged = [int(line) for line in process.stdout.read().splitlines()]
    process.wait()
    process.stdout.close()
    found = mend_take(path)
    assert found.frames >= acknowledged[-1] > 44100
    np.testing.assert_array_equal(read_frames(path), ramp(found.frames))
    assert soundfile.info(path).frames == found.frames


@pytest.mark.parametrize("name", ["../../etc/passwd", "a/b/c/d/e", "short", "", "x" * 65, "take one 1", "take.one.1"])
def test_no_name_leads_out_of_the_folder(name: str, tmp_path: Path) -> None:
    folder = TakeFolder(tmp_path / "takes")
    with pytest.raises(SoundError, match="a take's name"):
        folder.open(name, 44100)


def test_mending_does_not_make_a_take_look_fresh(tmp_path: Path) -> None:
    folder = TakeFolder(tmp_path)
    folder.open("take-0001", 8000).close()
    os.utime(folder.path_of("take-0001"), (1000.0, 1000.0))
    assert [found.written_at_s for found in folder.recover()] == [1000.0]


def test_recovering_mends_takes_and_leaves_other_files(tmp_path: Path) -> None:
    folder = TakeFolder(tmp_path)
    writer = folder.open("take-0001", 44100)
    writer.append(0, ramp(700))
    (tmp_path / "notes.wav").write_bytes(b"no sound at all")
    writer._file.close()
    found = folder.recover()
    assert [(each.take, each.frames) for each in found] == [("take-0001", 700)]
    assert (tmp_path / "notes.wav").read_bytes() == b"no sound at all"


def test_a_slip_reads_back(tmp_path: Path) -> None:
    folder = TakeFolder(tmp_path)
    slip = Slip(
        take="take-0001", purpose="practice", about={"shift": 2}, opened_at_s=12.5, beats_s=(1.0, 3.0),
        masks=[(10, 20)], answers=["high", None],
    )  # fmt: skip
    folder.write_slip(slip)
    assert folder.slip("take-0001") == slip
    folder.delete("take-0001")
    assert folder.slip("take-0001") is None


def test_rates_out_of_range_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SoundError, match="4000 Hz is out of range"):
        TakeWriter(tmp_path / "take-one.wav", 4000)
    assert HEADER_BYTES == 44
