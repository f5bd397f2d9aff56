# SPDX-License-Identifier: Apache-2.0
"""A preview of a song: as loud as asked or why not, the ceiling kept as decoded, what limiting changed, files whole."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
import soundfile

from made_songs import write_audio
from mixwright.app.preview import preview
from mixwright.errors import InputError, SettingError, StateError
from mixwright.io.kept import read_kept
from mixwright.io.song_file import create_song, edit_song, load_song, undo
from mixwright.io.tags import read_tags
from mixwright.model.preview import PreviewResult
from mixwright.model.song import Group, Reference, Section, Song, Track, changed
from mixwright.model.tags import shown_title
from reference.limited_parts import changes_lu, true_peak_db

RATE_HZ = 48000
SECONDS = 4


def parts() -> dict[str, np.ndarray]:
    """Return a sung tone, chords below it, and in the second half hits far above both, with which it is sung then."""
    frames = SECONDS * RATE_HZ
    time_s = np.arange(frames) / RATE_HZ
    rng = np.random.default_rng(2)
    lead = 0.1 * np.sin(2 * np.pi * 440 * time_s + np.sin(2 * np.pi * 5 * time_s))
    lead *= (time_s < SECONDS / 2) | (time_s % 0.5 < 0.1)
    keys = sum(0.04 * np.sin(2 * np.pi * hz * time_s) for hz in (131, 165, 196, 262))
    hits = 0.9 * np.exp(-(time_s % 0.5) / 0.03) * np.sin(2 * np.pi * 180 * (time_s % 0.5)) * (time_s >= SECONDS / 2)
    # Nothing near half the rate, where interpolators differ.
    noise = np.convolve(rng.standard_normal(frames), [0.06, 0.25, 0.38, 0.25, 0.06], "same")
    hits += 0.2 * np.exp(-(time_s % 0.5) / 0.05) * noise * (time_s >= SECONDS / 2)
    return {"vox": np.stack([lead] * 2, 1), "keys": np.stack([keys] * 2, 1), "kit": np.stack([hits] * 2, 1)}


ROLES = {"vox": "lead vocal", "keys": "keys", "kit": "drums"}


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("preview")
    for name, audio in parts().items():
        write_audio(folder / "tracks" / f"{name}.wav", audio, RATE_HZ)
    write_audio(folder / "rough.wav", 2.0 * sum(parts().values()), RATE_HZ)
    write_audio(folder / "record.wav", 0.9 * sum(parts().values()), RATE_HZ)
    song = Song(
        title="Made <b>up</b>",
        artist="Nobody",
        rate_hz=RATE_HZ,
        lead=("vox",),
        rough="../rough.wav",
        tracks=tuple(
            Track(id=name, name=name, file=f"../tracks/{name}.wav", role=role, group="all" if name == "kit" else "")
            for name, role in ROLES.items()
        ),
        groups=(Group(id="all", name="Kit"),),
        sections=(
            Section(name="verse", start_s=0.0, end_s=SECONDS / 2),
            Section(name="chorus", start_s=SECONDS / 2, end_s=SECONDS),
        ),
        references=(Reference(id="record", file="../record.wav"),),
    )
    create_song(folder / "song", song)
    return folder / "song"


@pytest.fixture(scope="module")
def loud(made) -> PreviewResult:
    return preview(made, target_lufs=-12.0, most_reduction_db=12.0, formats=("wav", "mp3", "opus", "flac"))


def test_every_file_is_as_loud_as_asked_and_keeps_the_ceiling_as_decoded(made, loud):
    assert loud.folder == "previews/001"
    assert [file.file for file in loud.files] == [
        "MadeBUpB_Preview01_48k24.wav",
        "MadeBUpB_Preview01_48k.mp3",
        "MadeBUpB_Preview01_48k.opus",
        "MadeBUpB_Preview01_48k24.flac",
    ]
    assert sorted(path.name for path in (made / loud.folder).iterdir()) == sorted(file.file for file in loud.files)
    for file in loud.files:
        path = made / loud.folder / file.file
        audio, rate_hz = soundfile.read(path, always_2d=True)
        assert (rate_hz, len(audio)) == (file.rate_hz, file.frames) == (RATE_HZ, SECONDS * RATE_HZ)
        peak = true_peak_db(audio)
        assert peak <= -1.0 + 0.05
        assert file.true_peak_dbtp == pytest.approx(peak, abs=0.05)
        assert file.integrated_lufs == pytest.approx(-12.0, abs=0.1)
        assert (file.short_by_lu, file.why) == (0.0, "")
        assert file.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
        assert file.tries[-1].true_peak_dbtp == file.true_peak_dbtp
        tags = read_tags(path)
        assert (tags.comment, tags.kind, tags.artist) == ("preview, not the mix", "preview", "Nobody")
        assert shown_title(tags) == "Made <b>up</b> (Preview)"
    # The lossy ones took a lower limiter: coding raises peaks.
    assert len(loud.files[1].tries) > 1 or len(loud.files[2].tries) > 1
    assert read_kept(made, "preview", PreviewResult) == loud
    assert load_song(made).moves == ()


def test_what_limiting_changed_is_what_it_did_to_each_part(made, loud):
    """Against the preview file itself, divided by the sum of the parts; K-weighting by scipy."""
    lossless = preview(made, target_lufs=-15.0, most_reduction_db=12.0, formats=("flac",))
    limited = soundfile.read(made / lossless.folder / lossless.files[0].file, always_2d=True)[0]
    half = SECONDS * RATE_HZ // 2
    by_hand = changes_lu({name: audio[half:] for name, audio in parts().items()}, limited[half:], RATE_HZ)
    chorus = next(one for one in lossless.limited if one.name == "chorus")
    assert chorus.lead_to_drums_lu == pytest.approx(by_hand["vox"] - by_hand["kit"], abs=0.2)
    assert chorus.lead_to_backing_lu == pytest.approx(by_hand["vox"] - by_hand["keys"], abs=0.2)
    assert chorus.lead_to_drums_lu > 1.0
    verse = next(one for one in lossless.limited if one.name == "verse")
    assert verse.drums_lu is None
    assert verse.lead_to_backing_lu == pytest.approx(0.0, abs=0.05)
    # What restores the lead is offered, and does when it is taken; the hits are what is limited.
    (move,) = lossless.moves
    assert (move.target, move.sections, move.state) == ("vox", ("chorus",), "proposed")
    assert chorus.lead_to_backing_lu < -0.2
    rest = next(one for one in lossless.restored if one.name == "chorus").lead_to_backing_lu
    assert abs(rest) <= 0.2
    assert "restores the drums in chorus" in lossless.notes[0]


def test_the_same_song_gives_the_same_bytes_in_the_next_folder(made, loud):
    again = preview(made, target_lufs=-12.0, most_reduction_db=12.0, formats=("flac", "mp3", "opus"))
    assert again.folder > loud.folder
    by_format = {file.format: file for file in loud.files}
    for file in again.files:
        assert file.file.replace(f"Preview{int(again.folder[-3:]):02d}", "Preview01") == by_format[file.format].file
        assert file.sha256 == by_format[file.format].sha256
        assert file.tries == by_format[file.format].tries


def test_a_target_comes_from_the_rough_mix_the_references_or_is_the_usual(made):
    found = preview(made, formats=("wav",))
    assert (found.target_of, found.rough_lufs) == ("rough", pytest.approx(found.target_lufs, abs=0.01))
    assert found.target_lufs == pytest.approx(found.mix.integrated_lufs + 20 * np.log10(2.0), abs=0.01)
    record = preview(made, target_of="references", formats=("wav",))
    # The reference is the mix, 0.9 dB and a bit below it: the limiter has nothing to do.
    assert record.target_lufs == pytest.approx(record.mix.integrated_lufs + 20 * np.log10(0.9), abs=0.01)
    assert record.files[0].integrated_lufs == pytest.approx(record.target_lufs, abs=0.1)
    usual = preview(made, target_of="usual", formats=("wav",))
    assert (usual.target_lufs, usual.target_of) == (-14.0, "usual")


def test_a_bound_on_the_limiter_leaves_it_softer_and_says_why(made):
    found = preview(made, target_lufs=-8.0, most_reduction_db=3.0, compress=False, formats=("wav",))
    (file,) = found.files
    assert file.limiter.largest_db == pytest.approx(3.0, abs=0.3)
    assert file.short_by_lu == pytest.approx(-8.0 - file.integrated_lufs, abs=0.01)
    assert "more than the 3 dB that the limiter may" in file.why
    # A compressor before it is used where that brings it nearer.
    nearer = preview(made, target_lufs=-8.0, most_reduction_db=3.0, formats=("wav",))
    if nearer.compressor is None:
        assert nearer.files[0].integrated_lufs == pytest.approx(file.integrated_lufs, abs=0.01)
    else:
        assert nearer.files[0].integrated_lufs > file.integrated_lufs + 0.2
        assert nearer.compressor.reduction.largest_db <= 2.01


def test_restoring_moves_are_written_only_when_asked_and_wait(made):
    before = load_song(made)
    found = preview(made, target_lufs=-15.0, most_reduction_db=12.0, formats=("wav",), propose=True)
    try:
        assert found.proposed
        assert [(move.id, move.state) for move in load_song(made).moves] == [(found.moves[0].id, "proposed")]
    finally:
        undo(made)
    assert load_song(made) == before


def test_a_rough_mix_that_is_gone_is_missed_only_where_it_is_the_target(made):
    edit_song(made, "rough", lambda song: changed(song, rough="../gone.wav", rough_sha256=""))
    try:
        assert preview(made, target_lufs=-18.0, formats=("wav",)).rough_lufs is None
        with pytest.raises(InputError, match=r"gone\.wav: the rough mix is missing"):
            preview(made, formats=("wav",))
    finally:
        undo(made)


@pytest.mark.parametrize(
    ("options", "error", "says"),
    [
        ({"target_lufs": -2.0}, SettingError, "--target: -2 is not from -40 to -3"),
        ({"target_lufs": -9.0, "target_of": "rough"}, SettingError, "two targets"),
        ({"formats": ("ogg",)}, SettingError, "ogg is no format"),
        ({"formats": ()}, SettingError, "nothing is no format"),
        ({"rate_hz": 500}, SettingError, "--rate"),
        ({"ceiling_dbtp": 0.5}, SettingError, "--ceiling"),
        ({"most_reduction_db": float("nan")}, SettingError, "--most-reduction"),
    ],
)
def test_what_is_not_allowed_is_refused_before_any_work(made, options, error, says):
    with pytest.raises(error, match=says):
        preview(made, **options)


def test_a_silent_mix_has_no_preview_and_leaves_nothing(made, tmp_path):
    silent = tmp_path / "silent"
    write_audio(tmp_path / "none.wav", np.zeros((RATE_HZ, 2)), RATE_HZ)
    create_song(silent, Song(title="None", rate_hz=RATE_HZ, tracks=(Track(id="a", name="A", file="../none.wav"),)))
    with pytest.raises(StateError, match=r"silent or shorter than 0\.4 s"):
        preview(silent, formats=("wav",))
    assert not (silent / "previews").exists()
    with pytest.raises(StateError, match="no rough mix"):
        preview(silent, target_of="rough")
