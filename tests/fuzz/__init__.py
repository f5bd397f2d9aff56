# SPDX-License-Identifier: Apache-2.0
"""Mutated headers, audio, songs, kept files, names and command lines: nothing may fail in a way that is not ours.

Run on Linux, in an environment with the dependency group `fuzz`: ``cd tests && python -m fuzz --runs 100000``.
"""
