# SPDX-License-Identifier: Apache-2.0
"""Accepted moves of every kind: the mix is, to the bit, the one with the same set by hand."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.engine.compiling import compile_mix
from mixwright.engine.curves import Curves
from mixwright.engine.graph import bus
from mixwright.engine.render import render
from mixwright.engine.returns import return_alone, without_sends
from mixwright.engine.stages import Bare
from mixwright.errors import SettingError
from mixwright.model.checks import check_song
from mixwright.model.colour_inserts import BassHarmonics, Saturation, Width
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand, Pass
from mixwright.model.keyed_inserts import Dip, DipBand, Duck, DuckRule
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.song import Group, Move, Section, Send, Song, Track, changed, with_strip
from mixwright.model.strip import Reverb, Strip
from reference.noise_songs import RATE_HZ, noise, rendered

FRAMES = 24000
BELL = Filters(bands=(EqBand(hz=700.0, gain_db=6.0),))
#: Every kind that becomes an insert: settings, key, and what is set by hand at full strength and at half.
KINDS = {
    "band_limit": (
        {"low_hz": 200.0, "high_hz": 5000.0, "slope_db_oct": 24.0}, "",
        Filters(high_pass=Pass(hz=200.0, slope_db_oct=24), low_pass=Pass(hz=5000.0, slope_db_oct=24)),
        # Geometric means: sqrt(20 * 200) and sqrt(5000 * 20000), in Hz.
        Filters(high_pass=Pass(hz=63.25, slope_db_oct=24), low_pass=Pass(hz=10000.0, slope_db_oct=24)),
    ),
    "shape": (
        {"hz": 400.0, "gain_db": -3.0}, "",
        Filters(bands=(EqBand(hz=400.0, gain_db=-3.0, q=2.0),)),
        Filters(bands=(EqBand(hz=400.0, gain_db=-1.5, q=2.0),)),
    ),
    "tilt": (
        {"hz": 120.0, "gain_db": -1.5}, "",
        Filters(bands=(EqBand(kind="tilt", hz=120.0, gain_db=-1.5),)),
        Filters(bands=(EqBand(kind="tilt", hz=120.0, gain_db=-0.75),)),
    ),
    "even_out": (
        {"threshold_db": -30.0, "ratio": 3.0, "attack_ms": 5.0, "gain_db": 2.0}, "",
        Compressor(threshold_db=-30.0, ratio=3.0, attack_ms=5.0, gain_db=2.0),
        # 3:1 takes two thirds of a dB off each dB; 1.5:1 one third.
        Compressor(threshold_db=-30.0, ratio=1.0 / (1.0 - 0.5 * (1.0 - 1.0 / 3.0)), attack_ms=5.0, gain_db=1.0),
    ),
    "colour": (
        {"drive_db": 12.0, "mix": 0.5}, "",
        Saturation(drive_db=12.0, mix=0.5),
        Saturation(drive_db=12.0, mix=0.25),
    ),
    "dip": (
        {"hz": 1000.0, "most_db": 8.0, "margin_db": 20.0, "attack_ms": 8.0, "release_ms": 250.0}, "v1",
        Dip(key="v1", margin_db=20.0, bands=(DipBand(hz=1000.0, most_db=8.0, attack_ms=8.0, release_ms=250.0),)),
        Dip(key="v1", margin_db=20.0, bands=(DipBand(hz=1000.0, most_db=4.0, attack_ms=8.0, release_ms=250.0),)),
    ),
    "duck": (
        {"depth_db": 6.0, "low_hz": 200.0, "release_ms": 100.0}, "v1",
        Duck(key="v1", rules=(DuckRule(depth_db=6.0, low_hz=200.0, release_ms=100.0),)),
        Duck(key="v1", rules=(DuckRule(depth_db=3.0, low_hz=200.0, release_ms=100.0),)),
    ),
    "width": ({"width": 0.25}, "", Width(widths=(0.25,)), Width(widths=(0.625,))),
}  # fmt: skip
TARGETS = {
    "pad": (("track", "pad"),),
    "bed": (("track", "pad"), ("track", "keys")),
    "wall": (("group", "wall"),),
    "send hall": (("send", "hall"),),
}


def bursts(seed, channels):
    on = (np.arange(FRAMES) // 3000 % 2 == seed % 2)[:, np.newaxis]
    return noise(FRAMES, channels, seed) * np.where(on, 1.0, 0.001).astype(np.float32)


STEMS = {"v1": bursts(1, 1), "pad": noise(FRAMES, 2, 3), "keys": noise(FRAMES, 2, 4)}


def song_of(*moves):
    """A voice, and a pad and keys that are one source, in one group; the keys and their group feed a hall."""
    tracks = (
        Track(id="v1", name="v1", file="v1", start_frame=200, strip=Strip(trim_db=-2.0, pan=0.5)),
        Track(id="pad", name="pad", file="pad", source="bed", group="wall", strip=Strip(inserts=(BELL,), trim_db=-1.0)),
        Track(id="keys", name="keys", file="keys", source="bed", group="wall", sends={"hall": -6.0},
              pre_sends={"hall": -20.0}, strip=Strip(fader_db=-3.0, pan=0.2)),
    )  # fmt: skip
    return Song(
        title="t", rate_hz=RATE_HZ, tracks=tracks,
        groups=(Group(id="wall", name="wall", sends={"hall": -12.0}, strip=Strip(fader_db=-1.0)),),
        sends=(Send(id="hall", name="hall", reverb=Reverb(kind="voice", decay_s=0.2)),),
        sections=(Section(name="a", start_s=0.0, end_s=0.2), Section(name="b", start_s=0.2, end_s=0.4)),
        moves=moves,
    )  # fmt: skip


def move(kind, target, settings, **fields):
    return Move(
        **{"id": f"{kind}-{target}", "state": "accepted", **fields}, kind=kind, target=target, settings=settings
    )


def by_hand(song, target, insert):
    for kind, id_ in TARGETS[target]:
        owner = next(one for one in (*song.tracks, *song.groups, *song.sends) if one.id == id_)
        strip = changed(owner.strip, inserts=(*owner.strip.inserts, insert))
        song = with_strip(song, kind, id_, strip)
    return song


def compiled(song, lanes=()):
    check_song(song)
    return compile_mix(song, lanes, {id_: len(audio) for id_, audio in STEMS.items()})


def mixed(graph, **how):
    """Return the mix and its logged gains."""
    if not graph.dynamics:
        return rendered(graph, STEMS, **how), None
    gains = []
    return rendered(graph, STEMS, log=gains.append, **how), Curves(np.concatenate(gains))


PLAIN = mixed(compiled(song_of()))[0]


@pytest.mark.parametrize("target", TARGETS)
@pytest.mark.parametrize("kind", KINDS)
def test_a_move_sounds_as_the_same_set_by_hand_to_the_bit(kind, target):
    settings, key, insert, _ = KINDS[kind]
    sections = ("b",) if target in ("pad", "wall") else ()
    graph = compiled(song_of(move(kind, target, settings, key=key, sections=sections)))
    hand = compiled(by_hand(song_of(), target, changed(insert, sections=sections)))
    found, _ = mixed(graph)
    assert found.tobytes() == mixed(hand)[0].tobytes()
    assert np.abs(found - PLAIN).max() > 1e-3
    assert graph.identity() == hand.identity() != compiled(song_of()).identity()


@pytest.mark.parametrize("kind", KINDS)
def test_strength_goes_from_nothing_to_all_of_it(kind):
    settings, key, _, half = KINDS[kind]
    found = compiled(song_of(move(kind, "pad", settings, key=key, strength=0.5)))
    assert found.identity() == compiled(by_hand(song_of(), "pad", half)).identity()
    for nothing in ({"strength": 0.0}, {"state": "proposed"}, {"state": "refused"}):
        graph = compiled(song_of(move(kind, "pad", settings, key=key, **nothing)))
        assert graph.identity() == compiled(song_of()).identity()


def test_a_band_limit_below_20_hz_comes_from_10_and_none_goes_beyond_the_rate():
    low = compiled(song_of(move("band_limit", "pad", {"low_hz": 14.0}, strength=0.5)))
    assert low.identity() == compiled(by_hand(song_of(), "pad", Filters(high_pass=Pass(hz=11.83)))).identity()
    slow = changed(song_of(move("band_limit", "pad", {"high_hz": 5000.0}, strength=0.5)), rate_hz=32000)
    hand = by_hand(changed(song_of(), rate_hz=32000), "pad", Filters(low_pass=Pass(hz=8485.28)))  # sqrt(5 * 14.4) kHz
    assert compiled(slow).identity() == compiled(hand).identity()


def test_a_colour_of_a_range_is_its_harmonics():
    settings = {"drive_db": 12.0, "low_hz": 50.0, "high_hz": 150.0}
    hand = BassHarmonics(low_hz=50.0, high_hz=150.0, drive_db=12.0, mix=0.5)
    found = compiled(song_of(move("colour", "keys", settings, strength=0.5)))
    song = song_of()
    strip = changed(song.tracks[2].strip, inserts=(hand,))
    assert found.identity() == compiled(with_strip(song, "track", "keys", strip)).identity()


def test_moves_stand_in_one_order_whatever_that_of_the_song():
    """band_limit, shape, tilt, even_out, colour, dip, duck, width; of a kind as in the song."""
    moves = [move(kind, "pad", settings, key=key) for kind, (settings, key, _, _) in KINDS.items()]
    second = move("shape", "pad", {"hz": 900.0, "gain_db": 2.0}, id="second")
    hand = song_of()
    for kind in KINDS:
        hand = by_hand(hand, "pad", KINDS[kind][2])
        if kind == "shape":
            hand = by_hand(hand, "pad", Filters(bands=(EqBand(hz=900.0, gain_db=2.0, q=2.0),)))
    for order in ([*moves, second], [*moves[::-1], second]):
        assert compiled(song_of(*order)).identity() == compiled(hand).identity()


@pytest.mark.parametrize("sections", [(), ("a", "b")])
@pytest.mark.parametrize(
    ("target", "track_db", "group_db"), [("keys", -4.0, -12.0), ("bed", -4.0, -12.0), ("wall", -4.0, -10.0)]
)
def test_a_send_move_feeds_more_of_what_it_names(target, track_db, group_db, sections):
    """Everything of it that feeds the send: the tracks, and the group where that is what it names."""
    found = mixed(
        compiled(song_of(move("send", target, {"gain_db": 4.0}, send="hall", strength=0.5, sections=sections)))
    )
    hand = song_of()
    keys = changed(hand.tracks[2], sends={"hall": track_db}, pre_sends={"hall": -18.0})
    wall = changed(hand.groups[0], sends={"hall": group_db})
    hand = changed(hand, tracks=(*hand.tracks[:2], keys), groups=(wall,))
    wanted = mixed(compiled(hand))[0]
    if not sections:
        assert found[0].tobytes() == wanted.tobytes()
    # Both sections last for 0.4 s: until their end it is the same, in another place of the arithmetic.
    np.testing.assert_allclose(found[0][: round(0.38 * RATE_HZ)], wanted[: round(0.38 * RATE_HZ)], rtol=0, atol=1e-12)
    assert np.abs(found[0] - PLAIN).max() > 1e-3


def test_a_send_move_in_a_section_leaves_the_others():
    graph = compiled(song_of(move("send", "keys", {"gain_db": 6.0}, send="hall", sections=("b",))))
    assert graph.identity() != compiled(song_of()).identity()
    found, _ = mixed(graph)
    before, inside = round(0.18 * RATE_HZ), round(0.2 * RATE_HZ)
    assert found[:before].tobytes() == PLAIN[:before].tobytes()
    assert np.abs(found[inside:] - PLAIN[inside:]).max() > 1e-3


@pytest.mark.parametrize("sections", [(), ("b",)])
def test_level_and_position_of_a_return_move(sections):
    level = compiled(song_of(move("level", "send hall", {"gain_db": -6.0}, sections=sections)))
    song = song_of()
    if sections:
        assert np.abs(mixed(level)[0] - PLAIN).max() > 1e-3
        return
    hand = with_strip(song, "send", "hall", Strip(fader_db=-6.0))
    assert compiled(hand).identity() == level.identity()
    place = compiled(song_of(move("pan", "send hall", {"left": -0.2, "right": 0.2})))
    assert place.identity() == compiled(with_strip(song, "send", "hall", Strip(left=-0.2, right=0.2))).identity()


def test_parts_excerpts_and_returns_hear_the_moves_too():
    """A dip and a duck, a send that moves and a return that is shaped: layers add up to the mix, excerpts are cut."""
    moves = (
        move("dip", "wall", KINDS["dip"][0], key="v1"),
        move("duck", "keys", KINDS["duck"][0], key="v1"),
        move("shape", "send hall", KINDS["shape"][0], sections=("b",)),
        move("send", "keys", {"gain_db": 6.0}, send="hall", sections=("b",)),
    )
    graph = compiled(song_of(*moves))
    assert graph.dynamics == ("group wall",)
    whole, curves = mixed(graph)
    dry = without_sends(graph, frozenset([bus("hall", "send")]))
    parts = [rendered(dry, STEMS, tracks=[id_], curves=curves) for id_ in STEMS]
    parts.append(rendered(return_alone(graph, bus("hall", "send")), STEMS, curves=curves))
    np.testing.assert_allclose(sum(parts), whole, rtol=0, atol=1e-7)
    span = 12000, 14000
    cut = np.concatenate(list(render(graph, STEMS, curves=curves, span=span)))
    assert np.abs(cut - whole[slice(*span)]).max() < 1e-4
    loud = np.concatenate(list(render(graph, STEMS, span=span, excerpt=True)))
    assert np.abs(loud - whole[slice(*span)]).max() < 1e-4


@pytest.mark.parametrize("kind", ["send", "level"])
def test_a_move_in_a_section_of_no_strength_is_none(kind):
    target = {"send": "keys", "level": "send hall"}[kind]
    other = {"send": "hall"} if kind == "send" else {}
    nothing = move(kind, target, {"gain_db": 6.0}, sections=("b",), strength=0.0, **other)
    assert compiled(song_of(nothing)).identity() == compiled(song_of()).identity()


def test_the_inserts_of_a_strip_by_themselves_are_its_own():
    """Moves of the strip come after them, moves of others are laid over these."""
    frames = {id_: len(audio) for id_, audio in STEMS.items()}
    elsewhere = move("tilt", "v1", KINDS["tilt"][0])
    own = (move("dip", "pad", KINDS["dip"][0], key="v1"), move("shape", "bed", KINDS["shape"][0]))
    shaped = move("shape", "keys", KINDS["shape"][0])
    found = Bare(song_of(elsewhere, *own), (), frames, "track", "pad")
    wanted = Bare(song_of(elsewhere, shaped), (), frames, "track", "pad")
    assert (found.strip.inserts, found.keys) == ((BELL,), {})
    assert found.graph.identity() == wanted.graph.identity()


def test_a_lane_of_a_hand_insert_stays_its_own():
    lane = Lane(target="pad", parameter="inserts[0].bands[0].gain_db", points=(Breakpoint(at_s=0.1, value=3.0),))
    shape = move("shape", "pad", KINDS["shape"][0])
    hand = by_hand(song_of(), "pad", KINDS["shape"][2])
    assert compiled(song_of(shape), [lane]).identity() == compiled(hand, [lane]).identity()
    beyond = changed(lane, parameter="inserts[1].bands[0].gain_db")
    with pytest.raises(SettingError, match="it has 1 insert"):
        compiled(song_of(shape), [beyond])


def test_what_does_not_fit_the_rate_is_told_of_the_move():
    bad = move("shape", "pad", {"hz": 40000.0, "gain_db": 1.0})
    with pytest.raises(SettingError, match=r"^move shape-pad: a filter at 40000 Hz does not fit"):
        compile_mix(song_of(bad), (), dict.fromkeys(STEMS, FRAMES))
