"""A bonding conductor is too small.

Checks: every PE of its own that joins two places which other protective conductors join as well.  At the main earthing terminal it is
main bonding: half of what is asked of the earthing conductor, at least 6 mm2 copper or 16 mm2 aluminium, no more than 25 mm2 copper;
with a supply whose neutral is a PEN, BS 7671 goes by that neutral.  Between two other places, where it is supplementary, it has at
least 2.5 mm2 copper or 16 mm2 aluminium, and conducts no less than the smaller one of the protective conductors of the two places,
which may be of another metal.  To extraneous metal it is main bonding from the main earthing terminal (where no bar is one: from where
the electrodes are), and supplementary from anywhere else: no less than half of the protective conductor there.  That 4 mm2 are needed
where nothing protects it is not checked, since the description does not say how it lies.

Danger: in a fault the two places stand at different voltages, and a person who touches both is the better conductor.

Remedy: a bonding conductor of the size that is asked for.
"""

from __future__ import annotations

from onebond.rule import (
    PASS,
    Example,
    Facts,
    Finding,
    Need,
    NotApplicable,
    Param,
    Params,
    Protective,
    Ref,
    Verdict,
    rule,
)

_PIPE = ("electrodes:\n", "extraneous:\n  pipe: {kind: water-pipe}\n\nelectrodes:\n")
_BONDING = "bonding: {from: workshop, to: met, cores: PE, size: 10 mm2"


def check(one: Protective, params: Params) -> Verdict:
    """Whether this bonding conductor is large enough."""
    metal = "aluminium" if one.material == "aluminium" else "copper"
    least = Need(params[f"least-{metal}-mm2"], f"{params[f'least-{metal}-mm2']:g} mm2")
    if one.short_of(least):
        return _finding(one, least)
    if one.sort == "bonding":
        if not params["supplementary"]:
            return NotApplicable("the rulebook asks for no bonding beside the protective conductors")
        need = Need.metric(one.smaller_pe_mm2)
        return _finding(one, need) if one.short_of(need) else PASS
    if params["main"] == "least":
        return PASS
    for sure in (False, True):
        found = _main(one, params, sure)
        if found is not None and one.short_of(found):
            return _finding(one, found)
    return PASS


def _main(one: Protective, params: Params, sure: bool) -> Need | None:
    if params["main"] == "half":
        return one.by_pme(sure) if params["pme"] and one.pme else one.by_earthing(sure)
    return one.asked(params["main"], sure)


def _finding(one: Protective, need: Need) -> Finding:
    return Finding(
        f"{one.id} is smaller than a bonding conductor between its two places may be",
        "in a fault the two places stand at different voltages for a person who touches both",
        f"lay {need.text} or more",
        figures=(("written", one.size.text), ("asked for", need.text)),
    )


RULE = rule(
    id="bonding-conductor-small",
    level="error",
    over=Facts.bonding_conductors,
    check=check,
    refs=(
        Ref("iec", "IEC 60364-5-54", "544.1", False),
        Ref("iec", "IEC 60364-5-54", "544.2", False),
        Ref("bs7671", "BS 7671", "544.1.1, table 54.8", False),
        Ref("bs7671", "BS 7671", "544.2", False),
        Ref("nec", "NEC", "250.102(C)(1)"),
        Ref("as-nzs", "AS/NZS 3000", "5.6.3", False),
        Ref("sans", "SANS 10142-1", "6.13", False),
    ),
    params=(
        Param("least-copper-mm2", "the least of copper at any place, in mm2", 2.5, {"nec": 0.0, "as-nzs": 4.0}),
        Param("least-aluminium-mm2", "the least of aluminium at any place, in mm2", 16.0, {"nec": 0.0}),
        Param(
            "main",
            "what main bonding goes by: half of the earthing conductor, a table, or the least alone",
            "half",
            {"nec": "NEC 250.102(C)(1)", "as-nzs": "least"},
        ),
        Param("pme", "whether the neutral of a TN-C-S supply decides", False, {"bs7671": True}),
        Param(
            "supplementary",
            "whether the rulebook sizes bonding between other places",
            True,
            {"nec": False, "as-nzs": False},
        ),
    ),
    examples=(
        Example(
            "sized-house", ((_BONDING, "bonding: {from: workshop, to: met, cores: PE, size: 4 mm2"),), ("bonding",)
        ),
        Example(
            "sized-house", ((_BONDING, "bonding: {from: workshop, to: met, cores: PE, size: 6 mm2"),), ("bonding",)
        ),
        Example("sized-house", ((_BONDING, "bonding: {from: workshop, to: met, cores: PE, size: 16 mm2"),), ()),
        Example(
            "sized-house",
            ((_BONDING, "bonding: {from: workshop, to: main, cores: PE, size: 4 mm2"),),
            ("bonding",),
        ),
        Example("sized-house", ((_BONDING, "bonding: {from: workshop, to: main, cores: PE, size: 10 mm2"),), ()),
        # half of the 10 mm2 that come to the workshop; at the terminal half of 16 mm2
        *(
            Example(
                "sized-house",
                (_PIPE, (_BONDING, f"bonding: {{from: {place}, to: pipe, cores: PE, size: {size}")),
                finds,
            )
            for place, size, finds in (
                ("workshop", "4 mm2", ("bonding",)),
                ("workshop", "6 mm2", ()),
                ("met", "6 mm2", ("bonding",)),
                ("met", "10 mm2", ()),
                ("saw", "1.5 mm2", ("bonding",)),
                ("saw", "2.5 mm2", ()),
            )
        ),
        Example(
            "sized-house",
            ((_BONDING, "bonding: {from: workshop, to: met, cores: PE, size: 6 mm2"),),
            ("bonding",),
            "bs7671",
        ),
    ),
    page=__doc__,
    in_states=False,
)
