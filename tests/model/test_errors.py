# SPDX-License-Identifier: Apache-2.0
"""What an error says: one line, however many names there are."""

import pytest

from mixwright.errors import Cancelled, InputError, listed, where


def test_the_place_is_added_where_none_is_known():
    with pytest.raises(InputError) as told, where("kick.wav"):
        raise InputError("is empty", hint="export it again")
    assert str(told.value) == "kick.wav: is empty; export it again"
    with pytest.raises(InputError) as told, where("song"), where("kick.wav"):
        raise InputError("is empty")
    assert told.value.where == "kick.wav"


def test_being_stopped_is_of_no_place():
    with pytest.raises(Cancelled) as told, where("kick.wav"):
        raise Cancelled("stopped")
    assert str(told.value) == "stopped"


def test_a_long_list_of_names_stays_one_line():
    assert listed(["kick", "sn\nare"]) == "kick, sn\\nare"
    assert listed([f"layer-{i}" for i in range(60)], most=3) == "layer-0, layer-1, layer-2 and 57 more"
