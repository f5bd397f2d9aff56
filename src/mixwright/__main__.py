# SPDX-License-Identifier: Apache-2.0
"""`python -m mixwright`."""

from mixwright.cli.main import main

if __name__ == "__main__":
    main()
