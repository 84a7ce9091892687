"""What is not written is open, and the report names the entry and its line: one entry taken out of a base where it decides.

Each entry is one that the clause behind the rule needs; where it does not decide, the verdict stays what it is.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from by_hand import BY_ID
from onebond.testing import base, inspected


class Open(NamedTuple):
    """A base, an entry that is taken out of it, the subjects that are then open, and what the report names."""

    rule: str
    base: str
    edits: tuple[tuple[str, str], ...]
    subjects: tuple[str, ...]
    names: str
    at: str  # the beginning of the line that it points at
    rulebook: str = ""


_COOKER = "size: 6 mm2, length: 9 m, serves: fixed, through: [{kind: mcb, curve: B, rating: 32 A}], load: 6 kW"
_PUMP = "pump: {from: hut-rcd, cores: L1 N PE, size: 2.5 mm2, length: 150 m, serves: fixed, through: [{kind: mcb, curve: C, rating: 10 A}]"
_BARE = _PUMP.replace("hut-rcd", "hut")
_GROUP = ("residual: 30 mA, type: A}]}\n  to-", "residual: 300 mA, type: A}]}\n  to-")
_SERVICE = "PEN, size: 25 mm2, length: 15 m"

OPEN = (
    Open(
        "reference-lost-in-transition",
        "grid-hybrid",
        (("neutral-bond: while-inverting", "neutral-bond: while-inverting\n    closes-after: 100 ms"),),
        ("hybrid",),
        "opens-after of hybrid",
        "hybrid:",
        "sans",
    ),
    Open(
        "electrode-resistance-high",
        "measured-farm",
        (("resistance: 20 ohm, ", ""),),
        ("rods",),
        "the soil or the resistance of rods",
        "rods:",
    ),
    Open(
        "earthing-conductor-small",
        "sized-house",
        ((_SERVICE, "PEN, length: 15 m"),),
        ("earth-main",),
        "the size of service",
        "service:",
    ),
    Open(
        "earthing-conductor-small",
        "sized-house",
        (
            (
                "earth-main: {from: met, to: main, cores: PE, size: 16 mm2, ",
                "earth-main: {from: met, to: main, cores: PE, ",
            ),
        ),
        ("earth-main",),
        "the size of earth-main",
        "earth-main:",
    ),
    Open(
        "pe-small",
        "sized-house",
        (("size: 16 mm2, pe-size: 10 mm2, length: 25 m", "pe-size: 10 mm2, length: 25 m"),),
        ("to-workshop",),
        "the size of to-workshop",
        "to-workshop:",
    ),
    Open(
        "bond-small",
        "sized-house",
        (("main-link: {at: main, size: 16 mm2}", "main-link: {at: main}"),),
        ("main-link",),
        "the size of main-link",
        "main-link:",
    ),
    Open(
        "pen-small", "sized-house", ((_SERVICE, "PEN, length: 15 m"),), ("service",), "the size of service", "service:"
    ),
    Open(
        "bonding-conductor-small",
        "sized-house",
        (
            (
                "bonding: {from: workshop, to: met, cores: PE, size: 10 mm2, ",
                "bonding: {from: workshop, to: met, cores: PE, ",
            ),
        ),
        ("bonding",),
        "the size of bonding",
        "bonding:",
    ),
    Open(
        "disconnection-too-slow",
        "measured-house",
        ((_COOKER, _COOKER.replace(", rating: 32 A", "")),),
        ("cooker",),
        "the rating of the mcb in cooker",
        "cooker:",
    ),
    Open(
        "disconnection-too-slow",
        "measured-house",
        ((_COOKER, _COOKER.replace("curve: B, ", "")),),
        ("cooker",),
        "the curve of the mcb in cooker",
        "cooker:",
    ),
    Open(
        "disconnection-too-slow",
        "measured-house",
        ((_COOKER, _COOKER.replace("length: 9 m, ", "")),),
        ("cooker",),
        "the length of cooker",
        "cooker:",
    ),
    Open(
        "disconnection-too-slow",
        "measured-house",
        ((", loop-impedance: 0.35 ohm", ""),),
        ("main", "main-rcd", "annexe", "sockets", "cooker", "annexe-sockets"),
        "the loop-impedance of grid",
        "grid:",
    ),
    Open(
        "disconnection-too-slow",
        "measured-house",
        ((", through: [{kind: fuse, class: gG, rating: 63 A}]", ""),),
        ("main",),
        "the device that protects main against what grid gives",
        "main:",
    ),
    Open(
        "source-too-weak-to-trip",
        "island-hut",
        ((_PUMP, _BARE.replace(", rating: 10 A", "")),),
        ("pump",),
        "the rating of the mcb in pump",
        "pump:",
    ),
    Open(
        "source-too-weak-to-trip",
        "island-hut",
        ((_PUMP, _BARE.replace("curve: C, ", "")),),
        ("pump",),
        "the curve of the mcb in pump",
        "pump:",
    ),
    Open(
        "source-too-weak-to-trip",
        "island-hut",
        ((_PUMP, _BARE), ("    fault-current: {limit: 2 x rated}\n", "")),
        ("hut", "pump"),
        "the fault-current of inverter",
        "inverter:",
    ),
    Open(
        "rcd-type-unsuitable",
        "measured-farm",
        (("    isolated: yes\n", ""),),
        ("rcd-main",),
        "whether hybrid is isolated from its d.c. side",
        "hybrid:",
    ),
    Open(
        "rcd-type-unsuitable",
        "measured-farm",
        (("isolated: yes", "isolated: no"), ("residual: 300 mA, type: A, delay: S", "residual: 300 mA, delay: S")),
        ("rcd-main",),
        "the type of rcd-main",
        "through: [{kind: fuse",
    ),
    Open(
        "rcd-trips-in-service",
        "loaded-joinery",
        (("load: 2 kW, leakage: 2 mA", "load: 2 kW"),),
        ("rcd-main",),
        "the leakage of sockets",
        "sockets:",
    ),
    Open(
        "voltage-drop-high",
        "measured-house",
        ((", load: 6 kW", ""),),
        ("sockets", "cooker", "annexe-sockets"),
        "the load of cooker",
        "cooker:",
    ),
    Open(
        "single-failure-dangerous",
        "sized-house",
        ((_SERVICE, "PEN, length: 15 m"),),
        ("service",),
        "the size of service",
        "service:",
    ),
    Open(
        "rcd-missing",
        "measured-house",
        (("length: 24 m, serves: socket-outlets", "length: 24 m"), _GROUP),
        ("sockets",),
        "what sockets serves",
        "sockets:",
    ),
    Open(
        "breaking-capacity-low",
        "sized-house",
        (("rating: 63 A, breaking-capacity: 50 kA", "rating: 63 A"), ("max: 5 kA", "max: 7 kA")),
        ("service",),
        "the breaking-capacity of the fuse in service",
        "service:",
    ),
    Open(
        "dc-earth-fault-unwatched",
        "solar-cabin",
        ((", monitoring: insulation", ""),),
        ("roof",),
        "the monitoring of roof",
        "roof:",
    ),
)


@pytest.mark.parametrize("case", OPEN, ids=lambda case: f"{case.rule}-{case.names}")
def test_what_is_not_written_is_open_and_named(case: Open) -> None:
    text = base("onebond_rules", case.base)
    for old, new in case.edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    before = inspected(base("onebond_rules", case.base), (BY_ID[case.rule],), case.rulebook).site
    assert case.rulebook or not [one for one in before.results if one.kind == "open"]
    site = inspected(text, (BY_ID[case.rule],), case.rulebook).site
    opened = [one for one in site.results if one.kind == "open"]
    assert tuple(sorted(one.subject for one in opened)) == tuple(sorted(case.subjects))
    assert not [one for one in site.results if one.kind == "fail"]
    for one in opened:
        assert one.lacking == f"{case.names} is not written"
        spans = [span for _, span in one.mentions] or [one.span]
        lines = [text.splitlines()[span.line - 1].strip() for span in spans]
        assert any(line.startswith(case.at) for line in lines), lines
