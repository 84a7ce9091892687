"""Which kinds of installation the good sites are, read from the sites themselves.

    python tests/coverage_of_sites.py      prints the table

The depth of distribution is the number of boards in a row behind a source, through changeovers and inverters; bars inside another
enclosure and earth bars are no boards of their own.  What lies exactly at a limit goes by the tables and formulas of ``operators``.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import NamedTuple

import defects
from operators import common, earthing, neutral, protection, sizes
from operators.common import Site, amount, lines, mm2, place, section

EARTHING = ("TN-S", "TN-C-S", "TT", "IT", "own")
KINDS = ("utility", "generator", "inverter", "transformer", "group", "direct-current")
BOOKS = ("iec", "bs7671", "nec", "as-nzs", "sans")


class Kind(NamedTuple):
    """What kind of installation a site is."""

    name: str
    book: str
    earthing: frozenset[str]
    kinds: frozenset[str]
    depth: int
    limits: tuple[str, ...]


def depth(site: Site) -> int:
    """The longest row of boards behind a source."""
    boards = section(site, "boards")
    counted = {name for name, one in boards.items() if not one.get("inside") and one.get("bars") != "PE"}
    further: dict[str, set[str]] = {}
    for link in section(site, "connections").values():
        if lines(link):
            further.setdefault(place(link["from"]), set()).add(place(link["to"]))

    def longest(at: str, seen: frozenset[str]) -> int:
        ways = [longest(one, seen | {one}) for one in further.get(at, ()) if one not in seen]
        return (at in counted) + max(ways, default=0)

    return max(longest(name, frozenset((name,))) for name in section(site, "sources"))


def at_limits(site: Site) -> Iterator[str]:
    """What of a site lies exactly at a limit of its rulebook."""
    for electrode, limit in earthing.tt_limits(site):
        if amount(site["electrodes"][electrode].get("resistance"), "ohm") == limit:
            yield "electrode: 50 V over the rated residual current"
    for _, rcd, _, sees, _ in protection.leaks(site):
        if abs(sees - 0.3 * protection.rated(site, rcd)) < 1e-9:
            yield "leakage: 0.3 of the rated residual current"
    for _, _, link in common.links(site):
        least = sizes.least_pen(site, link) if "PEN" in common.cores(link) else None
        if least and str(link.get("n-size", link.get("size"))) == least[0]:
            yield "PEN: the least one"
    for one in section(site, "electrodes").values():
        least = sizes.least_to_electrode(site, one)
        if least and str(one.get("conductor")) == least[0]:
            yield "earthing conductor: the least one"
    for one in section(site, "bonds").values():
        asked = sizes.bond_by_table(site, one)
        if asked and str(one.get("size")) == asked[0]:
            yield "link: as the table asks"
    for _, _, link in common.links(site):
        if "pe-size" in link and _by_table(site, link):
            yield "PE: as the table asks, smaller than the lines"
    residual = [amount(one["residual"], "A", "mA") or 0 for *_, one in common.devices(site, "rcd", "rcbo")]
    heads = [one for *_, one in common.devices(site, "rcd") if one.get("delay") == "S"]
    behind = max((one for one in residual if not heads or one != max(residual)), default=0.0)
    if heads and behind and abs(max(residual) - 3 * behind) < 1e-9:
        yield "RCDs in series: three times"
    for one in section(site, "direct-current").values():
        if amount(one.get("voltage"), "V") == 120 and one.get("monitoring") == "none":
            yield "battery: extra-low voltage"
    if next(protection.at_the_limit(site), None):
        yield "inverter: just what a breaker needs"
    for _, bond in neutral.relays(site):
        if amount(bond.get("closes-after"), "ms", "s") == neutral.longest_gap_s(site):
            yield "relay: the longest gap"


def _by_table(site: Site, link: Site) -> bool:
    line, pe = mm2(link), mm2(link, "pe-size")
    if common.book(site) == "nec":
        asked = sizes.nec_pe(link)
        return asked is not None and asked[0] > asked[1] and common.awg(link["pe-size"]) == asked[0]
    if not line or pe == line:
        return False
    return pe == (common.AS_NZS_5_1.get(line) if common.book(site) == "as-nzs" else common.iec_54_2(line))


def kind_of(name: str, site: Site) -> Kind:
    """What kind of installation a site is."""
    sources = section(site, "sources").values()
    found = {str(one["earthing"]) for one in sources if "earthing" in one}
    found |= {"own" for one in sources if one["kind"] != "utility" and one.get("operation") != "grid-following"}
    kinds = {str(one["kind"]) for one in sources}
    kinds |= {kind for key, kind in (("groups", "group"), ("direct-current", "direct-current")) if site.get(key)}
    limits = tuple(dict.fromkeys(at_limits(site)))
    return Kind(name, common.book(site), frozenset(found), frozenset(kinds), depth(site), limits)


def kinds() -> list[Kind]:
    """All good sites."""
    return [kind_of(defects.label(path), defects.load(path)) for path in defects.good_sites()]


def table(found: list[Kind]) -> str:
    """One row a site, and the sums below."""
    rows = [("site", "rulebook", "earthing", "sources", "depth", "exactly at a limit")]
    for one in found:
        systems = " ".join(system for system in EARTHING if system in one.earthing)
        sources = " ".join(kind for kind in KINDS if kind in one.kinds)
        rows.append((one.name, one.book, systems, sources, str(one.depth), "; ".join(one.limits)))
    width = [max(len(row[column]) for row in rows) for column in range(5)]
    text = [
        "  ".join((*(cell.ljust(n) for cell, n in zip(row[:5], width, strict=True)), row[5])).rstrip() for row in rows
    ]
    sums = (
        *((f"rulebook {book}", sum(one.book == book for one in found)) for book in BOOKS),
        *((f"earthing {system}", sum(system in one.earthing for one in found)) for system in EARTHING),
        *((f"source {kind}", sum(kind in one.kinds for one in found)) for kind in KINDS),
        ("depth of 3 or more", sum(one.depth >= 3 for one in found)),
        ("exactly at a limit", sum(bool(one.limits) for one in found)),
        ("sites", len(found)),
    )
    return "\n".join((*text, "", *(f"{count:4} {name}" for name, count in sums)))


def crossed(found: list[Kind]) -> str:
    """How many sites of each rulebook have each earthing system and each kind of source."""
    columns = (*EARTHING, *KINDS)
    head = " ".join(("rulebook", *columns))
    rows = [
        " ".join(
            (
                book.ljust(8),
                *(
                    str(sum(one.book == book and column in one.earthing | one.kinds for one in found)).rjust(
                        len(column)
                    )
                    for column in columns
                ),
            )
        )
        for book in BOOKS
    ]
    return "\n".join((head, *rows))


if __name__ == "__main__":
    sys.stdout.write(f"{table(kinds())}\n\n{crossed(kinds())}\n")
