"""The words of each rulebook, as data: what the rules write, and what people say who work by another rulebook.

The rules, the reports and the page are written in the words of IEC 60364 (IEC 60050-826 and -195 define them).  Sources of the others: NEC
article 100 and UL 943 (class A: 4 to 6 mA), BS 7671 part 2, AS/NZS 3000 section 1.4, SANS 10142-1 clause 3; all from memory, but for the
range of class A.  ``onebond.wording`` puts them into sentences.
"""

from __future__ import annotations

from typing import NamedTuple


class Term(NamedTuple):
    """A notion of the trade: the word of the rules, and those of the rulebooks that have another one."""

    iec: str
    bs7671: str = ""
    nec: str = ""
    as_nzs: str = ""
    sans: str = ""

    def under(self, rulebook: str) -> str:
        """The word under a rulebook."""
        said: str = getattr(self, rulebook.replace("-", "_"))
        return said or self.iec


TERMS: tuple[Term, ...] = (
    Term("earthing", nec="grounding"),
    Term("earth", nec="ground"),
    Term("earth fault", nec="ground fault"),
    Term(
        "protective conductor",
        nec="equipment grounding conductor",
        as_nzs="protective earthing conductor",
        sans="earth continuity conductor",
    ),
    Term("PE", nec="EGC"),
    Term(
        "PE core",
        bs7671="circuit protective conductor",
        nec="EGC",
        as_nzs="protective earthing core",
        sans="earth continuity core",
    ),
    Term(
        "electrode",
        bs7671="earth electrode",
        nec="grounding electrode",
        as_nzs="earth electrode",
        sans="earth electrode",
    ),
    Term("earthing conductor", nec="grounding electrode conductor", as_nzs="main earthing conductor"),
    Term(
        "main earthing terminal",
        nec="main grounding bus",
        as_nzs="main earthing bar",
        sans="consumer's earth terminal",
    ),
    Term("bonding conductor", bs7671="protective bonding conductor", as_nzs="equipotential bonding conductor"),
    Term("link between N and PE", nec="main or system bonding jumper"),
    Term("main link", nec="main bonding jumper", as_nzs="MEN link"),
    Term("link", nec="bonding jumper"),
    Term("bond", nec="bonding jumper"),
    Term("line conductor", nec="ungrounded conductor", as_nzs="active conductor"),
    Term("RCD", nec="GFCI or GFPE device", sans="earth leakage device"),
    Term("rated residual current", nec="rated trip current"),
    Term("breaker", bs7671="circuit-breaker", nec="breaker", as_nzs="circuit-breaker", sans="circuit-breaker"),
    Term("overcurrent device", bs7671="overcurrent protective device", as_nzs="overcurrent protective device"),
    Term("breaking capacity", nec="interrupting rating"),
    Term("final circuit", nec="branch circuit", as_nzs="final subcircuit"),
    Term("distribution circuit", nec="feeder", as_nzs="submain"),
    Term("socket-outlet", nec="receptacle"),
    Term(
        "changeover",
        bs7671="changeover switch",
        nec="transfer switch",
        as_nzs="changeover device",
        sans="changeover switch",
    ),
    Term("isolating transformer", nec="isolation transformer"),
    Term("board", nec="panelboard", as_nzs="switchboard", sans="distribution board"),
    Term("supplier", bs7671="distributor", nec="utility", as_nzs="electricity distributor"),
    Term("star point", nec="neutral point"),
    Term(
        "exposed-conductive-part",
        nec="normally non-current-carrying metal part",
        as_nzs="exposed conductive part",
        sans="exposed conductive part",
    ),
    Term("protective path", nec="effective ground-fault current path"),
)
"""Notions, each a noun in the singular: its plural and the article before it follow."""

BY_RATING: dict[str, dict[str, tuple[str, str, str]]] = {
    "nec": {
        "RCD": ("GFCI", "GFPE device", "ground-fault device"),
        "residual current device": ("GFCI", "GFPE device", "ground-fault device"),
        "rcd": ("GFCI", "GFPE device", "ground-fault device"),
        "rcbo": ("GFCI breaker", "GFPE breaker", "ground-fault breaker"),
    }
}
"""Words for a GFCI of class A and for what trips at more, where the device is known; the third where it was only spoken of before."""

