# SPDX-License-Identifier: Apache-2.0
"""What the page says, and what it never holds."""

import base64
import hashlib
import re
from html.parser import HTMLParser

import msgspec
import pytest

import invented
import invented_preview
from mixwright.model.prints import DeliverResult
from mixwright.report.page import song_page

VOID = {"meta", "br", "hr", "input", "line", "rect", "circle", "path", "use"}


class Reader(HTMLParser):
    """Collects elements and text; fails on elements that are not closed in order."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.text += data


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    reader.text = re.sub(r"[\s\u00a0]+", " ", reader.text)
    return reader


def whole(**changes: object) -> str:
    parts = {
        "song": invented.song(),
        "intake": invented.start_result(),
        "measure": invented.measure_result(),
        "plan": invented.plan_result(),
        "mix": invented.mix_result(),
        "preview": invented_preview.preview_result(),
        "deliver": invented.deliver_result(),
        "folder": "night bus",
    }
    return song_page(**(parts | changes))


def test_it_says_what_the_song_is_and_what_comes_next():
    text = read(whole()).text
    assert "By The Invented Lanterns. 3:22 at 48 kHz, 120 BPM; 22 tracks in 6 groups. Lead vox carries it." in text
    assert "Next: decide on 3 proposed moves. mixwright accept 'night bus' --all" in text
    assert "Tracks: 19 ready, 2 need a look, 1 cannot be used." in text
    assert "3 layers of 19 stand outside the interval; the furthest is Warm pad, 5.0 LU above." in text
    assert "28 of 30 bands lie within what they span; the furthest outside is 250 Hz, 1.9 dB above." in text
    assert "Lead vox: in 2 of 7 phrases less than half of its loudness is left." in text
    assert "2 places lie outside tolerance, furthest first: Bass di, Lead vox." in text
    assert "Lower Bass di by 2.9 dB." in text
    assert "Place Choir high from hard left to 30 % left." in text
    assert "stems sum to the mix: difference \u2212101.3 dBFS; limit \u221290 dBFS" in text
    assert "6 files printed; all 2 checks hold." in text
    assert "2 files in previews/001: not the mix." in text
    assert "Most of all the drums lose 1.3 LU against the backing in chorus 1." in text


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"song": invented.song(lead=(), moves=())}, "mixwright plan 'night bus' --lead auto"),
        ({"song": invented.song(moves=()), "plan": None}, "mixwright plan 'night bus'"),
        ({"song": invented.song(moves=())}, "Next: render the mix as decided."),
        ({"song": invented.song(moves=()), "mix": None}, "Next: render the mix as decided."),
    ],
)
def test_the_next_step_follows_from_what_is_there(changes, says):
    assert says in read(whole(**changes)).text


def test_a_loud_preview_is_told_first():
    text = read(whole(preview=invented_preview.preview_result(loud=True))).text
    assert text.count("It is 8.0 LU louder than the rough mix: turn down before you play it.") == 2
    old = msgspec.structs.replace(invented_preview.preview_result(loud=True), sounding="old")
    text = read(whole(preview=old, sounding="new")).text
    assert "The song was changed after this preview was made." in text
    assert text.count("turn down before you play it") == 1


def test_what_is_out_of_date_is_said():
    song = invented.song(moves=())
    mix = msgspec.structs.replace(invented.mix_result(), sounding="new", moves=())
    measure = msgspec.structs.replace(invented.measure_result(), sounding="old")
    text = read(whole(song=song, mix=mix, measure=measure, sounding="new")).text
    assert "measure again" in text
    assert "Next: measure the layers as they stand now." in text
    assert "changed after the last mix" not in text
    printed = msgspec.structs.replace(invented.deliver_result(), sounding="old")
    measure = msgspec.structs.replace(measure, sounding="new")
    text = read(whole(song=song, mix=mix, measure=measure, deliver=printed, sounding="new")).text
    assert "The song was changed after it was printed." in text
    assert "Next: print and check the deliverables." in text
    printed = msgspec.structs.replace(printed, sounding="new")
    text = read(whole(song=song, mix=mix, measure=measure, deliver=printed, sounding="new")).text
    assert "Everything is rendered and printed as decided." in text


def test_a_song_without_results_has_a_page():
    text = read(song_page(invented.song(lead=(), moves=()))).text
    assert "Who carries it is not confirmed yet." in text
    assert "Levels of the layers" not in text


def test_a_failed_check_is_said_in_words():
    text = read(whole(deliver=invented.deliver_result(passed=False))).text
    assert "1 of 2 checks failed" in text
    assert "stems sum to the mix: fails" in text


def test_results_that_cannot_be_read_are_said():
    assert "plan.json: cannot be read" in read(whole(unread=["plan.json: cannot be read"])).text


def test_nothing_is_loaded_and_nothing_runs():
    page = whole()
    reader = read(page)
    policy = next(a["content"] for tag, a in reader.elements if a.get("http-equiv") == "Content-Security-Policy")
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)[1]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert policy == f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    for tag, attributes in reader.elements:
        assert tag not in {"script", "link", "img", "iframe", "object", "embed", "form", "base"}
        assert "style" not in attributes
        assert not any(name.startswith("on") for name in attributes)
        assert attributes.get("href", "#").startswith("#")
        assert "src" not in attributes
    assert "url(" not in style
    assert "@import" not in style
    assert "http" not in page.replace("http-equiv", "")


def test_links_lead_somewhere_and_ids_are_unique():
    reader = read(whole())
    ids = [attributes["id"] for _, attributes in reader.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert {a["href"][1:] for _, a in reader.elements if "href" in a} <= set(ids)


HOSTILE = '"><script>alert(1)</script>\x1b[31m\u202e&amp;<!--'


def test_hostile_text_stays_text():
    song = invented.song(title=HOSTILE)
    tracks = tuple(msgspec.structs.replace(t, name=HOSTILE, file=HOSTILE) for t in song.tracks)
    sections = (msgspec.structs.replace(song.sections[0], name=HOSTILE),)
    moves = tuple(msgspec.structs.replace(m, reason=HOSTILE, sections=(HOSTILE,)) for m in song.moves)
    song = msgspec.structs.replace(song, tracks=tracks, moves=moves, sections=sections, artist=HOSTILE, lead=(HOSTILE,))
    measure = invented.measure_result()
    levels = tuple(msgspec.structs.replace(t, name=HOSTILE) for t in measure.tracks)
    layers = tuple(msgspec.structs.replace(layer, name=HOSTILE) for layer in measure.hearing.layers)
    findings = tuple(msgspec.structs.replace(one, section=HOSTILE) for one in measure.hearing.findings)
    phrases = tuple(msgspec.structs.replace(one, section=HOSTILE) for one in measure.hearing.voice_line)
    hearing = msgspec.structs.replace(measure.hearing, layers=layers, findings=findings, voice_line=phrases)
    measure = msgspec.structs.replace(measure, tracks=levels, sections=sections, hearing=hearing)
    plan = msgspec.structs.replace(invented.plan_result(), left_as_is=(HOSTILE,), notes=(HOSTILE,))
    mix = msgspec.structs.replace(invented.mix_result(), file=HOSTILE, notes=(HOSTILE,))
    page = whole(song=song, measure=measure, plan=plan, mix=mix, folder=HOSTILE, unread=[HOSTILE])
    reader = read(page)
    assert not any(tag == "script" for tag, _ in reader.elements)
    assert '"><script>alert(1)</script>&amp;<!--' in reader.text
    assert "\x1b" not in page
    assert "\u202e" not in page
    assert "<!--" not in page.removeprefix("<!doctype html>")


def test_equal_data_give_equal_bytes():
    assert whole() == whole()


def test_every_picture_has_words_beside_it():
    reader = read(whole())
    pictures = [a for tag, a in reader.elements if tag == "svg" and "x" not in a]
    assert len(pictures) > 40
    assert all(attributes["aria-hidden"] == "true" for attributes in pictures)
    assert "keeps 81 % of its loudness; intro 81 %, verse 1 81 %" in reader.text
    assert "2.4 LU above (held \u221212.4 to \u22126.6)" in reader.text


def test_no_figure_is_missing_as_nan():
    empty = msgspec.structs.replace(
        invented.LEVELS, integrated_lufs=None, true_peak_dbtp=None, third_octave_db=(None,) * 31, plr_db=float("nan")
    )
    measure = msgspec.structs.replace(invented.measure_result(), mix=empty, tracks=(), sections=())
    page = whole(measure=measure, mix=msgspec.structs.replace(invented.mix_result(), levels=empty))
    assert "nan" not in read(page).text.lower().replace("harrow", "")
    deliver = DeliverResult(folder="p", manifest="m", files=(), checks=())
    assert "no files in p" in read(whole(deliver=deliver)).text


def test_a_long_name_can_be_read_whole_where_its_row_is_short():
    long = "Lead Vox Main Comp 07 FINAL (bounced) v2"
    measure = invented.measure_result()
    tracks = (msgspec.structs.replace(measure.tracks[0], name=long), *measure.tracks[1:])
    lead, *others = measure.hearing.layers
    hearing = msgspec.structs.replace(measure.hearing, layers=(msgspec.structs.replace(lead, name=long), *others))
    reader = read(whole(measure=msgspec.structs.replace(measure, tracks=tracks, hearing=hearing)))
    # In its level, as heard, in the song map, in the arrangement, and where it is covered.
    assert [tag for tag, attributes in reader.elements if attributes.get("title") == long] == ["span"] * 5


@pytest.mark.parametrize(("lead", "said"), [((), True), (("lead-vox",), False)])
def test_the_lead_is_asked_for_only_until_it_is_confirmed(lead, said):
    text = read(song_page(invented.song(lead=lead, moves=()), invented.start_result(), folder="bus")).text
    assert ("confirm who carries the song" in text) is said
    assert ("mixwright plan bus --lead auto" in text) is said
    assert "ask for a plan" in text


def test_figures_of_an_earlier_state_are_not_told_as_those_of_now():
    measure = msgspec.structs.replace(invented.measure_result(), sounding="before")
    measure = msgspec.structs.replace(
        measure, mix=msgspec.structs.replace(measure.mix, integrated_lufs=-2.6, true_peak_dbtp=6.7)
    )
    mix = msgspec.structs.replace(invented.mix_result(), sounding="now")
    text = read(song_page(invented.song(), None, measure, None, mix, folder="bus", sounding="now")).text
    assert "measure again" in text
    assert "The mix as it stands: \u221216.2 LUFS, true peak \u22121.7 dBTP." in text
    assert "6.7 dBTP" not in text
    assert text.count("before the last change") == 9
    text = read(song_page(invented.song(), None, measure, None, mix, folder="bus", sounding="before")).text
    assert "The mix as it stands: \u22122.6 LUFS, true peak 6.7 dBTP." in text
    assert "before the last change" not in text
