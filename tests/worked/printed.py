"""Compare a computed number with a printed one: rounded half up to the printed digits, as tables are."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal


def printed(value: float, like: str) -> str:
    """The value with the decimals of a printed number, rounded half up (repr of the float first: 2.185 is 2.185)."""
    return str(
        Decimal(repr(float(value))).quantize(Decimal(1).scaleb(Decimal(like).as_tuple().exponent), ROUND_HALF_UP)
    )