NOUNS: dict[str, dict[str, str]] = {
    "nec": {
        "residual current device": "GFCI or GFPE device",
        "rcd": "GFCI or GFPE device",
        "rcbo": "GFCI or GFPE breaker",
        "mcb": "breaker",
        "mccb": "molded-case breaker",
        "earth electrode": "grounding electrode",
        "earth terminal": "grounding terminal",
        "earth bar": "grounding bar",
        "PE bar": "equipment grounding bar",
        "bond between N and PE": "main or system bonding jumper",
        "link between neutral and PE": "main or system bonding jumper",
        "bond from N to PE": "neutral-to-ground bonding jumper",
        "double bond": "second neutral-to-ground bond",
        "changeover switch": "transfer switch",
        "isolator": "disconnect switch",
        "insulation monitor": "ground detector",
        "insulation monitoring device": "ground detector",
        "main board": "main panelboard",
        "final board": "branch-circuit panelboard",
        "socket circuit": "receptacle circuit",
        "supplier's star point": "utility's neutral point",
        "IT system": "ungrounded system",
        "TN system": "grounded system",
        "network operator": "utility",
        "mains input": "AC input",
        "core": "conductor",
        "N": "neutral",
        "extraneous-conductive-part": "metal pipe or structural part",
    },
    "bs7671": {
        "residual current device": "RCD",
        "earth electrode": "earth electrode",
        "network operator": "distributor",
        "changeover switch": "changeover switch",
        "utility": "distributor",
    },
    "as-nzs": {
        "earth electrode": "earth electrode",
        "main board": "main switchboard",
        "main switchboard": "main switchboard",
        "network operator": "electricity distributor",
    },
    "sans": {
        "residual current device": "earth leakage device",
        "rcd": "earth leakage device",
        "rcbo": "earth leakage circuit-breaker",
        "earth electrode": "earth electrode",
        "main board": "main distribution board",
        "changeover switch": "changeover switch",
        "network operator": "supplier",
    },
}
"""Further nouns and compounds of one rulebook, in the singular."""

_BEFORE_PE = ("by", "in", "into", "no", "of", "on", "opens", "or", "over", "this", "through", "to", "touches", "with")

