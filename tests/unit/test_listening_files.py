"""Sound files as they come: kinds of file, rates, channels, length, and what is refused.

Files are written by libsndfile (through soundfile) or byte by byte here; the sound in them is a sine of known pitch.
"""

import dataclasses
import tracemalloc
import wave

import numpy as np
import pytest
import soundfile

from setwright.errors import FileFormatError
from setwright.listening.sound import SoundError, blocks_of, look_through, read_sound

KINDS = [
    ("wav", "WAV", "PCM_16", 44100),
    ("wav", "WAV", "PCM_24", 44100),
    ("wav", "WAV", "PCM_U8", 8000),
    ("wav", "WAV", "FLOAT", 192000),
    ("wav", "WAV", "DOUBLE", 96000),
    ("wav", "WAVEX", "PCM_24", 48000),
    ("wav", "RF64", "PCM_16", 44100),
    ("w64", "W64", "PCM_16", 44100),
    ("flac", "FLAC", "PCM_16", 44100),
    ("flac", "FLAC", "PCM_24", 96000),
    ("ogg", "OGG", "VORBIS", 44100),
    ("opus", "OGG", "OPUS", 48000),
    ("mp3", "MP3", "MPEG_LAYER_III", 44100),
    ("aiff", "AIFF", "PCM_24", 44100),
    ("caf", "CAF", "PCM_16", 44100),
    ("au", "AU", "PCM_16", 22050),
]


def sine(rate=44100, seconds=1.0, hertz=440.0, height=0.5):
    return height * np.sin(2 * np.pi * hertz * np.arange(round(rate * seconds)) / rate)


def written(path, samples, rate=44100, **how):
    soundfile.write(path, samples, rate, **how)
    return path


