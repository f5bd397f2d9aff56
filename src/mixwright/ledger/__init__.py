# SPDX-License-Identifier: Apache-2.0
"""Who is heard where, and who is in the way: from what was heard to findings."""
