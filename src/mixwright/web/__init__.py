# SPDX-License-Identifier: Apache-2.0
"""The page: a server on this machine alone, and what it hands to the browser."""
