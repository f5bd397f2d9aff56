# SPDX-License-Identifier: Apache-2.0
"""Saved chains: what is written is read again, and whatever else is in a file gets one line."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import strategies
from mixwright.errors import InputError, MixwrightError, OutputError
from mixwright.io.chain_file import read_chain, write_chain
from mixwright.model.chain import ChainFile
from mixwright.model.filter_inserts import Filters

chains = st.builds(
    ChainFile,
    name=strategies.words,
    note=strategies.words,
    in_lufs=st.none() | strategies.floats(-70.0, 5.0),
    inserts=st.lists(strategies.inserts(), min_size=1, max_size=4).map(tuple),
)


@settings(max_examples=40, deadline=None)
@given(chains)
def test_what_is_written_is_read(tmp_path_factory, chain):
    file = tmp_path_factory.mktemp("chain") / "a.toml"
    write_chain(file, chain)
    assert read_chain(file) == chain
    again = file.with_name("b.toml")
    write_chain(again, read_chain(file))
    assert again.read_bytes() == file.read_bytes()


@settings(max_examples=60, deadline=None)
@given(chains, st.integers(0, 2**32))
def test_whatever_stands_in_a_file_gets_one_line(tmp_path_factory, chain, seed):
    file = tmp_path_factory.mktemp("chain") / "a.toml"
    write_chain(file, chain)
    content = bytearray(file.read_bytes())
    rng = random.Random(seed)
    for _ in range(rng.randrange(1, 5)):
        at = rng.randrange(len(content))
        piece = rng.choice(
            [b"", b"[", b"]]", b'"', b"-1e999", b"nan", b"\x1b", b"\xff", b"=", b"\n", bytes([content[at]]) * 3]
        )
        content[at : at + rng.randrange(4)] = piece
    file.write_bytes(content)
    told = None
    try:
        read_chain(file)
    except MixwrightError as error:
        told = error
    if told is not None:
        assert str(told).isprintable()
        assert told.exit_status == 2
        assert "song.toml" not in str(told)


def test_what_cannot_be_read_or_written(tmp_path):
    chain = ChainFile(inserts=(Filters(),))
    write_chain(tmp_path / "a.toml", chain)
    with pytest.raises(OutputError, match="exists"):
        write_chain(tmp_path / "a.toml", chain)
    with pytest.raises(OutputError):
        write_chain(tmp_path / "none" / "a.toml", chain)
    with pytest.raises(InputError, match="cannot be read"):
        read_chain(tmp_path)
    (tmp_path / "large.toml").write_bytes(b"#" * (2 << 20))
    with pytest.raises(InputError, match="too large"):
        read_chain(tmp_path / "large.toml")
    (tmp_path / "latin.toml").write_bytes(b"name = '\xff'")
    with pytest.raises(InputError, match="UTF-8"):
        read_chain(tmp_path / "latin.toml")