def pitch(sound):
    """Of a sine, by the phase of neighbouring samples of its analytic signal over the middle."""
    spectrum = np.fft.fft(sound.samples * np.hanning(len(sound.samples)))
    spectrum[len(spectrum) // 2 :] = 0
    turned = np.unwrap(np.angle(np.fft.ifft(spectrum)))
    a, b = len(turned) // 4, 3 * len(turned) // 4
    return (turned[b] - turned[a]) / (b - a) / (2 * np.pi) * sound.rate


@pytest.mark.parametrize(("end", "form", "sub", "rate"), KINDS, ids=lambda value: str(value))
def test_every_kind_of_file_keeps_the_pitch(tmp_path, end, form, sub, rate):
    path = written(tmp_path / f"a.{end}", sine(rate), rate, format=form, subtype=sub)
    sound = read_sound(path)
    assert sound.rate == rate
    assert len(sound.samples) == pytest.approx(rate, abs=0.1 * rate)
    assert 1200 * np.log2(pitch(sound) / 440.0) == pytest.approx(0.0, abs=0.05)
    assert np.abs(sound.samples[rate // 4 : rate // 2]).max() == pytest.approx(0.5, abs=0.02)


def test_the_kind_goes_by_the_bytes_not_by_the_name(tmp_path):
    path = written(tmp_path / "a.wav", sine())
    for name in ("a.raw", "a", "a.mp3", "a.txt"):
        (tmp_path / name).write_bytes(path.read_bytes())
        assert look_through(tmp_path / name).frames == 44100


def test_a_wave_file_by_the_standard_library_is_read_to_the_bit(tmp_path):
    numbers = np.array([0, 1, -1, 32767, -32768, 1234], dtype="<i2")
    with wave.open(str(tmp_path / "a.wav"), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(48000)
        file.writeframes(numbers.tobytes())
    assert np.array_equal(read_sound(tmp_path / "a.wav").samples * 32768, numbers)


def test_the_channel_with_most_sound_is_taken_whole(tmp_path):
    left, right = sine(hertz=440.0, height=0.1), sine(hertz=220.0, height=0.4)
    path = written(tmp_path / "a.wav", np.stack([left, right], axis=1))
    recording = look_through(path)
    assert (recording.channels, recording.channel) == (2, 1)
    assert recording.peak == pytest.approx(0.4, abs=1e-3)
    assert np.allclose(read_sound(path).samples, right, atol=1e-4)


def test_channels_in_opposite_phase_are_not_silence(tmp_path):
    path = written(tmp_path / "a.flac", np.stack([sine(), -sine()], axis=1))
    assert np.abs(read_sound(path).samples).max() == pytest.approx(0.5, abs=1e-3)


def test_a_constant_part_does_not_make_a_channel_loud(tmp_path):
    path = written(tmp_path / "a.wav", np.stack([np.full(44100, 0.9), sine(height=0.01)], axis=1), subtype="PCM_24")
    assert look_through(path).channel == 1


def test_blocks_follow_each_other_and_are_the_file(tmp_path):
    path = written(tmp_path / "a.wav", np.random.default_rng(1).uniform(-0.5, 0.5, 100_001), 48000)
    blocks = list(blocks_of(path, 0.3))
    assert {len(one.samples) for one in blocks[:-1]} == {14400}
    assert [one.start for one in blocks] == pytest.approx([0.3 * i for i in range(len(blocks))])
    assert np.array_equal(np.concatenate([one.samples for one in blocks]), read_sound(path).samples)


def test_a_part_of_a_file(tmp_path):
    path = written(tmp_path / "a.wav", sine())
    part, whole = read_sound(path, 0.25, 0.5), read_sound(path)
    assert part.start == 0.25
    assert np.array_equal(part.samples, whole.samples[11025:33075])
    assert np.array_equal(read_sound(path, 0.5).samples, whole.samples[22050:])


def test_progress_rises_to_the_end(tmp_path):
    told = []
    look_through(written(tmp_path / "a.wav", sine(seconds=5.0)), told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_memory_does_not_grow_with_the_file(tmp_path):
    def peak(seconds):
        path = written(tmp_path / f"{seconds}.wav", sine(8000, seconds), 8000)
        tracemalloc.start()
        for block in blocks_of(path, 1.0):
            assert len(block.samples) <= 8000
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    peak(30)
    assert peak(600) < 1.2 * peak(60)


def refused(path, *parts):
    with pytest.raises(SoundError) as told:
        look_through(path)
    message = str(told.value)
    assert isinstance(told.value, FileFormatError)
    assert message.endswith(".")
    assert "\n" not in message
    for part in parts:
        assert part in message


def test_what_is_no_sound_file(tmp_path):
    refused(tmp_path / "none.wav", "there is no such file")
    refused(tmp_path, "is a folder")
    refused("a\0b.wav", "cannot be read")
    (tmp_path / "empty.wav").write_bytes(b"")
    refused(tmp_path / "empty.wav", "empty.wav is an empty file")
    (tmp_path / "words.wav").write_text("no sound at all\n" * 50)
    refused(tmp_path / "words.wav", "words.wav is no sound file", "flac")
    (tmp_path / "one").write_bytes(b"\xff")
    refused(tmp_path / "one", "is no sound file")
    (tmp_path / "film.mp4").write_bytes(b"\0\0\0 ftypisom" + b"\0" * 100)
    refused(tmp_path / "film.mp4", "holds MPEG-4, which is not read", "save it as one of them")
    (tmp_path / "film.webm").write_bytes(b"\x1aE\xdf\xa3" + b"\0" * 100)
    refused(tmp_path / "film.webm", "Matroska")


@pytest.mark.parametrize("head", [b"RIFF", b"fLaC", b"caff", b"FORM", b"ID3\x04", b"\xff\xfb", b"OggS\0\4"])
def test_heads_with_rubbish_behind_are_refused_and_nothing_else_is_printed(tmp_path, head, capfd):
    path = tmp_path / "a.wav"
    path.write_bytes(head + b"\0" * 4 + np.random.default_rng(3).bytes(50_000))
    refused(path, "a.wav")
    assert capfd.readouterr() == ("", "")


def test_zero_length_and_silence(tmp_path):
    refused(written(tmp_path / "a.wav", np.zeros(0)), "its length is zero")
    refused(written(tmp_path / "b.wav", np.zeros(44100)), "silent from end to end")
    refused(written(tmp_path / "c.wav", np.full((44100, 2), 0.25)), "silent from end to end")


@pytest.mark.parametrize("rate", [4000, 7999, 192001, 384000])
def test_rates_out_of_range(tmp_path, rate):
    refused(written(tmp_path / "a.wav", sine(rate), rate), f"{rate} samples a second", "8000 to 192000")


def test_too_many_channels_and_other_forms(tmp_path):
    refused(written(tmp_path / "a.wav", np.zeros((100, 65)) + 0.1), "65 channels")
    voice = written(tmp_path / "a.aifc", sine(), format="AIFF", subtype="ULAW")
    assert look_through(voice).rate == 44100
    refused(written(tmp_path / "a.wav", sine(), format="SVX", subtype="PCM_16"), "holds sound in the form SVX")


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_what_is_not_a_number_is_told_with_its_place(tmp_path, value):
    samples = np.stack([sine(seconds=4.0), sine(seconds=4.0)], axis=1)
    samples[3 * 44100, 1] = value
    refused(written(tmp_path / "a.wav", samples, subtype="FLOAT"), "the sample at 3.000 s is not a number")


def test_numbers_that_are_no_sound(tmp_path):
    refused(written(tmp_path / "a.wav", 1e9 * sine(), subtype="FLOAT"), "which is no sound")
    over = written(tmp_path / "b.wav", 4.0 * sine(), subtype="FLOAT")
    assert look_through(over).peak == pytest.approx(2.0, abs=0.01)


@pytest.mark.parametrize(("end", "form", "sub", "rate"), [kind for kind in KINDS if kind[1] not in ("W64", "AU")])
@pytest.mark.parametrize("share", [0.4, 0.9])
def test_what_is_cut_short_is_told(tmp_path, end, form, sub, rate, share, capfd):
    path = written(tmp_path / f"a.{end}", sine(rate, 4.0), rate, format=form, subtype=sub)
    raw = path.read_bytes()
    path.write_bytes(raw[: int(share * len(raw))])
    refused(path, "cut short")
    assert capfd.readouterr().err == ""


def test_a_wave_file_still_being_written_is_read(tmp_path):
    raw = bytearray(written(tmp_path / "a.wav", sine()).read_bytes())
    raw[4:8] = b"\xff" * 4
    (tmp_path / "a.wav").write_bytes(raw)
    assert look_through(tmp_path / "a.wav").frames == 44100


def test_damage_in_the_middle(tmp_path):
    noise = np.random.default_rng(1).uniform(-0.5, 0.5, 200_000)
    raw = bytearray(written(tmp_path / "a.flac", noise).read_bytes())
    raw[len(raw) // 2 : len(raw) // 2 + 20_000] = b"\0" * 20_000
    (tmp_path / "a.flac").write_bytes(raw)
    refused(tmp_path / "a.flac", "cut short or is damaged")


def test_parts_and_blocks_that_cannot_be(tmp_path):
    path = written(tmp_path / "a.wav", sine())
    for start, seconds in ((2.0, None), (-1.0, None), (0.5, 0.0)):
        with pytest.raises(SoundError, match=r"is 1\.00 s long"):
            read_sound(path, start, seconds)
    for seconds in (0.0, -1.0, float("nan")):
        with pytest.raises(SoundError, match="a block of"):
            next(blocks_of(path, seconds))


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    path = written(tmp_path / "a.wav", sine())

    def forbidden(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", forbidden)
    refused(path, "cannot be read: permission denied")


def test_a_recording_is_plain_data(tmp_path):
    recording = look_through(written(tmp_path / "a.wav", sine()))
    assert recording.seconds == 1.0
    with pytest.raises(dataclasses.FrozenInstanceError):
        recording.rate = 1.0
