"""Sound files of every kind in, whole files out."""

import io

import numpy as np
import pytest
import soundfile

from truestop.adapters.audio.files import encode_sound, open_take, read_take, stream_take, write_flac, write_wav
from truestop.domain.errors import SoundError


def tone(rate_hz=44100, seconds=0.5, hz=440.0):
    return (0.3 * np.sin(2 * np.pi * hz * np.arange(int(rate_hz * seconds)) / rate_hz)).astype(np.float32)


def encoded(samples, rate_hz, **settings):
    stream = io.BytesIO()
    soundfile.write(stream, samples, rate_hz, **settings)
    return stream.getvalue()


@pytest.mark.parametrize("rate_hz", [8000, 11025, 44100, 48000, 96000, 192000])
@pytest.mark.parametrize(("container", "subtype"), [("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "FLOAT"),
                                                    ("WAV", "PCM_U8"), ("FLAC", "PCM_24")])  # fmt: skip
def test_lossless_files_keep_samples_and_rate(rate_hz, container, subtype):
    samples = tone(rate_hz)
    take = read_take(encoded(samples, rate_hz, format=container, subtype=subtype))
    assert take.sample_rate_hz == rate_hz
    assert take.samples.dtype == np.float32
    assert np.abs(take.samples - samples).max() < (0.01 if subtype == "PCM_U8" else 4e-5)
    assert take.duration_s == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize(("container", "subtype"), [("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III"), ("OGG", "OPUS")])
def test_lossy_files_keep_the_tone(container, subtype):
    rate_hz = 48000
    take = read_take(encoded(tone(rate_hz, 1.0), rate_hz, format=container, subtype=subtype))
    middle = take.samples[rate_hz // 4 : 3 * rate_hz // 4]
    peak = np.abs(np.fft.rfft(middle * np.hanning(len(middle)))).argmax() * rate_hz / len(middle)
    assert peak == pytest.approx(440.0, abs=2.0)
    assert take.duration_s == pytest.approx(1.0, abs=0.1)


def test_channels_are_averaged_unless_they_cancel():
    left = tone()
    both = read_take(encoded(np.stack([left, left], axis=1), 44100, format="WAV", subtype="FLOAT"))
    against = read_take(encoded(np.stack([left, -left], axis=1), 44100, format="WAV", subtype="FLOAT"))
    surround = np.zeros((len(left), 6), np.float32)
    surround[:, 2] = left
    centre = read_take(encoded(surround, 44100, format="WAV", subtype="FLOAT"))
    assert np.allclose(both.samples, left, atol=1e-6)
    assert np.allclose(np.abs(against.samples), np.abs(left), atol=1e-6)
    assert centre.channels == 6
    assert np.corrcoef(centre.samples, left)[0, 1] > 0.999


@pytest.mark.parametrize("frames", [64, 1000, 1 << 16])
@pytest.mark.parametrize(("cancelled_share", "loudest_alone"), [(0.3, False), (1.0, True)])
def test_one_rule_mixes_the_whole_take(frames, cancelled_share, loudest_alone):
    left = tone(seconds=2.0)
    right = 0.9 * left
    right[: int(cancelled_share * len(right))] *= -1.0
    content = encoded(np.stack([left, right], axis=1), 44100, format="WAV", subtype="FLOAT")
    expected = left if loudest_alone else 0.5 * (left + right)
    assert np.allclose(read_take(content).samples, expected, atol=1e-6)
    blocks = [block.samples for block in stream_take(content, block_s=(frames + 0.5) / 44100)]
    assert np.array_equal(np.concatenate(blocks), read_take(content).samples)


@pytest.mark.parametrize(("container", "subtype"), [("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III"), ("OGG", "OPUS")])
def test_weighing_the_channels_loses_no_samples(container, subtype):
    mono = tone(48000, 1.0)
    content = encoded(np.stack([mono, mono], axis=1), 48000, format=container, subtype=subtype)
    plain, _ = soundfile.read(io.BytesIO(content), dtype="float32")
    assert np.allclose(read_take(content).samples, plain.mean(axis=1), atol=1e-6)


def test_clipping_is_noticed_where_it_is():
    samples = tone(seconds=1.0)
    samples[22050:26460] *= 6.0
    take = read_take(encoded(np.clip(samples, -1, 1), 44100, format="WAV", subtype="PCM_16"))
    assert take.clipped
    assert min(take.clipped_s) == pytest.approx(0.5, abs=0.011)
    assert max(take.clipped_s) == pytest.approx(0.6, abs=0.011)
    assert not read_take(encoded(tone(), 44100, format="WAV")).clipped


def test_samples_that_are_no_numbers_are_silenced_and_counted():
    samples = tone()
    samples[100:150] = np.nan
    samples[200] = np.inf
    take = read_take(encoded(samples, 44100, format="WAV", subtype="FLOAT"))
    assert take.lost_samples == 51
    assert np.isfinite(take.samples).all()


@pytest.mark.parametrize("block_s", [0.001, 0.0777, 10.0])
def test_streaming_gives_the_same_samples(block_s):
    content = encoded(tone(), 44100, format="FLAC")
    blocks = [block.samples for block in stream_take(content, block_s=block_s)]
    assert np.array_equal(np.concatenate(blocks), read_take(content).samples)


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", "is empty"), (b"<score-partwise/>", "not a sound file"), (b"\x00\x00\x00\x20ftypM4A " + bytes(500), "not a"),
     (b"RIFF\x24\x00\x00\x00WAVEfmt ", "not a sound file|no samples"), (bytes(2000), "not a sound file")],
)  # fmt: skip
def test_what_is_no_sound_file_is_refused(content, words):
    with pytest.raises(SoundError, match=words) as error:
        read_take(content)
    assert error.value.hint


