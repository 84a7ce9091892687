"""An exposed-conductive-part has no protective path.

Checks: every board, frame and class I circuit that an island feeds, in every operating state: a metallic PE or PEN path to a
reference of that island, or, where there is none (TT, IT), a PE path to an electrode of the installation.  An earth terminal is not
an earth, the mass of earth alone is not a TN path, and metal that is no part of the installation is no protective conductor.

Danger: a fault makes the part live and it stays live; the first to touch it completes the circuit.

Remedy: write, and lay, the PE core of the cable that feeds the part, or join its PE to the main earthing terminal.  A building of its own
may have an electrode of its own instead, where the rulebook allows TT there: with an RCD ahead of everything in it.  A board that is
doubly insulated has no frame, which its `equipment: class-II` says.
"""

from __future__ import annotations

from onebond.rule import PASS, Example, Exposed, Facts, Finding, Param, Params, Ref, Verdict, rule
from onebond_rules.shared import DOUBLE_INSULATED

OWN_ELECTRODE = "; a building of its own may have an electrode there instead, with an RCD ahead of everything in it"


def check(exposed: Exposed, params: Params) -> Verdict:
    """Whether this part is earthed in the island that feeds it."""
    if exposed.way:
        return PASS
    because = None
    if exposed.pen_split:
        because = ("bond-missing-at-pen-split", exposed.pen_split)
    elif exposed.root != exposed.id:
        because = ("pe-missing", exposed.root)
    what = {"board": "board", "changeover": "changeover", "source": "frame of the source", "circuit": "circuit"}
    return Finding(
        f"the {what[exposed.part.kind]} {exposed.id} has no protective path to the reference that feeds it, nor to an electrode",
        "a fault to its frame makes it live and nothing disconnects it: the first person to touch it completes the circuit",
        f"add PE to the cores of the cable that feeds {exposed.id}, or join its PE to the main earthing terminal"
        + (OWN_ELECTRODE if params["own-electrode"] and exposed.part.kind == "board" else "")
        + (DOUBLE_INSULATED if exposed.part.kind == "board" else ""),
        because=because,
    )


RULE = rule(
    id="pe-missing",
    level="error",
    over=Facts.exposed,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-4-41", "411.3.1.1", False),
        Ref("bs7671", "BS 7671", "411.3.1.1", False),
        Ref("nec", "NEC", "250.4(A)(2)", False),
        Ref("as-nzs", "AS/NZS 3000", "5.4", False),
        Ref("sans", "SANS 10142-1", "6.12", False),
    ),
    params=(
        Param(
            "own-electrode",
            "whether a building without PE from the main board may be earthed by an electrode of its own (TT), from memory",
            True,
            {"nec": False, "as-nzs": False, "sans": False},
        ),
    ),
    examples=(
        Example(
            "grid-hybrid", (("heater: {from: main, cores: L1 N PE", "heater: {from: main, cores: L1 N"),), ("heater",)
        ),
        # the machines on it follow
        Example(
            "workshop", (("to: machines, cores: L1 L2 L3 N PE", "to: machines, cores: L1 L2 L3 N"),), ("machines",)
        ),
        # a pipe that joins it to a board with a PE does not serve
        Example(
            "grid-hybrid",
            (
                ("heater: {from: main, cores: L1 N PE", "heater: {from: main, cores: L1 N"),
                ("electrodes:\n", "extraneous:\n  pipe: {joins: [main, heater]}\n\nelectrodes:\n"),
            ),
            ("heater",),
        ),
        Example("tt-house", (("electrodes:\n  rods: {at: main}\n", ""),), ("main",)),
        Example(
            "grid-hybrid",
            (("heater: {from: main, cores: L1 N PE", "heater: {from: main, equipment: class-II, cores: L1 N"),),
            (),
        ),
    ),
    page=__doc__,
)
