# SPDX-License-Identifier: Apache-2.0
"""What is looked at in the folders of the tracks, and what waits there to be taken."""

from made_songs import make_song
from mixwright.app.waiting import Waiting, track_files, waiting_files
from mixwright.io.song_file import edit_song
from mixwright.model.song import changed


def test_a_track_without_a_hash_does_not_wait_and_a_link_to_itself_is_no_folder(tmp_path):
    folder = make_song(tmp_path)
    loop = tmp_path / "tracks" / "loop"
    loop.symlink_to(loop)
    files = track_files(folder)
    assert len(files) == 9
    assert waiting_files(folder, files) == Waiting((), ())
    other = lambda song: tuple(changed(t, sha256="0" * 64 if t.id == "pad" else "") for t in song.tracks)  # noqa: E731
    edit_song(folder, "hashes", lambda song: changed(song, tracks=other(song)))
    assert [path.name for path in waiting_files(folder, files).whole] == ["pad.wav"]