def test_no_samples_no_file_a_folder_and_odd_rates(tmp_path):
    with pytest.raises(SoundError, match="holds no samples"):
        read_take(encoded(np.zeros(0, np.float32), 44100, format="WAV"))
    with pytest.raises(SoundError, match=r"gone\.wav: There is no such file"):
        read_take(tmp_path / "gone.wav")
    with pytest.raises(SoundError, match="cannot be opened"):
        read_take(tmp_path)
    with pytest.raises(SoundError, match="1000 Hz is out of range"):
        read_take(encoded(tone(), 1000, format="WAV"))


def test_a_truncated_wav_gives_what_it_holds():
    content = encoded(tone(), 44100, format="WAV", subtype="PCM_16")
    take = read_take(content[: len(content) // 2])
    assert take.duration_s == pytest.approx(0.25, abs=0.01)


@pytest.mark.parametrize(("write", "name"), [(write_wav, "a.wav"), (write_flac, "a.flac")])
def test_files_are_written_whole(tmp_path, write, name):
    write(tmp_path / name, tone(), sample_rate_hz=44100, bits=24)
    write(tmp_path / name, tone(seconds=0.2), sample_rate_hz=44100, bits=24)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert np.abs(read_take(tmp_path / name).samples - tone(seconds=0.2)).max() < 1e-6


def test_a_folder_that_is_not_there_leaves_nothing(tmp_path):
    with pytest.raises(SoundError, match="cannot be written"):
        write_wav(tmp_path / "none" / "a.wav", tone(), sample_rate_hz=44100)
    assert list(tmp_path.iterdir()) == []


def test_beyond_full_scale_is_never_written():
    with pytest.raises(ValueError, match="within"):
        encode_sound(np.array([0.0, 1.5], np.float32), sample_rate_hz=44100)


@pytest.mark.parametrize("shared", [1, 2])
def test_a_clipped_run_that_two_blocks_share_is_noticed(shared):
    """Blocks of 65536 frames when read whole; the run of three lies across their edge."""
    samples = np.zeros(150_000)
    samples[65536 - shared : 65536 - shared + 3] = 1.0
    sound = encoded(samples, 44100, format="WAV", subtype="FLOAT")
    assert read_take(sound).clipped_s == pytest.approx((1.48,))
    for block_s in (1.0, 65536 / 44100, 0.25):
        assert [cell for part in stream_take(sound, block_s=block_s) for cell in part.clipped_s] == pytest.approx(
            [1.48]
        )


@pytest.mark.parametrize("channels", [1, 2])
def test_a_take_left_in_its_file_gives_the_same_samples_each_time(tmp_path, channels):
    sound = np.stack([tone(), 0.5 * tone()], axis=1)[:, :channels]
    (tmp_path / "take.flac").write_bytes(encode_sound(sound, sample_rate_hz=44100, container="FLAC"))
    whole = read_take(tmp_path / "take.flac")
    left = open_take(tmp_path / "take.flac")
    for _ in range(2):
        assert np.array_equal(np.concatenate(list(left.blocks())), whole.samples)
    assert (left.sample_rate_hz, left.duration_s) == (whole.sample_rate_hz, whole.duration_s)


def test_an_opened_take_refuses_what_a_read_one_does(tmp_path):
    with pytest.raises(SoundError, match="no samples"):
        open_take(encoded(np.zeros(0, np.float32), 44100, format="WAV"))
    with pytest.raises(SoundError, match="no such file"):
        open_take(tmp_path / "gone.wav")
    cut_off = encoded(tone(), 44100, format="WAV")
    left = open_take(cut_off[: len(cut_off) // 2])
    assert left.duration_s == sum(len(block) for block in left.blocks()) / 44100
    assert left.promised_s == pytest.approx(0.5, abs=1e-4)


@pytest.mark.parametrize("container", ["WAV", "RF64", "AIFF", "W64"])
@pytest.mark.parametrize("channels", [1, 2])
def test_a_file_that_was_cut_promises_what_it_was(container, channels):
    """Written by libsndfile, which, when it reads, takes what there is for the whole."""
    content = encoded(np.stack([tone()] * channels, axis=1), 44100, format=container, subtype="PCM_24")
    whole, left = open_take(content), open_take(content[: len(content) // 2 + 5])
    assert whole.promised_s == whole.duration_s == 0.5
    assert left.promised_s == 0.5
    assert left.duration_s == pytest.approx(0.25, abs=2e-3)


def without_number(rate_hz, mode):
    """An MP3 file of 2 s without its first frame, which holds the number of frames: what is left is as valid."""
    content = encoded(tone(rate_hz, 2.0), rate_hz, format="MP3", bitrate_mode=mode, compression_level=0.5)
    left = content[content.index(content[:2], 4) :]
    assert b"Xing" not in left
    assert b"Info" not in left
    return left


@pytest.mark.parametrize("rate_hz", [44100, 48000, 22050, 11025])
def test_an_mp3_without_a_number_of_frames_is_cut_where_its_last_frame_is(rate_hz):
    content = without_number(rate_hz, "CONSTANT")
    whole, tagged = open_take(content), open_take(content + b"TAG" + bytes(125))
    cut = open_take(content[: len(content) // 2 + 7])
    assert [one.unfinished for one in (whole, tagged, cut)] == [False, False, True]
    for one in (whole, tagged):
        assert one.promised_s == one.duration_s == pytest.approx(2.0, abs=0.2)
    assert cut.promised_s == cut.duration_s == pytest.approx(1.0, abs=0.2)


def test_an_mp3_of_which_too_little_is_read_promises_more():
    """Where rates vary and no number of frames is given, libsndfile stops where it guesses that the file ends."""
    left = open_take(without_number(44100, "VARIABLE"))
    assert not left.unfinished
    assert left.duration_s < 1.0
    assert left.promised_s == pytest.approx(2.0, abs=0.2)


@pytest.mark.parametrize("declared", [0x7FFF_FFF0, 0xFFFF_FFFF])
def test_a_wav_that_was_streamed_promises_nothing(declared):
    """Who streams cannot know the length: the most or nearly the most is written there (common practice)."""
    content = bytearray(encoded(tone(), 44100, format="WAV", subtype="PCM_16"))
    at = content.index(b"data") + 4
    content[at : at + 4] = declared.to_bytes(4, "little")
    left = open_take(bytes(content))
    assert left.promised_s == left.duration_s == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize("kind", ["FLAC", "OGG", "MP3"])
def test_random_damage_ends_a_take_or_refuses_it(kind):
    content = encoded(tone(), 44100, format=kind)
    rng = np.random.default_rng(4)
    for _ in range(20):
        damaged = bytearray(content)
        at = int(rng.integers(0, len(content) - 40))
        damaged[at : at + 40] = rng.bytes(40)
        if rng.uniform() < 0.5:
            del damaged[int(rng.integers(1, len(damaged))) :]
        try:
            take = open_take(bytes(damaged))
            read = np.concatenate(list(take.blocks()) or [np.zeros(0, np.float32)])
        except SoundError:
            continue
        assert np.isfinite(read).all()
        assert len(read) <= 3 * 44100
