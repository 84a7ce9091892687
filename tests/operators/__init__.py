"""Defects that are made on purpose, by what they touch: each operator changes one thing in a good site and says what has to be found."""

from __future__ import annotations

from operators import direct, earthing, infeed, neutral, protection, same, sizes, special, written
from operators.common import Operator

OPERATORS: tuple[Operator, ...] = (
    *(*neutral.OPERATORS, *infeed.OPERATORS, *earthing.OPERATORS, *sizes.OPERATORS),
    *(*protection.OPERATORS, *direct.OPERATORS, *special.OPERATORS, *written.OPERATORS, *same.OPERATORS),
)
