"""setwright hear: kinds of files, what holds no sound, what is no note, and recordings of hours."""

import json
import math
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from setwright.practice.takes import talk
from tests.cli.made_takes import RATE, STIFF, string

pytestmark = pytest.mark.slow

EXAMPLES = Path(__file__).parents[2] / "examples"
KINDS = [
    ("wav", "WAV", "PCM_24", 48000), ("wav", "WAV", "FLOAT", 44100), ("flac", "FLAC", "PCM_16", 44100),
    ("ogg", "OGG", "VORBIS", 44100), ("opus", "OGG", "OPUS", 48000), ("mp3", "MP3", "MPEG_LAYER_III", 44100),
    ("aiff", "AIFF", "PCM_16", 48000), ("caf", "CAF", "PCM_24", 48000),
]  # fmt: skip


@pytest.fixture
def job(tmp_path):
    for name in ("kestrel-float.job.toml", "kestrel.instrument.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    return tmp_path / "kestrel-float.job.toml"


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize(("end", "form", "sub", "rate"), KINDS)
def test_every_kind_of_file_gives_the_pitch(ask, tmp_path, end, form, sub, rate, channels):
    """110 Hz by construction; coding that loses may cost a few hundredths of a cent."""
    t = np.arange(round(1.5 * rate)) / rate
    note = sum(
        np.sin(2 * np.pi * n * 110.0 * math.sqrt((1 + STIFF * n * n) / (1 + STIFF)) * t + n)
        / n
        * np.exp(-t * (1 + n / 5))
        for n in range(1, 9)
    )
    samples = np.concatenate([np.zeros(rate // 2), 0.3 * note, np.zeros(rate // 2)])
    samples += 1e-5 * np.random.default_rng(1).standard_normal(len(samples))
    whole = samples if channels == 1 else np.stack([0.3 * samples, samples], axis=1)
    path = tmp_path / f"a.{end}"
    soundfile.write(path, whole, rate, format=form, subtype=sub)
    code, out, err = ask("hear", path, "--tuning", "standard", "--json")
    assert (code, err) == (0, "")
    given = json.loads(out)
    good = [one for one in given["notes"] if one["first_partial_hz"]]
    assert [(one["string"], one["kind"]) for one in good] == [(5, "open")]
    assert 1200 * math.log2(good[0]["first_partial_hz"] / 110.0) == pytest.approx(0.0, abs=0.1)
    assert (given["hearing"]["channel"], given["hearing"]["channels"]) == (channels, channels)


@pytest.mark.parametrize(
    ("content", "part"),
    [
        (b"", "is an empty file"),
        (b"no sound at all, but words\n" * 40, "is no sound file; wav, flac"),
        (
            b"RIFF" + (10**6).to_bytes(4, "little") + b"WAVEfmt " + bytes(100),
            "is cut short after 116 of the 1000008 bytes",
        ),
        (np.zeros(RATE), "is silent from end to end"),
        (np.zeros(0), "its length is zero"),
    ],
    ids=["empty", "words", "cut short", "silence", "no samples"],
)
def test_what_holds_no_sound_is_told_in_one_sentence_and_writes_nothing(ask, job, tmp_path, content, part):
    path = tmp_path / "a.wav"
    if isinstance(content, bytes):
        path.write_bytes(content)
    else:
        soundfile.write(path, content, RATE)
    for more in ([], ["--job", job, "--svg", tmp_path / "a.svg"]):
        code, out, err = ask("hear", path, *more)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert part in err
    assert not (tmp_path / "a.svg").exists()
    assert not job.with_name("kestrel-float.journal.txt").exists()


def test_a_second_of_talk_is_no_note_and_goes_nowhere(ask, job, tmp_path):
    for seed in range(3):
        soundfile.write(tmp_path / "a.wav", talk(1.0, 16000.0, -6.0, seed), 16000)
        code, out, _ = ask("hear", tmp_path / "a.wav", "--job", job, "--json")
        assert code == 0
        given = json.loads(out)
        assert given["hearing"]["entries"] == []
        assert all(one["refused"] for one in given["notes"])


MEASURED = """
import resource, sys
from setwright.cli.main import run
code = run(["hear", sys.argv[1], "--tuning", "standard", "--json"])
print(code, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)
"""


@pytest.mark.slow
def test_three_hours_are_listened_to_in_the_memory_of_three_minutes(tmp_path):
    """A note every half hour; the whole of it would be 690 MB in memory."""

    def heard(minutes):
        noise, note = np.random.default_rng(1), string(110.0)
        path = tmp_path / f"{minutes}.wav"
        with soundfile.SoundFile(path, "w", RATE, 1, subtype="PCM_16") as file:
            for minute in range(minutes):
                piece = 1e-4 * noise.standard_normal(60 * RATE)
                if minute % 30 == 0:
                    piece[: len(note)] += note
                file.write(piece)
        done = subprocess.run(
            [sys.executable, "-c", MEASURED, path], capture_output=True, text=True, timeout=400, check=True
        )
        code, most = map(int, done.stderr.split())
        assert code == 0
        return json.loads(done.stdout), most / 1024.0  # MB; Linux counts in kB

    short, little = heard(3)
    long, most = heard(180)
    assert short["hearing"]["seconds"] == 180.0
    assert long["hearing"]["seconds"] == 10800.0
    assert [round(one["start_s"]) for one in long["notes"] if one["string"] == 5] == [1800 * k for k in range(6)]
    assert most < little + 30.0
