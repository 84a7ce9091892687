"""When the devices on a way open, as a function of the fault current: what a time-current plot shows."""

from __future__ import annotations

from onebond.circuit.devices import NEVER, Trip, sooner
from onebond.circuit.impedances import Missing
from onebond.facts.faults import ACTING, Fed, Passed, trip_of

LOWEST_A = 0.01
HIGHEST_A = 20_000.0
_PER_DECADE = 12
_EXACT = 1.002
"""Where the times change is found to this ratio of currents."""

Step = tuple[float, float | None, float | None]
"""From this current in A on: not before so many s (None: never), for certain by so many s (None: never certain)."""


class Curve:
    """The devices on one way, each with the part that it sees of the current that the source gives."""

    def __init__(self, fed: Fed, fuses: str = "gG") -> None:
        """``fuses`` names the model of fuses, gG or BS 88-2."""
        acting = tuple(one for one in fed.passed if one.device.kind in ACTING)
        self.current_a = max((one.current_a for one in acting), default=0.0)
        self.passed = tuple(
            one for one in acting if self.current_a and not isinstance(trip_of(one, one.current_a, fuses), Missing)
        )
        self.fuses = fuses
        self.shares = tuple(
            (_part(one.current_a, self.current_a), _part(one.residual_a or 0.0, self.current_a)) for one in self.passed
        )

    @property
    def names(self) -> tuple[str, ...]:
        """The devices in a few words, from the source on."""
        return tuple(dict.fromkeys(_named(one) for one in self.passed))

    def at(self, current_a: float) -> Trip:
        """When the first of them opens at a current in A."""
        trips = []
        for one, (line, residual) in zip(self.passed, self.shares, strict=True):
            seen = one._replace(residual_a=residual * current_a)  # one that is not determined counts as none
            trip = trip_of(seen, line * current_a, self.fuses)
            trips.append(NEVER if isinstance(trip, Missing) else trip)
        return sooner(*trips)

    def steps(self) -> tuple[Step, ...]:
        """The times from ``LOWEST_A`` to ``HIGHEST_A``, one step for each current at which they change; to three digits."""
        if not self.passed:
            return ()
        ratio = 10 ** (1 / _PER_DECADE)
        low, before = LOWEST_A, self.at(LOWEST_A)
        found: list[Step] = [(LOWEST_A, before.possible_from_s, before.certain_s)]
        while low < HIGHEST_A:
            high = min(low * ratio, HIGHEST_A)
            while low < high:
                after = self.at(high)
                if after == before:
                    break
                inner, outer = low, high
                while outer / inner > _EXACT:
                    middle = (inner * outer) ** 0.5
                    if self.at(middle) == before:
                        inner = middle
                    else:
                        outer = middle
                low, before = outer, self.at(outer)
                found.append((float(f"{outer:.3g}"), before.possible_from_s, before.certain_s))
            low = high
        return tuple(found)


def _part(of: float, whole: float) -> float:
    return float(f"{of / whole:.3g}")


def _named(passed: Passed) -> str:
    device = passed.device
    rating = f"{device.rating_a:g} A" if device.rating_a is not None else ""
    residual = f"{device.residual_a * 1000:g} mA" if device.residual_a is not None else ""
    if device.kind in ("mcb", "rcbo") and device.curve and device.rating_a is not None:
        rating = f"{device.curve}{device.rating_a:g}"
    if device.kind == "rcd":
        rating = ""
    data = " ".join(one for one in (device.fuse_class or "", rating, residual) if one)
    return f"{device.kind} {data} in {passed.connection}".replace("  ", " ")
