"""Parameters and figures that several rules have in common, so that a limit of a rulebook stands in one place."""

from __future__ import annotations

from typing import NamedTuple

from onebond.rule import EarthFault, Exempt, Feeding, Need, Param, Protective, bonded_within, figure

TIMES = Param("table", "whether the rulebook has a table of disconnection times", True, {"nec": False})
LONGEST = Param("longest-s", "longest time, in s, where there is no table (our choice, no source)", 5.0)
LOWEST_VOLTAGE = Param(
    "minimum-voltage-factor",
    "part of the nominal voltage that is left where the supply is at its lowest",
    1.0,
    {"bs7671": 0.95},
)
FUSES = Param(
    "fuses",
    "model of fuses: gates of the product standard (gG), or the impedances that the rulebook prints",
    "gG",
    {"bs7671": "BS 88-2"},
)


ANY = float("inf")


class Demand(NamedTuple):
    """What one kind of place asks for: an RCD of no more than so many ampere."""

    place: str  # "portable": fed by a portable source that feeds no building
    serves: str  # empty: every final circuit; "distribution": the cables between boards
    above_a: float  # rated current of the circuit
    to_a: float
    residual_a: float  # inf: the clause says that none is asked for
    clause: str
    where: str = ""  # "fixed": what stands there; "plugged": what is plugged in there or moves; empty: both
    own: bool = False  # each circuit by an RCD of its own
    all_poles: bool = False  # it opens the neutral too
    dwelt: bool = False  # a dwelling may stand there for good, to which `own` and `all_poles` do not apply
    lines: int = 0  # 1: circuits of one line, 2: circuits of several; 0: both
    when: str = ""  # what only a person can tell: asked for there
    checked: bool = False  # the clause was seen in a public text; else it is from memory

    @property
    def asking(self) -> str:
        """What asks for it, in words."""
        return "a portable set" if self.place == "portable" else f"the place ({self.place})"

    @property
    def see(self) -> str:
        """The clause, with the mark of one from memory."""
        return self.clause if self.checked else f"{self.clause} ?"

    def __str__(self) -> str:
        sort = {"": "every final circuit", "distribution": "cables between boards"}.get(self.serves, self.serves)
        where = {"fixed": " of the site", "plugged": " of what is plugged in"}.get(self.where, "")
        lines = {1: " of one line", 2: " of several lines"}.get(self.lines, "")
        rated = f" above {self.above_a:g} A" if self.above_a else ""
        rated += f" up to {self.to_a:g} A" if self.to_a < ANY else ""
        what = f"{self.residual_a * 1000:g} mA" if self.residual_a < ANY else "none"
        more = f"{', each its own' if self.own else ''}{', all poles' if self.all_poles else ''}"
        when = f", {self.when}" if self.when else ""
        return f"{self.place}, {sort}{where}{lines}{rated}: {what}{more}{when} ({self.see})"


MEDICAL = Param("medical-v", "the same in a medical location (710.411.3.2.5 ?; nec: as elsewhere)", 25.0, {"nec": 50.0})
SUPPLEMENTARY = Param(
    "supplementary",
    "where it stands that supplementary bonding serves where nothing opens in time; nothing: it does not",
    "411.3.2.6, 415.2 ?",
    {"nec": ""},
)
DOUBLE_INSULATED = "; a board that is doubly insulated needs none: where this is one, write `equipment: class-II` of it"
"""A remedy for boards ahead of the first RCD of a TT site, which can have none."""
HEAT = Param("heat", "whether sqrt(I2 t) / k is enough below the table", True, {"nec": False})
FUSES_OF_HEAT = Param("fuses", "the model of fuses", "gG", {"bs7671": "BS 88-2"})
ENOUGH_FOR_HEAT = "below the table, but enough for the heat of the faults that it carries"


def figures_of_heat(one: Protective, asked: Need, fuses: str) -> tuple[tuple[str, str], ...]:
    """What the heat of the worst fault asks of a conductor, and which fault that is; raises Unknown."""
    hottest = one.heat(fuses)
    return (
        ("by the heat of a fault", asked.text),
        ("that fault", f"{figure(hottest.current_a, 'A')} for {hottest.time_s:g} s at {hottest.at}"),
    )


def bonded_locally(fault: EarthFault, medical_v: float, clause: str) -> Exempt | None:
    """Whether supplementary bonding to the metal near a frame serves where nothing opens in time; raises Unknown."""
    limit_v = medical_v if fault.place == "medical" else 50.0
    if not clause or not bonded_within(fault, limit_v):
        return None
    return Exempt(
        f"nothing opens in time for certain, but its frame is bonded to the metal near it within {limit_v:g} V ({clause})",
        "the fault goes on until somebody switches off, what is not bonded and not written as near it is not looked at, and whoever "
        "stands on bare ground has the voltage to earth",
    )


def remains_of(feeding: Feeding) -> str:
    """What an exception for vehicles rests on besides, and no description of an installation says."""
    return "; its frame has to be joined to the frame of the vehicle" if feeding.vehicle else ""


def own_reference(feeding: Feeding) -> str:
    """What ties this neutral without tying it twice in another state."""
    source, inverter = feeding.id, next((one for one in feeding.feed.sources if one.mains_input), None)
    if feeding.waiting:
        return f"let {feeding.waiting[0]} close while {source} feeds alone: its condition keeps it open here"
    if inverter is not None:
        parted = ", and part its neutral from its input then (neutral-through: switched)"
        return (
            f"tie the output of {source} to its frame by a relay that is closed only while it inverts (neutral-bond: while-inverting)"
            + (parted if inverter.neutral_through == "solid" else "")
        )
    if feeding.meets:
        return (
            f"tie the neutral of {source} to its frame, and open that neutral with the lines wherever it meets a neutral that is "
            "tied already; a fixed link behind that place would be a second one"
        )
    return f"tie the neutral of {source} to PE once (a bond at its first board or inside it), or declare it IT with a monitor"
