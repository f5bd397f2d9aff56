# SPDX-License-Identifier: Apache-2.0
import pytest

from mixwright.demo.record import DemoPaths, write_demo


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> DemoPaths:
    """The demo song, written once for all tests."""
    return write_demo(tmp_path_factory.mktemp("demo") / "song")
