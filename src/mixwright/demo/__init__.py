# SPDX-License-Identifier: Apache-2.0
"""An invented song, made by code."""
