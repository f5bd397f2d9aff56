# SPDX-License-Identifier: Apache-2.0
"""From a folder of received files to a song: faults, names, roles, sources, sections."""
