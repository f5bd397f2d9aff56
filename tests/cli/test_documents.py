# SPDX-License-Identifier: Apache-2.0
"""Every command: one document or sentences, the right call, the exit status."""

import math
import re
from pathlib import Path

import msgspec
import pytest

import invented
import invented_compare
import invented_preview
from mixwright.app.told import told
from mixwright.model.song import changed

#: Command, its words, what the stand-in answers, the song of the document, words that the sentences hold.
CASES = {
    "tour": (["demo"], invented.tour_result(), None, ["t/song/page.html", "invented"]),
    "start": (
        ["in", "--into", "bus"],
        invented.start_result(),
        "bus",
        ["19 ready, 2 need a look, 1 cannot be used", "mixwright plan night-bus --lead auto", "sent again"],
    ),
    "measure": (["bus"], told(invented.measure_result()), "bus", ["-16.2 LUFS", "5.0 LU above", "inside"]),
    "plan": (["bus"], invented.plan_result(), "bus", ["gain -2.9 dB", "Bass di stays", "mixwright accept bus --all"]),
    "accept": (["bus", "--all"], invented.decide_result(), "bus", ["Together: 2 moves on 2 layers", "mixwright mix"]),
    "refuse": (["bus", "level-bass-di-3f9a1c"], invented.decide_result(), "bus", ["2 accepted"]),
    "change": (["bus", "level-bass-di-3f9a1c", "gain_db=-1"], invented.decide_result(), "bus", ["level-bass-di"]),
    "add": (["bus", "level", "bass-di", "-1.5", "dB"], invented.decide_result(), "bus", ["3 proposed"]),
    "undo": (["bus"], invented.undo_result(), "bus", ["Taken back: accept 2 moves", "1 step before it"]),
    "redo": (["bus"], invented.redo_result(), "bus", ["Made again: accept 2 moves", "No steps after it"]),
    "chain": (["bus", "lead-vox"], invented.chain_result(), "bus", ["overloads the saturation", "bus lead-vox --hold"]),
    "mix": (["bus"], invented.mix_result(), "bus", ["bus/mixes/night-bus.wav", "-1.7 dBTP", "mixwright deliver bus"]),
    "preview": (
        ["bus"],
        invented_preview.preview_result(),
        "bus",
        ["not the mix: 2 files in bus/previews/001", "lowered to keep -1.0 dBTP", "drums: gain +1.5 dB in chorus 1"],
    ),
    "deliver": (["bus"], invented.deliver_result(), "bus", ["6 files in bus/prints/001", "holds", "-101.3 dBFS"]),
    "relink": (["bus", "/archive"], invented.relink_result(), "bus", ["1 file found, 1 still missing", "bass-di: ../"]),
    "refresh": (["bus"], invented.refresh_result(), "bus", ["1 new track", "mixwright relink bus FOLDER", "not added"]),
    "clean": (["bus", "--all"], invented.clean_result(), "bus", ["12.3 GB freed", "640 MB remain, 120 MB of it"]),
    "reference": (
        ["bus", "glass-harbour", "--for", "width"],
        invented_compare.references_result(),
        "bus",
        ["glass-harbour: for width; part-b-2 beside chorus 2", "Next: mixwright compare bus"],
    ),
    "compare": (
        ["bus"],
        invented_compare.compare_result(),
        "bus",
        ["0 of 3 figures of the whole", "Width: 2.0 dB wider", "1.8 dB more at 2.5 kHz", "turned by -7.1 dB to match"],
    ),
    "check": (["a.wav"], invented.check_result(), None, ["prints/001/Mix.wav: WAV, PCM_24, 48 kHz", "holds"]),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_document(name, app, mixwright):
    words, answer, song, _ = CASES[name]
    app(name, answer)
    whole = ["--detail", "bands"] if name in ("measure", "mix", "preview", "check") else []
    ended = mixwright(name, *words, "--json", *whole)
    assert ended.status == 0
    document = ended.document
    assert list(document) == ["schema", "command", "song", "warnings", "result"]
    assert (document["schema"], document["command"], document["song"]) == (1, name, song)
    assert all(isinstance(warning, str) for warning in document["warnings"])
    if name == "measure":  # what stands first there: see below
        lines = {key: getattr(answer.hearing, key) for key in ("voice_line", "findings", "grew")}
        answer = changed(answer, **lines, hearing=changed(answer.hearing, **dict.fromkeys(lines, ())))
    assert msgspec.convert(document["result"], type(answer)) == answer
    assert ended.err == ""
    assert ended.out.count("\n") == 1


@pytest.mark.parametrize("name", CASES)
def test_sentences(name, app, mixwright):
    words, answer, _, held = CASES[name]
    app(name, answer)
    ended = mixwright(name, *words)
    assert ended.status == 0
    assert ended.err == ""
    for part in held:
        assert part in ended.out
    assert not any(line.endswith(" ") for line in ended.out.splitlines())


@pytest.mark.parametrize("words", [["--json", "undo", "bus"], ["undo", "--json", "bus"], ["undo", "bus", "--json"]])
def test_global_options_stand_anywhere(words, app, mixwright):
    app("undo", invented.undo_result())
    assert mixwright(*words).document["result"] == {"undone": "accept 2 moves", "remaining": 1}


def test_start_hands_its_options_on(app, mixwright):
    calls = app("start", invented.start_result())
    words = "start in --into bus --reference a.wav --reference b.wav --rough r.wav --as-mixed --print p.wav"
    mixwright(*words.split(), "--rate", "96000", "--tempo", "97.5", "--title", "A B")
    ((arguments, settings),) = calls
    assert arguments == (Path("in"), Path("bus"))
    assert settings.pop("report")
    assert settings.pop("cancel")
    assert settings == {
        "references": (Path("a.wav"), Path("b.wav")),
        "rough": Path("r.wav"),
        "as_mixed": True,
        "mix_print": Path("p.wav"),
        "rate_hz": 96000,
        "tempo_bpm": 97.5,
        "title": "A B",
    }


@pytest.mark.parametrize(
    ("words", "arguments", "settings"),
    [
        ("accept bus --all", (Path("bus"), ()), {"everything": True}),
        ("accept bus m1 m2", (Path("bus"), ("m1", "m2")), {"everything": False}),
        ("refuse bus m1", (Path("bus"), ("m1",)), {}),
        ("change bus m1 gain_db=-1.5 strength=0.5", (Path("bus"), "m1", {"gain_db": "-1.5", "strength": "0.5"}), {}),
        ("add bus level bass -1.5 dB in chorus 2", (Path("bus"), "level bass -1.5 dB in chorus 2"), {}),
    ],
)
def test_decisions_hand_their_words_on(words, arguments, settings, app, mixwright):
    name = words.split()[0]
    calls = app(name, invented.decide_result())
    assert mixwright(*words.split()).status == 0
    assert calls == [(arguments, settings)]


def test_measure_hands_on_how_the_mix_is_listened_to(app, mixwright, tmp_path):
    calls = app("measure", invented.measure_result())
    short = mixwright("measure", "bus", "--json").document["result"]
    mixwright("measure", "bus", "--listening-level", "65", "--listening", "loudspeakers")
    for (_, settings), level, way in zip(calls, (79.0, 65.0), ("headphones", "loudspeakers"), strict=True):
        assert (settings["listening_level_db_spl"], settings["listening"]) == (level, way)
    assert mixwright("measure", "bus", "--listening-level", "91").status == 2
    assert mixwright("measure", "bus", "--listening-level", "nan").status == 2
    assert len(calls) == 2
    # Pictures are of all of it, also where little is told.
    mixwright("measure", "bus", "--pictures", tmp_path, "--track", "lead-vox")
    assert (tmp_path / "who-covers-whom.svg").stat().st_size > 0
    # Without --detail bands there are none.
    assert not {"bands", "kept"} & short["hearing"]["layers"][0].keys()
    assert short["hearing"]["layers"][0]["share"].keys() == {"cued", "strict"}


def test_measure_tells_the_line_that_is_followed_and_the_findings_first_and_once(app, mixwright):
    hearing = invented.measure_result().hearing
    app("measure", invented.measure_result())
    result = mixwright("measure", "bus", "--json").document["result"]
    assert list(result)[:3] == ["voice_line", "findings", "grew"]
    assert not {"voice_line", "findings", "grew", "stretches", "heard_by"} & result["hearing"].keys()
    assert [one["id"] for one in result["findings"]] == [one.id for one in hearing.findings]
    assert len(result["voice_line"]) == len(hearing.voice_line)
    # The contract of the command line.
    keys = "id track section start_s end_s band_hz size_db tolerance_db caused_by verdict"
    assert all(set(keys.split()) <= one.keys() for one in result["findings"])
    assert result["findings"][0]["caused_by"][0].keys() == {"track", "fraction"}
    assert result["voice_line"][0]["track"] == "lead-vox"
    (one,) = mixwright("measure", "bus", "--json", "--track", "bass-di").document["result"]["findings"]
    assert one["track"] == "bass-di"


def test_mix_and_deliver_hand_their_options_on(app, mixwright):
    calls = app("mix", invented.mix_result())
    mixwright("mix", "bus", "--out", "m.wav", "--format", "float")
    assert calls[0][1]["out"] == Path("m.wav")
    assert calls[0][1]["sample_format"] == "float32"
    calls = app("deliver", invented.deliver_result())
    mixwright("deliver", "bus", "--template", "{title}", "--undecided-ok", "m3,m5", "--mutes-ok", "pad")
    assert calls[0][1]["template"] == "{title}"
    assert calls[0][1]["undecided_ok"] == ("m3", "m5")
    assert (calls[0][1]["mutes_ok"], calls[0][1]["faults_ok"]) == (("pad",), ())
    assert calls[0][1]["agreed"] is None
    for wrong in (
        ["--undecided-ok"],
        ["--prints", "master"],
        ["--prints", ","],
        ["--depth", "23"],
        ["--rate", "47999"],
    ):
        assert mixwright("deliver", "bus", *wrong).status == 2
    assert mixwright("deliver").status == 2
    assert mixwright("deliver", "bus", "--verify", "bus/prints/001").status == 2
    assert len(calls) == 1


def test_preview_hands_its_options_on(app, mixwright):
    calls = app("preview", invented_preview.preview_result())
    mixwright("preview", "bus")
    words = "--target-of -14 --most-reduction 4 --format FLAC,opus --rate 44100 --ceiling -2 --no-compressor --propose"
    mixwright("preview", "bus", *words.split())
    mixwright("preview", "bus", "--target", "-9.5")
    keys = [
        "target_lufs",
        "target_of",
        "most_reduction_db",
        "formats",
        "rate_hz",
        "ceiling_dbtp",
        "compress",
        "propose",
    ]
    assert [tuple(settings[key] for key in keys) for _, settings in calls] == [
        (None, None, 6.0, ("wav", "mp3"), None, -1.0, True, False),
        (None, "usual", 4.0, ("flac", "opus"), 44100, -2.0, False, True),
        (-9.5, None, 6.0, ("wav", "mp3"), None, -1.0, True, False),
    ]
    for wrong in ("--target nan", "--target 3", "--format ogg", "--rate 1", "--ceiling 1", "--most-reduction -1"):
        assert mixwright("preview", "bus", *wrong.split()).status == 2
    assert len(calls) == 3


def test_a_loud_preview_warns(app, mixwright):
    app("preview", invented_preview.preview_result(loud=True))
    ended = mixwright("preview", "bus", "--json", "--strict")
    assert ended.status == 3
    assert ended.document["warnings"][0] == "It is 8.0 LU louder than the rough mix: turn down before you play it."
    assert "turn down before you play it" in mixwright("preview", "bus").out
    app("preview", invented_preview.preview_result())
    assert "turn down" not in mixwright("preview", "bus").out


def test_clean_and_relink_hand_their_options_on(app, mixwright):
    calls = app("clean", invented.clean_result())
    mixwright("clean", "bus")
    mixwright("clean", "bus", "--all", "--superseded")
    assert calls == [
        ((Path("bus"),), {"everything": False, "superseded": False}),
        ((Path("bus"),), {"everything": True, "superseded": True}),
    ]
    calls = app("relink", invented.relink_result())
    mixwright("relink", "bus")
    mixwright("relink", "bus", "there")
    assert [arguments for arguments, _ in calls] == [(Path("bus"), None), (Path("bus"), Path("there"))]


def test_strict_counts_what_is_not_as_received(app, mixwright):
    app("relink", invented.relink_result())
    ended = mixwright("relink", "bus", "--json", "--strict")
    assert ended.status == 3
    assert ended.document["warnings"] == ["../rough.wav: nothing there holds the same"]
    app("refresh", invented.refresh_result())
    warnings = mixwright("refresh", "bus", "--json").document["warnings"]
    assert "../tracks/Bass DI.wav: changed since it was received" in warnings
    assert "../tracks/Shaker.wav: missing" in warnings


@pytest.mark.parametrize(
    ("name", "words"),
    [("measure", "measure bus"), ("mix", "mix bus"), ("preview", "preview bus"), ("check", "check a.wav")],
)
def test_figures_of_every_band_are_given_on_demand(name, words, app, mixwright):
    app(name, getattr(invented_preview if name == "preview" else invented, f"{name}_result")())
    bands = ("third_octave_hz", "third_octave_db")
    short = mixwright(*words.split(), "--json")
    assert not any(key in short.out for key in (*bands, "reference_spectrum"))
    assert "integrated_lufs" in short.out
    full = mixwright(*words.split(), "--json", "--detail", "bands")
    assert all(key in full.out for key in bands)


def test_a_mix_is_told_where_the_user_put_it(app, mixwright):
    app("mix", msgspec.structs.replace(invented.mix_result(), file="../out/m.wav"))
    assert mixwright("mix", "bus", "--out", "out/m.wav").out.startswith("out/m.wav:\n")
    app("mix", invented.mix_result())
    assert mixwright("mix", "bus").out.startswith(f"bus/{invented.mix_result().file}:\n")


def test_formats_and_kinds_are_told_as_they_are_said(app, mixwright):
    app("deliver", invented.deliver_result())
    assert re.search(r"^  main +24 bit ", mixwright("deliver", "bus").out, re.MULTILINE)
    assert re.search(r"^  a cappella +", mixwright("deliver", "bus").out, re.MULTILINE)


def test_a_failed_check_ends_with_3(app, mixwright):
    app("check", invented.check_result(passed=False))
    assert mixwright("check", "a.wav").status == 3
    app("deliver", invented.deliver_result(passed=False))
    ended = mixwright("deliver", "bus", "--json")
    assert ended.status == 3
    assert ended.document["result"]["checks"][0]["passed"] is False


def test_strict_counts_what_needs_a_look(app, mixwright):
    app("check", invented.check_result(fault=True))
    assert mixwright("check", "a.wav").status == 0
    assert mixwright("check", "a.wav", "--strict").status == 3
    app("start", invented.start_result())
    ended = mixwright("start", "in", "--into", "bus", "--strict", "--json")
    assert ended.status == 3
    assert "bass-amp.wav: 214 clipped samples in 31 places" in ended.document["warnings"]
    app("undo", invented.undo_result())
    assert mixwright("undo", "bus", "--strict").status == 0


def test_no_number_that_is_none(app, mixwright):
    bad = msgspec.structs.replace(invented.LEVELS, integrated_lufs=math.nan, plr_db=math.inf, crest_db=-math.inf)
    app("mix", msgspec.structs.replace(invented.mix_result(), levels=bad))
    levels = mixwright("mix", "bus", "--json").document["result"]["levels"]
    assert levels["integrated_lufs"] is None
    assert levels["plr_db"] is None
    assert levels["crest_db"] is None
    assert "nan" not in mixwright("mix", "bus").out


def test_hostile_names_reach_no_terminal(app, mixwright):
    title = "Bus\x1b[2J\x1b]0;owned\x07\x9b31m\u202egnp\r\n\x00 \udc80end"
    app("start", invented.start_result(title=title))
    ended = mixwright("start", "in", "--into", "bus")
    assert ended.out.startswith("Busgnp  end: 22 tracks")
    assert not any(ord(c) < 32 or 127 <= ord(c) < 160 or c == "\u202e" for c in ended.out.replace("\n", ""))
    document = mixwright("start", "in", "--into", "bus", "--json")
    assert document.out.isascii()
    assert document.document["result"]["title"] == title.replace("\udc80", "\\udc80")
