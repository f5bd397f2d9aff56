# SPDX-License-Identifier: Apache-2.0
"""The mix: strips as chains, lanes, the graph, and its rendering."""
