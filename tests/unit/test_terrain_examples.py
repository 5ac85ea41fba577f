"""The examples in the terrain room's docstrings run and give what they say."""

from __future__ import annotations

import doctest

import pytest

from lawnplat.terrain import gradient, scale, tin


@pytest.mark.parametrize("module", [gradient, scale, tin], ids=lambda module: module.__name__)
def test_examples(module):
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
