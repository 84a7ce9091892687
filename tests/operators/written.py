"""What is wrong with the description itself, and waivers."""

from __future__ import annotations

from collections.abc import Iterator

from operators.common import Operator, Site, Told, changed, class_one, finds, links, of, section, without

REFUSED = (finds("description-refused"),)

YESTERDAY, TODAY, LATER = "2026-11-24", "2026-11-25", "2027-06-30"
"""The site is inspected on the second of them."""


def board_misspelt(site: Site) -> Iterator[Told]:
    """A circuit that begins at a board which is not there."""
    for identifier, circuit in section(site, "circuits").items():
        after = changed(site)
        of(after, "circuits", identifier)["from"] = f"{circuit['from']}s"
        yield Told(identifier, after, REFUSED)


def unit_left_out(site: Site) -> Iterator[Told]:
    for name, identifier, link in links(site):
        if "length" in link:
            after = changed(site)
            of(after, name, identifier)["length"] = str(link["length"]).split()[0]
            yield Told(identifier, after, REFUSED)


def key_misspelt(site: Site) -> Iterator[Told]:
    for name, identifier, link in links(site):
        if "through" in link:
            after = changed(site)
            entry = of(after, name, identifier)
            entry["throuhg"] = entry.pop("through")
            yield Told(identifier, after, REFUSED)


def rulebook_of_nowhere(site: Site) -> Iterator[Told]:
    after = changed(site)
    after["site"]["rulebook"] = "vde"
    yield Told("site", after, REFUSED)


def _waiver(rule: str, at: str, until: str = LATER) -> Site:
    return {"rule": rule, "at": at, "reason": "as agreed on site", "until": until, "by": "J. Example"}


def _waived(site: Site, *waivers: Site) -> Site:
    after = changed(site)
    after["waivers"] = [*(after.get("waivers") or []), *waivers]
    return after


def waiver_of_nothing(site: Site) -> Iterator[Told]:
    """A waiver for a finding that is not there (any more)."""
    for identifier, circuit in section(site, "circuits").items():
        if class_one(circuit):
            yield Told(
                identifier, _waived(site, _waiver("pe-missing", identifier)), (finds("waiver-unused", identifier),)
            )


def waiver_of_no_rule(site: Site) -> Iterator[Told]:
    for identifier in section(site, "boards"):
        yield Told(identifier, _waived(site, _waiver("pe-mising", identifier)), (finds("waiver-unused", identifier),))


def waiver_at_the_neighbour(site: Site) -> Iterator[Told]:
    """A circuit without PE, and the waiver written for the circuit beside it: the finding stands and the waiver accepts nothing."""
    circuits = [one for one, entry in section(site, "circuits").items() if class_one(entry)]
    for identifier, other in zip(circuits, [*circuits[1:], *circuits[:1]], strict=True):
        if identifier != other:
            after = _waived(site, _waiver("pe-missing", other))
            without(of(after, "circuits", identifier), "PE")
            yield Told(identifier, after, (finds("waiver-unused", other), finds("pe-missing", identifier)))


def accepted_too_long_pe(site: Site) -> Iterator[Told]:
    """A circuit without PE that was accepted until yesterday: it counts again."""
    for identifier, circuit in section(site, "circuits").items():
        if class_one(circuit):
            after = _waived(site, _waiver("pe-missing", identifier, YESTERDAY))
            without(of(after, "circuits", identifier), "PE")
            yield Told(identifier, after, (finds("waiver-expired", identifier), finds("pe-missing", identifier)))


def accepted_too_long_earthing(site: Site) -> Iterator[Told]:
    """An earthing conductor of 0.75 mm2 that was accepted until yesterday."""
    for identifier, electrode in section(site, "electrodes").items():
        if "conductor" in electrode:
            after = _waived(site, _waiver("earthing-conductor-small", identifier, YESTERDAY))
            of(after, "electrodes", identifier)["conductor"] = "0.75 mm2"
            must = (finds("waiver-expired", identifier), finds("earthing-conductor-small", identifier))
            yield Told(identifier, after, must)


def accepted_too_long_board(site: Site) -> Iterator[Told]:
    """A board that nothing feeds, accepted until yesterday."""
    after = _waived(site, _waiver("never-energised", "spare-board", YESTERDAY))
    after["boards"]["spare-board"] = {}
    yield Told("spare-board", after, (finds("waiver-expired", "spare-board"), finds("never-energised", "spare-board")))


def waivers_ended(site: Site) -> Iterator[Told]:
    """The waivers that a site has, their day gone by."""
    for number, waiver in enumerate(site.get("waivers") or []):
        after = changed(site)
        after["waivers"][number]["until"] = YESTERDAY
        at = str(waiver["at"])
        yield Told(at, after, (finds("waiver-expired", at), finds(str(waiver["rule"]), at)))


def accepted_until_today(site: Site) -> Iterator[Told]:
    """The last day of a waiver counts: nothing is said."""
    for identifier, circuit in section(site, "circuits").items():
        if class_one(circuit):
            after = _waived(site, _waiver("pe-missing", identifier, TODAY))
            without(of(after, "circuits", identifier), "PE")
            # what follows from an accepted finding counts by itself: the island of a vehicle may rest on that PE
            mobile = any("mounted" in one for one in section(site, "sources").values())
            yield Told(identifier, after, (), frozenset(("electrode-missing",) if mobile else ()))


OPERATORS: tuple[Operator, ...] = (
    *(board_misspelt, unit_left_out, key_misspelt, rulebook_of_nowhere, waiver_of_nothing, waiver_of_no_rule),
    *(waiver_at_the_neighbour, accepted_too_long_pe, accepted_too_long_earthing, accepted_too_long_board),
    *(waivers_ended, accepted_until_today),
)
