"""A circuit for socket-outlets is longer than our office draws them.

Checks: the written length of every circuit that serves socket-outlets, whatever feeds it.

Danger: at the end of a long lead on a long circuit the breaker no longer opens in time, and nobody computed that lead.

Remedy: a board nearer to the outlets, or two circuits.
"""

from onebond.rule import (
    PASS,
    Drop,
    Example,
    Facts,
    Finding,
    NotApplicable,
    Param,
    Params,
    Ref,
    Unknown,
    Verdict,
    figure,
    rule,
)


def check(drop: Drop, params: Params) -> Verdict:
    """Whether one circuit, in one operating state that feeds it, is short enough."""
    circuit = drop.circuit
    if circuit.serves != "socket-outlets":
        return NotApplicable("it serves no socket-outlets")
    length_m = circuit.connection.length_m
    if length_m is None:
        raise Unknown(f"the length of {drop.id}", drop.route)
    if length_m <= params["longest-m"]:
        return PASS
    return Finding(
        f"{drop.id} is longer than our office draws circuits for socket-outlets",
        "a fault at the end of a lead that is plugged in may stay",
        "feed the outlets from a board that is nearer",
        figures=(("length", figure(length_m, "m")), ("longest", figure(params["longest-m"], "m"))),
    )


RULE = rule(
    id="long-socket-circuit",
    level="warning",
    over=Facts.drops,
    check=check,
    refs=(Ref("all", "our office manual", "3.2"),),
    params=(Param("longest-m", "longest circuit for socket-outlets, in m", 30.0, {"nec": 30.48}),),
    examples=(
        Example("cabin", (("length: 12 m", "length: 31 m"),), ("sockets",)),
        Example("cabin", (("length: 12 m", "length: 30 m"),), ()),
        Example("cabin", (("length: 12 m", "length: 100 ft"),), ("sockets",)),
        Example("cabin", (("length: 12 m", "length: 100 ft"),), (), "nec"),
        Example("cabin", (("length: 40 m", "length: 90 m"),), ()),
    ),
    page=__doc__,
    package="house_rules",
)
