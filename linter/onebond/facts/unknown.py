"""What a fact raises where something is not written: never a default, never a guess."""

from __future__ import annotations

from onebond.circuit.impedances import Missing
from onebond.span import Route


class Unknown(Exception):
    """Something that is needed is not written; the result is then *open* and names it.

    With a ``reason`` nothing is lacking in the file, and the reason says why no conclusion is possible.
    """

    def __init__(self, what: str, route: Route, reason: str = "") -> None:
        super().__init__(reason or what)
        self.what = what
        self.route = route
        self.reason = reason

    @classmethod
    def of(cls, missing: Missing) -> Unknown:
        """The exception for a missing entry."""
        return cls(missing.what, missing.route, missing.reason)
