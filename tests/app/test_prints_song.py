# SPDX-License-Identifier: Apache-2.0
"""Every kind of print of a small invented song with buses that bend, a reverb and a limiter: sums, keys, rates."""

from __future__ import annotations

import hashlib
import json
import shutil
import zipfile
from pathlib import Path

import msgspec
import numpy as np
import pytest
import soundfile

from mixwright.app.deliver import deliver
from mixwright.app.mix import mix
from mixwright.app.verify import verify
from mixwright.delivery.manifest import Manifest
from mixwright.errors import InputError, SettingError, StateError
from mixwright.io.song_file import create_song, edit_song
from mixwright.io.write import write_wav
from mixwright.jobs.progress import Cancel
from mixwright.meter.measure import measure
from mixwright.model.agreement import Agreement
from mixwright.model.colour_inserts import Saturation
from mixwright.model.dynamics_inserts import Clipper, Compressor
from mixwright.model.keyed_inserts import Duck, DuckRule
from mixwright.model.prints import DeliverResult
from mixwright.model.song import Group, MutedWords, Send, Song, Track, changed
from mixwright.model.strip import Limiter, Master, Reverb, Strip

RATE_HZ = 16000
FRAMES = 32000
WORDS = MutedWords(start_s=0.5, end_s=1.0)
ALL = (
    "main", "vocal_up", "vocal_down", "instrumental", "a_cappella", "tv", "clean", "performance", "for_mastering",
    "stem", "layer", "dry", "wet", "group", "return",
)  # fmt: skip


def invented_song() -> Song:
    def track(name: str, role: str, group: str, strip: Strip, **more: object) -> Track:
        return Track(id=name, name=name, file=f"../tracks/{name}.wav", role=role, group=group, strip=strip, **more)  # type: ignore[arg-type]

    ducked = Duck(key="lead", rules=(DuckRule(depth_db=6.0),))
    tracks = (
        track("kick", "kick", "drums", Strip(fader_db=-2.0)),
        track("pad", "pad", "", Strip(inserts=(ducked,)), sends={"hall": -12.0}),
        track("lead", "lead vocal", "vocals", Strip(), sends={"hall": -6.0}),
        track("double", "double", "vocals", Strip(fader_db=-6.0), pre_sends={"hall": -9.0}),
        track("choir", "backing vocal", "vocals", Strip(left=-0.7, right=0.7)),
    )
    bent = Strip(inserts=(Compressor(threshold_db=-30.0, ratio=4.0), Saturation(drive_db=12.0)))
    return Song(
        title="Night Bus",
        rate_hz=RATE_HZ,
        tracks=tracks,
        groups=(Group(id="drums", name="Drums"), Group(id="vocals", name="Vocals", strip=bent)),
        sends=(Send(id="hall", name="Hall", reverb=Reverb(kind="voice", decay_s=0.4)),),
        master=Master(
            inserts=(Compressor(threshold_db=-24.0, ratio=2.0),), fader_db=6.0, limiter=Limiter(ceiling_dbtp=-3.0)
        ),
        muted_words=(WORDS,),
        agreement=Agreement(prints=ALL, depths=("float",)),  # type: ignore[arg-type]
    )


