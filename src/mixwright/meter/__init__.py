# SPDX-License-Identifier: Apache-2.0
"""Loudness, peaks, dynamics, stereo and spectrum by published standards."""
