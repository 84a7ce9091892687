"""A link between N and PE lies on the protected side of an RCD.

Checks: for each energised source in turn, whether a closed bond lies on the side of an RCD that is cut off from that source
when the conductors that the RCD sums are taken out, in any operating state.

Danger: part of the neutral current goes round the RCD through PE.  It trips at once under load, or, where the reference is
only behind it, it sees neither a fault nor its absence as it should.  Whoever is plagued by tripping bridges it.

Remedy: move the link to the supply side of the RCD, or let a relay open it while the RCD's supply feeds the island.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    PRACTICE,
    Example,
    Facts,
    Finding,
    Mention,
    Params,
    Ref,
    Surplus,
    Unknown,
    Verdict,
    figure,
    open_figure,
    rule,
)

MAY, WILL = 0.5, 1.0
"""Parts of the rated residual current at which a device may and at which it has to operate (IEC 61008-1)."""


def check(surplus: Surplus, params: Params) -> Verdict:
    """Whether this reference is behind an RCD."""
    if not surplus.behind:
        return PASS
    name = surplus.behind[0][0]
    because = ("inverter-fed-behind-rcd", surplus.fed_behind) if surplus.fed_behind else None
    if surplus.kept:
        because = ("neutral-bonded-twice", surplus.id)
    inner = surplus.reference.kind == "internal" and surplus.id == surplus.reference.id
    figures, weight = _figures(surplus)
    words = surplus.reference.words if inner else surplus.id
    return Finding(
        f"{words} ties N to PE on the protected side of the RCD in {name}",
        "neutral current returns through PE past the RCD: it trips under load, and it is the first thing to be bridged",
        f"move the link to the supply side of the RCD in {name}, or hold it by a relay only while nothing feeds it through that RCD",
        tuple(Mention(rcd, at, f"the RCD, fed from {by}") for rcd, at, by in surplus.behind),
        because=because,
        figures=figures,
        weight=weight,
    )


def _figures(surplus: Surplus) -> tuple[tuple[tuple[str, str], ...], float]:
    """The loads at which the RCD operates, and the part of a load that passes it by."""
    sharing, rcd = surplus.sharing, surplus.rcd
    if sharing is None or rcd is None:
        return (), 0.0
    may, will = f"{surplus.behind[0][0]} may trip from a load of", "it has to trip from a load of"
    if rcd.device.residual_a is None:
        return ((may, f"open: the residual of {surplus.behind[0][0]} is not written"),), 0.0
    try:
        beside = sharing.beside(rcd)
    except Unknown as unknown:
        return ((may, open_figure(unknown)),), 0.0
    if beside is None:
        return ((may, "open: up to the resistance of contacts"),), 0.0
    if beside < 1e-6:
        return ((may, "none: no neutral current passes it by"),), 0.0
    found = []
    for name, part in ((may, MAY), (will, WILL)):
        load_a = part * rcd.device.residual_a / beside
        watts = f" ({figure(load_a * sharing.nominal_v, 'W')})" if sharing.nominal_v else ""
        above = ", more than its rating" if rcd.device.rating_a is not None and load_a > rcd.device.rating_a else ""
        found.append((name, figure(load_a, "A") + watts + above))
    return tuple(found), beside


RULE = rule(
    id="bond-behind-rcd",
    level="error",
    over=Facts.references,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-55", "551.6.2", False),
        Ref("iec", "IEC 60364-5-55", "551.7.2", False),
        Ref("bs7671", "BS 7671", "551.6.2", False),
        Ref("nec", "NEC", "250.142(B)"),
        Ref("as-nzs", "AS/NZS 3000", "7.3.8.1.1(c)"),
        PRACTICE,
    ),
    examples=(
        Example(
            "workshop", (("electrodes:\n", "bonds:\n  lamp-link: {at: light-rcd}\n\nelectrodes:\n"),), ("lamp-link",)
        ),
        # a TT supply that somebody linked like a TN supply
        Example("tt-house", (("electrodes:\n", "bonds:\n  main-link: {at: main}\n\nelectrodes:\n"),), ("main-link",)),
        Example(
            "grid-hybrid",
            (
                ("neutral-bond: while-inverting", "neutral-bond: none"),
                ("bonds:\n", "bonds:\n  relay: {at: essential-rcd, closed: {ts: island, hybrid: inverting}}\n"),
            ),
            ("relay",),
        ),
        Example(
            "grid-hybrid",
            (
                ("neutral-bond: while-inverting", "neutral-bond: none"),
                ("bonds:\n", "bonds:\n  relay: {at: essential, closed: {ts: island, hybrid: inverting}}\n"),
            ),
            (),
        ),
    ),
    page=__doc__,
)
