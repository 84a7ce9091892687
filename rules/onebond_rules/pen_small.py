"""A PEN conductor is smaller than one may be.

Checks: the PEN core of every cable that is written, the supplier's own included, against the least of its material; where the
rulebook has a table for the grounded conductor of a service, against that by the lines.

Danger: a thin PEN breaks more easily than a neutral and a PE do, and when it does the loads put line voltage on every frame
behind it.

Remedy: a larger PEN, or N and PE as two conductors from the supply on.
"""

from __future__ import annotations

from onebond.rule import PASS, Example, Facts, Finding, Param, Params, Protective, Ref, Verdict, rule

_SERVICE = "cores: L1 L2 L3 PEN, size: 25 mm2"


def check(pen: Protective, params: Params) -> Verdict:
    """Whether this PEN is large enough."""
    least = params["least-aluminium-mm2" if pen.material == "aluminium" else "least-copper-mm2"]
    if not pen.size.mm2 >= least:
        return _finding(pen, f"{least:g} mm2")
    if params["table"]:
        need = pen.asked(params["table"])
        assert need is not None
        if pen.short_of(need):
            return _finding(pen, need.text)
    return PASS


def _finding(pen: Protective, least: str) -> Finding:
    return Finding(
        f"the PEN of {pen.id} is smaller than a PEN of {pen.material} may be",
        "when it breaks, the loads put line voltage on every frame behind it",
        f"a PEN of {least} or more, or N and PE as two conductors",
        figures=(("written", pen.size.text), ("the least", least)),
    )


RULE = rule(
    id="pen-small",
    level="error",
    over=Facts.pen_conductors,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-54", "543.4.1"),
        Ref("bs7671", "BS 7671", "543.4", False),
        Ref("nec", "NEC", "250.24(C)", False),
        Ref("nec", "NEC", "250.102(C)(1)"),
        Ref("as-nzs", "AS/NZS 3000", "5.3.3, table 5.1", False),
        Ref("sans", "SANS 10142-1", "6.12", False),
    ),
    params=(
        Param("least-copper-mm2", "the least PEN of copper, in mm2", 10.0, {"nec": 0.0, "as-nzs": 4.0}),
        Param("least-aluminium-mm2", "the least PEN of aluminium, in mm2", 16.0, {"nec": 0.0}),
        Param("table", "the table by the lines", "", {"nec": "NEC 250.102(C)(1)", "as-nzs": "AS/NZS 5.1"}),
    ),
    examples=(
        Example("sized-house", ((_SERVICE, "cores: L1 L2 L3 PEN, size: 25 mm2, n-size: 6 mm2"),), ("service",)),
        Example("sized-house", ((_SERVICE, "cores: L1 L2 L3 PEN, size: 10 mm2, material: aluminium"),), ("service",)),
        Example("sized-house", ((_SERVICE, "cores: L1 L2 L3 PEN, size: 16 mm2"),), ()),
        # on either side of 10 mm2 of copper and 16 mm2 of aluminium
        Example("sized-house", ((_SERVICE, "cores: L1 L2 L3 PEN, size: 25 mm2, n-size: 10 mm2"),), ()),
        Example(
            "sized-house", ((_SERVICE, "cores: L1 L2 L3 PEN, size: 25 mm2, n-size: 16 mm2, material: aluminium"),), ()
        ),
        Example(
            "sized-cabin", (("cores: L1 L2 PEN, size: 4 AWG", "cores: L1 L2 PEN, size: 4 AWG, n-size: 8 AWG"),), ()
        ),
        Example(
            "sized-cabin",
            (("cores: L1 L2 PEN, size: 4 AWG", "cores: L1 L2 PEN, size: 4 AWG, n-size: 10 AWG"),),
            ("drop",),
        ),
    ),
    page=__doc__,
    in_states=False,
)
