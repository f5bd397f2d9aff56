# SPDX-License-Identifier: Apache-2.0
"""Moves: what to change, why, by how much."""