PHRASES: dict[str, dict[str, str]] = {
    "nec": {
        # forms of the verb
        "earthed": "grounded",
        "unearthed": "ungrounded",
        "earths": "grounds",
        # the same as one by one, but for sites that have something called `earth` or `link`
        "earth nowhere": "ground nowhere",
        "earth twice": "ground twice",
        "earth more than once": "ground more than once",
        "a neutral to earth": "a neutral to ground",
        "the neutral to earth": "the neutral to ground",
        "between neutral and earth": "between neutral and ground",
        "where neutral and earth are linked": "where neutral and ground are linked",
        "V to earth": "V to ground",
        "one of the two links": "one of the two bonding jumpers",
        # the earth itself
        "the mass of earth": "ground",
        "mass of earth": "ground",
        # conductors by their names in prose; as words of the description they stay, in brackets
        **{f"{word} PE": f"{word} the EGC" for word in _BEFORE_PE if word not in ("no", "this")},
        "and PE": "and the EGC",
        "and PE cores": "and EGCs",
        "N and PE": "neutral and EGC",
        "N to PE": "neutral to EGC",
        "between N and PE": "between the neutral and the EGC",
        "ties N to PE": "ties the neutral to the EGC",
        "N and PE bars": "neutral and equipment grounding bars",
        "its N and PE bars": "its neutral and equipment grounding bars",
        "the N and PE bars": "the neutral and equipment grounding bars",
        "on N or PE": "on the neutral or the EGC",
        "no N on PE": "no neutral on the EGC",
        "neither PE nor PEN": "neither an EGC nor a PEN",
        "a metallic PE or PEN path": "a metallic path over an EGC or a PEN",
        "whether PE is among": "whether the EGC (PE) is among",
        "touches PE": "touches the EGC",
        "add PE to the cores": "add an EGC (PE) to the cores",
        "or add PE to them": "or add an EGC (PE) to them",
        "take PE out of the poles": "take the EGC (PE) out of the poles",
        "is PE": "is the EGC (PE)",
        "with a dot is N": "with a dot is the neutral (N)",
        "that PE carries": "that the EGC carries",
        "PE by": "EGC by",
        "PE of its own": "EGC of its own",
        "PE and PEN": "EGC and PEN",
        "PE or PEN": "EGC or PEN",
        "PEN or PE": "PEN or EGC",
        "beside a supplier's PE or PEN": "beside a utility's EGC or PEN",
        # sides and ways
        "a drawn link": "a drawn link",
        "by the core of another circuit": "by the conductor of another circuit",
        "saturates the core": "saturates the core",
        "into N and PE": "into the neutral and the EGC",
        "switch only N": "switch only the neutral",
        "or N and PE as two conductors": "or a neutral and an EGC as two conductors",
        "joined by PE to the place": "joined by a grounding electrode conductor to the place",
        "join it by PE": "join it by a grounding electrode conductor",
        "the conductor of": "the grounding electrode conductor of",
        "in the cores of": "in the cores of",
        "correct the cores": "correct the cores",
        "add N to the poles": "add the neutral (N) to the poles",
        "take N out of the poles": "take the neutral (N) out of the poles",
        "supply side": "line side",
        "protected side": "load side",
        "changes over": "transfers",
        "extraneous metal": "metal piping or structure",
        "supplementary bonding": "bonding of the metal within reach",
        "to MET": "to main bus",
        # protection against faults
        "least rated residual current": "lowest rated trip current",
        "residual non-operating current": "current at which it must not trip",
        "class I circuit": "circuit of equipment that is not double-insulated",
        "class II": "double-insulated",
        "for an RCD of at most 30 mA": "for GFCI protection (at most 6 mA)",
        "an RCD of 30 mA ahead of the socket-outlets": "GFCI protection ahead of the receptacles",
        "that way needs the RCD too": "that way needs the protection too",
        "lack the residual current device that they need": "lack the GFCI or GFPE protection that they need",
        "earthed by an electrode only": "grounded by a grounding electrode only",
        "declared IT": "declared IT (ungrounded)",
        "island IT": "island IT (ungrounded)",
        "declare it IT": "declare it IT (ungrounded)",
        "which IT is meant": "which an ungrounded system is meant",
        "isolated from earth (IT)": "isolated from ground (IT)",
        "concrete-encased electrode": "concrete-encased electrode",
        # spelling
        "energised": "energized",
        "energises": "energizes",
        "colours": "colors",
        "aluminium": "aluminum",
        "per cent": "percent",
        "Licence": "License",
    },
    "bs7671": {
        "the PE of": "the protective conductor of",
        "a PE of": "a protective conductor of",
        "the supplier's earth": "the distributor's means of earthing",
        "the utility is absent": "the supply is absent",
    },
    "as-nzs": {
        "the one main link": "the MEN link",
        "The one link": "The MEN link",
        "the one link": "the MEN link",
        "one link at the main switchboard": "one MEN link at the main switchboard",
        "its line and its neutral": "its active and its neutral",
    },
    "sans": {},
}
"""Whole phrases of one rulebook, in the one form in which they stand; the longest that fits counts."""

NOTES: dict[str, tuple[tuple[str, str], ...]] = {
    "nec": (
        ("PE", "the equipment grounding conductor (EGC)"),
        ("N", "the grounded conductor, the neutral"),
        ("L1, L2, L3", "the ungrounded conductors"),
        (
            "PEN",
            "a grounded conductor that carries ground-fault current too, as between the utility's transformer and the service disconnect "
            "(NEC 250.142(A) ?)",
        ),
        (
            "bonds, neutral-bond",
            "the main bonding jumper at the service, the system bonding jumper of a separately derived system",
        ),
        (
            "rcd, rcbo",
            "a GFCI where its rated residual current is 6 mA or less (class A of UL 943, which trips from 4 to 6 mA); with a higher one it "
            "is no class A GFCI but ground-fault protection of equipment (GFPE), or a special-purpose GFCI",
        ),
        ("mcb, mccb", "a circuit breaker"),
        ("electrodes", "grounding electrodes; their conductor is the grounding electrode conductor"),
        ("changeovers", "transfer switches"),
        ("boards, circuits, socket-outlets", "panelboards and switchboards, branch circuits, receptacles"),
        (
            "TN, TT, IT",
            "TN: grounded at the source, with a metallic fault path back to it; TT: grounded by grounding electrodes alone; "
            "IT: ungrounded, or grounded through an impedance",
        ),
    ),
    "as-nzs": (
        ("bonds", "the MEN link, or another link between neutral and earth"),
        ("L1, L2, L3", "the active conductors"),
    ),
    "sans": (("PE", "the earth continuity conductor"), ("rcd, rcbo", "earth leakage protection")),
    "bs7671": (
        ("PE", "the protective conductor: of a circuit the circuit protective conductor (cpc)"),
        ("utility", "the distributor"),
    ),
}
"""Words of a description, which every rulebook writes alike, and what they are called under each."""
