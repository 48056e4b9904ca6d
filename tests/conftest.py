"""The demo records, loaded once for all tests."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def demo():
    from mendcurve.records import load

    return load(ROOT / "data_demo" / "csv")
