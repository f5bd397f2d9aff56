# SPDX-License-Identifier: Apache-2.0
"""The mix: strips, lanes, groups, sends, master."""