@pytest.fixture(scope="module")
def received(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("invented")
    (folder / "tracks").mkdir()
    noise = np.random.default_rng(5)
    for track in invented_song().tracks:
        audio = noise.uniform(-0.3, 0.3, (FRAMES, 2 if track.id in ("choir", "pad") else 1))
        audio[: FRAMES // 8] = 0.0
        settings = {"rate_hz": RATE_HZ, "channels": audio.shape[1], "frames": FRAMES, "sample_format": "pcm24"}
        write_wav(folder / "tracks" / f"{track.id}.wav", [audio], **settings)  # type: ignore[arg-type]
    create_song(folder / "song", invented_song())
    return folder


@pytest.fixture(scope="module")
def printed(received: Path) -> tuple[DeliverResult, dict[str, np.ndarray]]:
    result = deliver(received / "song")
    folder = received / "song" / result.folder
    return result, {file.print: soundfile.read(folder / file.file)[0] for file in result.files}


@pytest.fixture
def song(received: Path, tmp_path: Path) -> Path:
    shutil.copytree(received, tmp_path / "invented", ignore=shutil.ignore_patterns("prints"))
    return tmp_path / "invented" / "song"


def peak_db(audio: np.ndarray) -> float:
    return 20.0 * np.log10(max(float(np.max(np.abs(audio))), 1e-30))


def of_kind(printed: tuple[DeliverResult, dict[str, np.ndarray]], *kinds: str) -> np.ndarray:
    result, audio = printed
    return np.sum([audio[file.print] for file in result.files if file.kind in kinds], axis=0)


def agree(song: Path, **settings: object) -> None:
    edit_song(song, "test", lambda now: changed(now, agreement=Agreement(**settings)))  # type: ignore[arg-type]


def test_all_are_printed_and_start_and_end_together(printed) -> None:  # type: ignore[no-untyped-def]
    result, audio = printed
    assert {file.kind for file in result.files} == set(ALL)
    assert {len(one) for one in audio.values()} == {FRAMES + round(0.42 * RATE_HZ)}
    assert [check for check in result.checks if not check.passed] == []
    assert result.missing == ()
    for one in audio.values():  # nothing but the tails of what starts at an eighth lies elsewhere
        assert np.max(np.abs(one[: FRAMES // 8 - 200])) < 1e-5  # dither of the received files
        assert np.max(np.abs(one)) > 1e-4


@pytest.mark.parametrize("kinds", [("stem",), ("layer",), ("dry", "wet"), ("instrumental", "a_cappella")])
def test_parts_add_up_to_the_mix_through_all_that_bends(printed, kinds) -> None:  # type: ignore[no-untyped-def]
    """Float files: each rounded by 2^-25 of its largest sample at most, so a sum of a few stays below -120 dBFS."""
    main = printed[1]["Main"]
    assert peak_db(main) > -6.0
    assert peak_db(of_kind(printed, *kinds) - main) < -120.0
    told = [one for one in printed[0].sums if one.name.startswith("float")]
    assert len(told) == 8
    assert all(one.residual_peak_dbfs is None or one.residual_peak_dbfs < -120.0 for one in told)


def test_what_goes_into_the_master_comes_out_of_groups_and_returns(printed, song) -> None:  # type: ignore[no-untyped-def]
    """The sum is the mix of the same song with nothing on its master."""
    edit_song(song, "test", lambda now: changed(now, master=Master()))
    plain = soundfile.read(song / mix(song, sample_format="float32").file)[0]
    assert peak_db(of_kind(printed, "group", "return") - plain) < -120.0


def test_the_lead_is_up_and_down_by_a_decibel_before_the_limiter(printed, song) -> None:  # type: ignore[no-untyped-def]
    edit_song(song, "test", lambda now: changed(now, master=changed(now.master, limiter=None)))
    agree(song, prints=("main", "vocal_up", "vocal_down", "layer"), depths=("float",))
    result = deliver(song)
    audio = {f.print: soundfile.read(song / result.folder / f.file)[0] for f in result.files}
    up = audio["Main"] + (10 ** (1 / 20) - 1) * audio["Lead"]
    down = audio["Main"] + (10 ** (-1 / 20) - 1) * audio["Lead"]
    assert peak_db(audio["VocalUp"] - up) < -120.0
    assert peak_db(audio["VocalDown"] - down) < -120.0
    assert peak_db(audio["VocalUp"] - audio["Main"]) > -40.0
    # With the limiter they keep its ceiling, of which the mix makes use: measured, not as they were made.
    for name in ("Main", "VocalUp", "VocalDown"):
        assert -3.3 < measure(printed[1][name], RATE_HZ).true_peak_dbtp <= -2.99  # type: ignore[operator]


def test_words_are_muted_before_sends_in_every_voice(printed, song) -> None:  # type: ignore[no-untyped-def]
    audio = printed[1]
    start, end = round(WORDS.start_s * RATE_HZ), round(WORDS.end_s * RATE_HZ)
    fade = round(0.010 * RATE_HZ)
    clean, main, without = audio["Clean"], audio["Main"], audio["Instrumental"]
    assert peak_db((clean - main)[: start - fade - 1]) < -120.0
    # Within, what is left of the voices is the tail of what they sang before: it dies away, and nothing feeds it.
    left = clean - without
    quarter = (end - start) // 4
    assert peak_db(left[start : start + quarter]) > peak_db(left[end - quarter : end]) + 10.0
    # The group's saturation makes gains of what it hears in the mix, and none of a voice is left to multiply.
    edit_song(song, "test", lambda now: changed(now, sends=(changed(now.sends[0], mute=True),)))
    agree(song, prints=("clean", "instrumental"), depths=("float",))
    result = deliver(song, mutes_ok=["hall"])
    dry = {f.print: soundfile.read(song / result.folder / f.file)[0] for f in result.files}
    latent = 80  # the saturation's filters are so long
    assert peak_db((dry["Clean"] - dry["Instrumental"])[start + latent : end - latent]) < -120.0
    assert peak_db((dry["Clean"] - dry["Instrumental"])[end + fade + latent :]) > -30.0


def test_released_keys_are_those_of_a_song_without_the_voices(printed, song) -> None:  # type: ignore[no-untyped-def]
    agree(song, prints=("main", "instrumental"), depths=("float",), keys="released")
    result = deliver(song)
    audio = {f.print: soundfile.read(song / result.folder / f.file)[0] for f in result.files}
    silenced = changed(
        invented_song(),
        tracks=tuple(changed(t, mute=t.id in ("lead", "double", "choir")) for t in invented_song().tracks),
    )
    edit_song(song, "test", lambda _: silenced)
    alone = soundfile.read(song / mix(song, sample_format="float32").file)[0]
    assert peak_db(audio["Instrumental"] - alone) < -140.0
    assert peak_db(audio["Instrumental"] - printed[1]["Instrumental"]) > -40.0
    assert np.array_equal(audio["Main"], printed[1]["Main"])


def test_for_mastering_has_no_limiter_and_no_clipper(printed, song) -> None:  # type: ignore[no-untyped-def]
    def without(now: Song) -> Song:
        return changed(now, master=changed(now.master, limiter=None))

    def clipped(now: Song) -> Song:
        inserts = (Clipper(ceiling_db=-12.0), *now.master.inserts)
        return changed(now, master=changed(now.master, inserts=inserts, limiter=Limiter()))

    edit_song(song, "test", without)
    plain = soundfile.read(song / mix(song, sample_format="float32").file)[0]
    assert peak_db(printed[1]["ForMastering"] - plain) < -120.0
    edit_song(song, "test", clipped)
    agree(song, prints=("main", "for_mastering"), depths=("float",))
    result = deliver(song)
    audio = {f.print: soundfile.read(song / result.folder / f.file)[0] for f in result.files}
    assert peak_db(audio["ForMastering"] - plain) < -120.0
    assert peak_db(audio["Main"] - plain) > -20.0


def test_rates_and_depths_are_one_set(song: Path) -> None:
    agree(
        song,
        prints=("main", "instrumental", "a_cappella", "stem"),
        rates_hz=(44100, RATE_HZ),
        depths=("16", "24"),
        stem_depths=("float",),
        over_full_scale="float",
    )
    result = deliver(song)
    assert [check for check in result.checks if not check.passed] == []
    frames = {rate: {file.frames for file in result.files if file.rate_hz == rate} for rate in (44100, RATE_HZ)}
    long = FRAMES + round(0.42 * RATE_HZ)
    assert frames == {44100: {round(long * 44100 / RATE_HZ)}, RATE_HZ: {long}}
    assert len(result.files) == 2 * (3 * 2 + 3)
    audio = {file.file: soundfile.read(song / result.folder / file.file)[0] for file in result.files}
    at = {rate: [f for f in result.files if f.rate_hz == rate] for rate in frames}
    main = next(audio[f.file] for f in at[44100] if f.kind == "main" and f.sample_format == "pcm24")
    stems = np.sum([audio[f.file] for f in at[44100] if f.kind == "stem"], axis=0)
    assert peak_db(stems - main) < -120.0
    # Aligned at every rate: what is low enough for both is the same, at the same time.
    half = next(audio[f.file] for f in at[RATE_HZ] if f.kind == "main" and f.sample_format == "pcm24")
    grid = np.fft.rfft(main[:, 0])[:3000] / len(main) - np.fft.rfft(half[:, 0])[:3000] / len(half)
    assert np.max(np.abs(grid)) < 1e-6


def test_too_loud_a_print_goes_out_as_float_and_once(song: Path) -> None:
    edit_song(song, "test", lambda now: changed(now, master=Master(fader_db=12.0)))
    settings = {"prints": ("main", "stem", "for_mastering"), "depths": ("24", "float")}
    agree(song, **settings, over_full_scale="float")
    result = deliver(song)
    assert all(check.passed for check in result.checks)
    main = [file for file in result.files if file.kind == "main"]
    assert [(file.sample_format, file.gain_db) for file in main] == [("float32", 0.0)]
    assert main[0].true_peak_dbtp is not None
    assert main[0].true_peak_dbtp > 0.0
    agree(song, **settings)
    lowered = deliver(song)
    assert len({file.gain_db for file in lowered.files if file.kind != "for_mastering"}) == 1
    assert all(file.true_peak_dbtp is None or file.true_peak_dbtp <= 0.0 for file in lowered.files)
    assert len([check for check in lowered.checks if "lowered" in check.detail]) == 2


def test_what_is_owed_and_missing_is_listed(song: Path) -> None:
    edit_song(song, "test", lambda now: changed(now, muted_words=()))
    agree(song, prints=("main", "clean", "for_mastering"), approved_preview="previews/004")
    result = deliver(song)
    assert result.missing == (
        "clean: song.toml has no muted_words",
        "preview: previews/004 cannot be read (No such file or directory)",
    )
    assert [check.name for check in result.checks if not check.passed] == ["as agreed"]
    (song / "previews" / "004").mkdir(parents=True)
    (song / "previews" / "004" / "NightBus_Preview.mp3").write_bytes(b"as it is")
    result = deliver(song)
    assert [(copy.file, copy.kind) for copy in result.beside] == [("NightBus_Preview.mp3", "preview")]
    assert (song / result.folder / "NightBus_Preview.mp3").read_bytes() == b"as it is"
    assert all(one.state == "as printed" for one in verify(song / result.folder).files)
    with pytest.raises(SettingError, match="nothing of what is asked for"):
        deliver(song, agreed=Agreement(prints=("clean",)))


@pytest.mark.parametrize("file_format", ["wav", "flac"])
def test_prints_are_made_again_from_their_manifest(song: Path, tmp_path: Path, file_format: str) -> None:
    agree(song, prints=("main", "vocal_up", "stem"), depths=("16", "24"), file_format=file_format)
    first = song / deliver(song).folder
    manifest = msgspec.json.decode((first / "manifest.json").read_bytes(), type=Manifest)
    again = tmp_path / "again" / "song"
    shutil.copytree(song.parent / "tracks", tmp_path / "again" / "tracks")
    (again / "kept").mkdir(parents=True)
    (again / "song.toml").write_text(manifest.song)
    (again / "kept" / "lanes.json").write_bytes(msgspec.json.encode(manifest.lanes))
    second = again / deliver(again).folder
    names = sorted(path.name for path in first.iterdir())
    assert len(names) == 3 + 2 * 5
    assert sum(name.endswith(f".{file_format}") for name in names) == 10
    assert {name: (first / name).read_bytes() for name in names} == {n: (second / n).read_bytes() for n in names}
    for file in manifest.files:
        audio = soundfile.read(first / file.file, dtype="int32")[0]
        assert len(np.unique(audio)) > 1000
        raw = (audio >> 16).astype("<i2").tobytes()
        if file.sample_format == "pcm16":
            assert hashlib.sha256(raw).hexdigest() == file.audio_sha256


def test_monitoring_does_not_reach_a_print(song: Path) -> None:
    """A mix with layers alone or muted keeps nothing that a later print would hear."""
    agree(song, prints=("main", "stem"))
    first = deliver(song)
    mix(song, solo=["lead"])
    mix(song, mute=["kick"])
    second = deliver(song)
    assert [file.sha256 for file in first.files] == [file.sha256 for file in second.files]


def test_names_are_confirmed_one_by_one(song: Path) -> None:
    agree(song, prints=("main",))
    muted = changed(invented_song().tracks[0], mute=True)
    edit_song(song, "test", lambda now: changed(now, tracks=(muted, *now.tracks[1:])))
    edit_song(song, "test", lambda now: changed(now, sends=(changed(now.sends[0], mute=True),)))
    with pytest.raises(StateError, match=r"2 muted layers: kick, hall.*--mutes-ok kick,hall"):
        deliver(song)
    with pytest.raises(StateError, match="1 muted layer: hall"):
        deliver(song, mutes_ok=["kick"])
    with pytest.raises(SettingError, match=r"'snare' is no muted layer.*there are kick, hall"):
        deliver(song, mutes_ok=["kick", "hall", "snare"])
    with pytest.raises(SettingError, match="'m3' is no proposed move"):
        deliver(song, mutes_ok=["kick", "hall"], undecided_ok=["m3"])
    assert not (song / "prints").exists()
    deliver(song, mutes_ok=["kick", "hall"])


def test_verify_finds_what_is_missing_changed_and_new(received: Path, printed, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    folder = shutil.copytree(received / "song" / printed[0].folder, tmp_path / "there")
    found = verify(folder)
    assert {one.state for one in found.files} == {"as printed"}
    assert all(check.passed for check in found.checks)
    names = [file.file for file in printed[0].files]
    content = bytearray((folder / names[1]).read_bytes())
    content[-1] ^= 1
    (folder / names[1]).write_bytes(content)
    (folder / names[2]).write_bytes(content + bytes(1 << 21))
    (folder / names[0]).unlink()
    (folder / "other.wav").write_bytes(b"")
    (folder / ".hidden").write_bytes(b"")
    manifest = json.loads((folder / "manifest.json").read_bytes())
    (folder / "manifest.json").write_text(json.dumps(manifest))
    found = verify(folder)
    states = {one.file: one.state for one in found.files if one.state != "as printed"}
    assert states == {
        names[0]: "missing",
        names[1]: "changed",
        names[2]: "changed",
        "manifest.json": "changed",
        "other.wav": "extra",
    }
    assert [check.passed for check in found.checks] == [False, False, False]
    (folder / "manifest.json").write_bytes(b"{}")
    with pytest.raises(InputError, match="damaged, or of another version"):
        verify(folder)
    with pytest.raises(InputError, match=r"holds no manifest\.json"):
        verify(received)


@pytest.mark.parametrize("top", ["", "001/"])
def test_verify_reads_a_zip_without_unpacking_it(received: Path, printed, tmp_path: Path, top: str) -> None:  # type: ignore[no-untyped-def]
    folder = received / "song" / printed[0].folder
    packed = tmp_path / "prints.zip"
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in folder.iterdir():
            archive.write(path, top + path.name)
        archive.writestr("__MACOSX/._x", b"")
    assert {one.state for one in verify(packed).files} == {"as printed"}
    # Hostile: names that lead elsewhere, and a file that grows without end.
    with zipfile.ZipFile(packed, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(f"{top}../../evil", b"x")
        archive.writestr(f"{top}\x1b[2Jtitle", bytes(1 << 24))
    extra = [one.file for one in verify(packed).files if one.state == "extra"]
    assert len(extra) == 2
    assert not (tmp_path.parent / "evil").exists()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in folder.iterdir():
            big = path.name == printed[0].files[0].file
            archive.writestr(path.name, bytes(1 << 26) if big else path.read_bytes())
    states = [one.file for one in verify(packed).files if one.state == "changed"]
    assert states == [printed[0].files[0].file]
    packed.write_bytes(packed.read_bytes()[:1000])
    with pytest.raises(InputError, match="neither a folder nor a ZIP"):
        verify(packed)
    with pytest.raises(InputError, match="not there"):
        verify(tmp_path / "nothing")


def test_stopped_while_looking(received: Path, printed) -> None:  # type: ignore[no-untyped-def]
    from mixwright.errors import Cancelled

    cancel = Cancel()
    cancel.cancel()
    with pytest.raises(Cancelled):
        verify(received / "song" / printed[0].folder, cancel=cancel)
