# SPDX-License-Identifier: Apache-2.0
"""A song from a folder of received tracks."""
