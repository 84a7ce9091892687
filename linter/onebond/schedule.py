"""The test schedule of a site: what to measure, in which state, with what, what it should show and what another reading means.

The order is that of IEC 60364-6, 6.4.3 (from memory): without voltage first, then in each operating state.  What is expected follows from
the circuit of the description; how much a reading may differ from it is said beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

from onebond.circuit.impedances import Missing, core_ohm
from onebond.facts import EarthFault, Facts
from onebond.facts.allowed import ElectrodeAt, by_place, loop_at
from onebond.facts.taken import trip_times
from onebond.meter.bench import MAY_TRIP, MUST_TRIP, Bench, Shown
from onebond.meter.diagnose import FLOOR, TRIPS, Doctor, as_expected
from onebond.meter.measurements import Measurement, Site, test_of, where_of
from onebond.meter.plan import DEAD, Entry, Plan, is_it, plan
from onebond.meter.plant import Plant, called, opens_lines_alone
from onebond.meter.telling import telling
from onebond.meter.visits import Proof, Visit, feeds_of
from onebond.model import DIRECT, LINES, Installation, Source
from onebond.network import Variable
from onebond.rule import Params, Rule, electrode_told, figure, loop_told
from onebond.states import State, reach

_TAKEN_OUT = "For insulation tests take out N to PE links, insulation monitors, loads, electronics and surge protection, and put them back."
_NO_TOUCH = "Nobody may touch frames meanwhile."

CAUTIONS = (
    "This sheet is for a licensed electrician or somebody who works under one; local codes and the maker's instructions come first.",
    "Prove the tester on a known live source before and after each test for dead; lock and tag what must stay open.",
    "A neutral may be live: with a floating or doubly earthed neutral, treat N and PE as live until measured.",
    "An inverter, a generating set or a battery may start by itself: make sure that it cannot before the dead tests.",
    "The terminals of a battery, and an array in daylight, cannot be switched off: insulated tools, no jewellery, covers over the rest.",
    _TAKEN_OUT,
    "Loop and RCD tests pass current through the protective conductor: nobody may touch frames meanwhile.",
)


class Row(NamedTuple):
    """One test of the schedule; the reading stays empty."""

    number: str
    visit: int  # 0: without voltage
    measurement: Measurement | None  # None: nothing that follows from the circuit
    test: str
    where: str
    instrument: str
    method: str
    expected: str
    limit: str
    means: str
    missing: str = ""  # what is not written, so that nothing can be expected
    caution: str = ""  # what has to be repeated where such a test is done


class Stop(NamedTuple):
    """One state in which tests are done: how to get there from the one before, and what it proves."""

    number: int
    state: tuple[tuple[str, str], ...]
    unusual: tuple[tuple[str, str], ...]  # what of it is not as usual
    positions: tuple[tuple[str, str], ...]  # of everything that can be operated, by what it is called
    steps: tuple[str, ...]
    proves: tuple[str, ...]
    remarks: tuple[str, ...]


class Schedule(NamedTuple):
    """The schedule of a site as plain data."""

    site: str
    rulebook: str
    revision: str | None
    cautions: tuple[str, ...]
    stops: tuple[Stop, ...]
    rows: tuple[Row, ...]
    remarks: tuple[str, ...]


def listed(names: Sequence[str]) -> str:
    """Several names in a sentence."""
    return " and ".join((", ".join(names[:-1]), names[-1]) if len(names) > 1 else names)


WIDE = 0.2
"""Part of a value by which what the description leaves open is told as a range."""


PUT_BACK = (
    "put back what was taken off for the tests without voltage: links, earth terminals, monitors, loads, electronics"
)


class _Kind(NamedTuple):
    instrument: str
    method: str
    caution: str = ""


_KINDS: dict[str, _Kind] = {
    "continuity": _Kind(
        "low-resistance ohmmeter, 4 V to 24 V, at least 200 mA (IEC 61557-4)",
        "take off the resistance of the leads; both ends on bare metal",
    ),
    "insulation": _Kind(
        "insulation tester, 500 V d.c. (IEC 61557-2)",
        "live conductors joined, against PE, then against each other (IEC 60364-6 6.4.3.3 ?); links and loads out",
        _TAKEN_OUT,
    ),
    "tie": _Kind(
        "low-resistance ohmmeter (IEC 61557-4)",
        "loads out, switches as listed; above 20 kohm counts as open",
    ),
    "electrode": _Kind(
        "earth tester, three poles (IEC 61557-5)",
        "disconnected from the earth terminal while the supply is off, and joined again at once; auxiliary stakes outside its reach",
    ),
    "voltage": _Kind(
        "voltmeter, 10 Mohm (CAT III or higher)",
        "",
    ),
    "loop": _Kind(
        "loop tester (IEC 61557-3)",
        "with the test that trips no RCD; conductors cold",
        _NO_TOUCH,
    ),
    "rcd": _Kind(
        "RCD tester (IEC 61557-6)",
        "between a line and PE behind it, loads off",
        _NO_TOUCH,
    ),
    "holds": _Kind("none", "switch the loads on one by one"),
    "clamp": _Kind("leakage clamp, 1 mA resolution", "round PE alone, loads on"),
}


def accepted(rules: Sequence[Rule], rulebook: str) -> tuple[Params, str]:
    """What the rulebook accepts of readings, and where it says so: the rule that asks for it; nothing without one."""
    for rule in rules:
        params = rule.params_in(rulebook)
        if {"insulation-ohm", "loop-factor"} <= params.keys():
            return params, next((str(ref) for ref in rule.refs if ref.rulebook in (rulebook, "all")), "")
    return {}, ""


def schedule(site: Installation, rules: Sequence[Rule]) -> Schedule:
    """The test schedule of an installation; ``rules`` know what the rulebook accepts."""
    return _Writer(site, *accepted(rules, site.rulebook)).schedule()


def expected(measurement: Measurement, shown: Shown) -> str:
    """What a healthy site shows, with its band, in words."""
    if shown.others:
        return " or ".join(dict.fromkeys(expected(measurement, way) for way in shown.ways))
    low, high = as_expected(measurement, shown)
    unit = measurement.unit
    if math.isinf(shown.value) and low < math.inf:
        return f"{on_display(low, unit)} or more, its neutral left joined at the supply; open where that is open too"
    if measurement.kind in TRIPS or math.isinf(shown.value):
        return as_read(measurement, shown)
    if low <= 0:
        return f"at most {on_display(high, unit)}"
    return f"{on_display(shown.value, unit)} ({on_display(low, unit)} to {on_display(high, unit)})"


BLOCKED = " and block its start"

BY_HAND = ("mcb", "mccb", "rcd", "rcbo", "isolator", "switch")
"""What somebody may open who sets up a state."""

OFF, OPEN, PLUG, SET, START, TRANSFER, CLOSE, FED, THROUGH = range(9)
"""The order of steps: nothing meets, and a set runs and is there before the load is put on it."""


def steps(plant: Plant, before: State | None, after: State) -> Iterator[str]:
    """What to do, in an order in which nothing meets: off and open first, then positions, then closed and on.

    Without a state before, only what is not as usual, the plugs and the sources are told.
    """
    moves = [move for source in plant.site.sources for move in _supply(plant, source, before, after)]
    done = {one.name for one in plant.isolations.values()}
    for number, one in enumerate(plant.variables):
        value = one.values[after[number]]
        told = one.kind in ("generator", "inverter", "plug")
        same = (before or plant.usual or (-1,) * len(plant.variables))[number] == after[number]
        if one.kind == "inverter" and value == "inverting" and same and before is not None:
            words = _inverted(plant, one.name, after)
            if words and not _inverted(plant, one.name, before):
                moves.append((OPEN, f"keep {one.name} inverting{words}"))
        if one.kind == "utility" or one.name in done or (same and (before is not None or not told)):
            continue
        if one.kind == "generator" and value == "running" and before is not None and not same:
            moves.append((START, f"take the block off the start of {one.name}"))
        moves.append(_move(plant, one, value, before, after))
    for _, words in sorted(moves, key=lambda move: move[0]):
        if words:
            yield words


def _move(plant: Plant, one: Variable, value: str, before: State | None, after: State) -> tuple[int, str]:
    """When a thing is set to a value, and in which words."""
    earlier = plant.told(before)[one.name] if before is not None else ""
    rank, words = _MOVES.get((one.kind, value), (SET, f"set {{}} to {value}"))
    if one.kind == "inverter" and value == "inverting" and "passing" not in one.values:
        words = "join {} to its battery and arrays again and switch it on" if earlier == "off" else "switch {} on"
    elif one.kind == "inverter" and value == "passing" and earlier == "off":
        words = "join {} to its battery and arrays again, switch it on and let it pass its input through"
    elif one.kind == "inverter" and value == "inverting":
        words = (
            "join {} to its battery and arrays again, switch it on and let it invert" if earlier == "off" else words
        ) + _inverted(plant, one.name, after)
    elif one.kind == "changeover" and _fed_by_a_set(plant, f"{one.name}.{value}", before, after):
        rank = TRANSFER
    return rank, words.format(plant.called(one.name))


def _inverted(plant: Plant, name: str, state: State) -> str:
    """By what an inverter inverts whose input is fed: not by what opens its neutral too, for that would hide a contact that is stuck."""
    passages = [one for one in plant.network.passages if plant.variables[one.variable].name == name]
    live = plant.live(state)
    if not any(live >> node & 1 for passage in passages for node in passage.inputs):
        return ""
    ways: list[str] = []
    for passage in passages:
        (way, *_) = [
            *(
                called(link, device)
                for link in plant.links.values()
                if f"{passage.id}.in" in (link.start.written, link.finish.written)
                for device in link.devices
                if device.kind in BY_HAND and opens_lines_alone(device, link)
            ),
            "",
        ]
        ways.append(way)
    if all(ways):
        return f" by its setting, or open {listed(ways)}: that leaves its neutral joined"
    return " by its setting; what opens its neutral ahead of its input would hide a contact that is stuck"


def _fed_by_a_set(plant: Plant, terminal: str, before: State | None, after: State) -> bool:
    """Whether a set that runs is joined to a terminal before the load is put on it: by nothing that is closed only afterwards."""
    identifier, _, position = terminal.partition(".")
    network = plant.network
    early = after
    for number, one in enumerate(plant.variables):
        if before is not None and one.kind == "device" and one.values[before[number]] == "open":
            early = (*early[:number], before[number], *early[number + 1 :])
    feeds = [network.feeds[i] for i in plant.feeds(after) if network.feeds[i].kind == "generator"]
    lines = tuple(node for feed in feeds for node in feed.lines)
    part = reach(network, early, lines, without_element=identifier) if lines else 0
    return any((node := network.find(identifier, position, line)) >= 0 and part >> node & 1 for line in LINES)


def _supply(plant: Plant, source: Source, before: State | None, after: State) -> Iterator[tuple[int, str]]:
    """How a supply is made dead, or put back."""
    if source.kind != "utility":
        return
    name, isolation = source.id, plant.isolations.get(source.id)
    device = plant.called(plant.name_of(isolation.link, isolation.device)) if isolation else ""
    earlier = plant.way(source.id, before) if before is not None else ""
    now = plant.way(source.id, after)
    if now == earlier:
        return
    if now == "isolator" and plant.told(after)[name] == "present":
        yield OPEN, f"open {device}"
    elif now == "isolator":
        ahead = isolation.ahead if isolation else ()
        still = f"; {listed(ahead)} ahead of it {'stays' if len(ahead) == 1 else 'stay'} live" if ahead else ""
        yield OFF, f"make {name} dead: open {device}, lock it and prove that all is dead behind it{still}"
    elif now == "fuse":
        neutral = ", its neutral left joined" if plant.brings_neutral(source.id) else ""
        yield (
            OFF,
            f"have {name} isolated at the supplier's fuse (its owner's permission){neutral}, locked and proved dead",
        )
        if earlier == "isolator":
            yield CLOSE, f"close {device}"
    elif now == "detached":
        yield OFF, f"have the conductors of {name} opened at the supply terminals"
    elif earlier == "isolator" and before is not None and plant.told(before)[name] == "present":
        yield CLOSE, f"close {device}"
    else:
        yield FED, f"put {name} back" + (f": close {device}" if earlier == "isolator" else "")


def positions(plant: Plant, state: State) -> tuple[tuple[str, str], ...]:
    """Where everything that can be operated stands: changeovers, plugs, devices; those of the d.c. side are open without voltage."""
    found: dict[str, str] = {}
    direct = {
        device.id or f"{link.id}/{device.position + 1}"
        for link in plant.links.values()
        for device in link.devices
        if any(core in DIRECT for core in device.poles)
    }
    for one, value in zip(plant.variables, state, strict=True):
        if one.kind in ("changeover", "plug", "device"):
            parted = state == plant.dead and one.name in direct
            found[plant.called(one.name)] = "open" if parted else one.values[value]
    for supply, isolation in plant.isolations.items():
        if plant.way(supply, state) == "isolator":
            found[plant.called(plant.name_of(isolation.link, isolation.device))] = "open"
    return tuple(found.items())


def as_a_line(found: Iterable[tuple[str, str]]) -> str:
    """The positions as a person would say them: each changeover and plug, what is open, and the rest in one."""
    words = {"mated": "plugged in", "unmated": "pulled", "open": "open"}
    told = [
        f"{name} {words.get(value, f'on {value}' if value != 'off' else 'off')}"
        for name, value in found
        if value != "closed"
    ]
    return f"positions: {', '.join([*told, 'everything else closed' if told else 'everything closed'])}"


class _Writer:
    def __init__(self, site: Installation, params: Params, clause: str) -> None:
        self.installation = site
        self.plant = Plant(site)
        self.site = Site(self.plant)
        self.params = params
        self.clause = f" ({clause})" if clause else ""
        self._turned: set[tuple[object, ...]] = set()

    @cached_property
    def _faults_at(self) -> Mapping[str, Sequence[EarthFault]]:
        return by_place(self.faults)

    @cached_property
    def faults(self) -> tuple[EarthFault, ...]:
        return Facts(self.installation, self.installation.rulebook).earth_faults

    @cached_property
    def _plan(self) -> Plan:
        return plan(self.plant)

    @cached_property
    def _lifted(self) -> frozenset[str]:
        return frozenset(note.at for note in self._plan.notes if note.kind == "lift")

    def _notes(self, visit: int) -> Iterator[str]:
        """What has to be said of a visit, one sentence for all places of which the same holds."""
        alike: dict[tuple[str, str], list[str]] = {}
        for note in self._plan.notes:
            if note.visit == visit:
                alike.setdefault((note.kind, note.by), []).append(note.at)
        for (kind, by), places in alike.items():
            yield _NOTES[kind].format(at=listed(places), by=by)

    def schedule(self) -> Schedule:
        plan_ = self._plan
        asked = [(entry.state, entry.measurement) for entry in plan_.entries]
        doctor = Doctor(self.plant)
        shown = doctor.predicted((), asked)
        told = telling(doctor, asked)
        rows: list[Row] = []
        counted: dict[int, int] = {}
        for number, (entry, answer) in enumerate(zip(plan_.entries, shown, strict=True)):
            counted[entry.visit] = counted.get(entry.visit, 0) + 1
            name = f"{'D' if entry.visit == DEAD else entry.visit}.{counted[entry.visit]}"
            rows.append(self._row(name, entry, answer, told.get(number, ())))
            following = plan_.entries[number + 1].visit if number + 1 < len(plan_.entries) else -1
            if following != entry.visit:
                for row in self._more(doctor, entry.visit, entry.state):
                    counted[entry.visit] += 1
                    rows.append(row._replace(number=f"{name.partition('.')[0]}.{counted[entry.visit]}"))
        stops = list(self._stops(plan_.visits.visits))
        remarks = []
        if not plan_.visits.fewest:
            remarks.append("Fewer visits may do: the search for the fewest was stopped at its limit.")
        remarks += [f"No state that may be set up shows that {self._proved(one)}." for one in plan_.visits.unproved]
        if plan_.visits.visits:
            remarks += self._at_the_end(plan_.visits.visits[-1].state)
        site = self.installation
        remarks += [
            f"Test the monitor {one.id} in each state in which it watches something: its test button, then a resistor below its set"
            " value between a line and PE, for a moment; it has to report and to clear."
            for one in site.monitors
        ]
        return Schedule(site.name, site.rulebook, site.revision, CAUTIONS, tuple(stops), tuple(rows), tuple(remarks))

    def _at_the_end(self, last: State) -> Iterator[str]:
        """What leaves the site as it usually is."""
        usual = self.plant.usual
        if usual is None:
            return
        told = self.plant.told(usual)
        done = [step.removesuffix(BLOCKED) for step in steps(self.plant, last, usual)]
        sets = [one.name for one in self.plant.variables if one.kind == "generator" and told[one.name] == "standing"]
        if sets:
            done.append(f"take the block off the start of {listed(sets)}")
        if done:
            yield f"At the end, when all has been measured: {'; '.join(done)}."

    # -- states ----------------------------------------------------------------------------------------------------

    def _stops(self, visits: Iterable[Visit]) -> Iterator[Stop]:
        yield Stop(
            DEAD,
            tuple(self.plant.told(self.plant.dead).items()),
            (),
            positions(self.plant, self.plant.dead),
            (*steps(self.plant, None, self.plant.dead), as_a_line(positions(self.plant, self.plant.dead))),
            ("protective conductors, insulation, links and electrodes",),
            tuple(self._notes(DEAD)),
        )
        before = self.plant.dead
        for number, visit in enumerate(visits, 1):
            remarks = []
            weak = self._weak(visit.state)
            if weak:
                remarks.append(
                    f"A loop test is not valid on {listed(weak)}, which limits its current: continuity (without voltage), the time"
                    " test of the RCDs and the maker's short-circuit current prove disconnection instead."
                )
            energised = [self.plant.network.feeds[i] for i in self.plant.feeds(visit.state)]
            sets = self._looped_on_a_set(number, visit.state)
            if sets:
                remarks.append(
                    f"A loop that is measured on {listed(sets)} is that of the set at that moment: its regulator and its speed spoil"
                    " it. Compare it with continuity, and judge disconnection by the current that the maker declares."
                )
            unearthed = [feed.id for feed in energised if is_it(feed)]
            if unearthed:
                remarks.append(
                    f"A loop test is of no use in the IT system of {listed(unearthed)}, and is a first earth fault itself: continuity"
                    " (without voltage) and the impedance between line conductors prove what a second fault drives."
                )
            yield Stop(
                number,
                tuple(self.plant.told(visit.state).items()),
                self.plant.unusual(visit.state),
                positions(self.plant, visit.state),
                (
                    *((PUT_BACK,) if number == 1 else ()),
                    *steps(self.plant, before, visit.state),
                    as_a_line(positions(self.plant, visit.state)),
                ),
                tuple(self._proved(one) for one in visit.proves if not _said_otherwise(one, visit)),
                (*remarks, *self._notes(number)),
            )
            before = visit.state

    def _looped_on_a_set(self, number: int, state: State) -> list[str]:
        """The sets that feed a place at which a loop is asked for at a visit."""
        nodes = [
            node
            for entry in (*self._plan.entries, *self._plan.beside)
            if entry.visit == number
            and entry.measurement.kind == "loop"
            and (node := self._node(entry.measurement)) >= 0
        ]
        feeds = (self.plant.network.feeds[i] for i in sorted(feeds_of(self.plant, state, nodes)))
        return [feed.id for feed in feeds if feed.kind == "generator"]

    def _node(self, measurement: Measurement) -> int:
        return self.site.node(measurement.at, measurement.between.split("-")[0])

    def _proved(self, proof: Proof) -> str:
        """What a visit proves, in words; a device without an id is called by its cable."""
        name = self.plant.called(proof.element)
        return proof.words if name == proof.element else f"{name} carries load"

    def _more(self, doctor: Doctor, visit: int, state: State) -> Iterator[Row]:
        """Tests of a visit of which no reading is kept."""
        entries = [entry for entry in self._plan.beside if entry.visit == visit]
        asked = [(entry.state, entry.measurement) for entry in entries]
        for (_, one), shown in zip(asked, doctor.predicted((), asked), strict=True):
            if one.kind == "loop":
                test, where = "earth fault loop impedance on a set", where_of(one)
            else:
                test, where = (
                    "continuity of the protective conductor of a battery or an array",
                    f"{one.at} and {one.between}",
                )
            yield self._unkept(visit, test, where, one, shown)
        if visit == DEAD:
            yield from self._bonding()
        else:
            yield from self._turning(visit, state)

    def _bonding(self) -> Iterator[Row]:
        """Continuity of bonding conductors to metal that is no part of the installation."""
        metal = {one.id for one in self.installation.extraneous}
        for link in self.installation.connections:
            if set(link.cores) == {"PE"} and {link.start.id, link.finish.id} & metal:
                one = Measurement("continuity", link.start.id, link.finish.id)
                ohm = core_ohm(link, "PE", warm=False)
                shown = ohm if isinstance(ohm, Missing) else Shown.exactly(abs(ohm))
                where = f"{link.id} ({link.start.id} and {link.finish.id})"
                yield self._unkept(DEAD, "continuity of a bonding conductor", where, one, shown)

    @staticmethod
    def _unkept(visit: int, test: str, where: str, one: Measurement, shown: Shown | Missing | None) -> Row:
        """A row without a reading of its own."""
        kind = _KINDS[one.kind]
        missing = shown.reason or f"{shown.what} is not written" if isinstance(shown, Missing) else ""
        told = expected(one, shown) if isinstance(shown, Shown) else ""
        return Row("", visit, None, test, where, kind.instrument, kind.method, told, "", "", missing)

    def _turning(self, visit: int, state: State) -> Iterator[Row]:
        """The phase sequence at each board with circuits of three lines, once for each way in which it is fed.

        Where the site has none it is that at the first board with three lines.
        """
        live = self.plant.live(state)
        turning = {
            circuit.connection.start.id
            for circuit in self.installation.circuits
            if {*LINES} <= {*circuit.connection.cores}
        }
        three = []
        for board in self.installation.boards:
            nodes = tuple(self.site.node(board.id, line) for line in LINES)
            if all(node >= 0 and live >> node & 1 for node in nodes):
                three.append((board.id, nodes))
        for place, nodes in [one for one in three if one[0] in turning] if turning else three[:1]:
            way = (place, self._way(state, nodes))
            if way not in self._turned:
                self._turned.add(way)
                yield Row(
                    "",
                    visit,
                    None,
                    "phase sequence",
                    place,
                    "phase sequence indicator (IEC 61557-7)",
                    "the same at every source that feeds the same motors (IEC 60364-6 6.4.3.9 ?)",
                    "L1 L2 L3",
                    "",
                    "L1 L3 L2: two lines are crossed, and motors turn the other way",
                )

    def _way(self, state: State, nodes: tuple[int, ...]) -> tuple[object, ...]:
        """By which sources, changeovers and inverters a place is fed."""
        network, told = self.plant.network, self.plant.told(state)
        feeds = feeds_of(self.plant, state, nodes)
        lines = tuple(node for i in feeds for node in network.feeds[i].lines)
        switches = [(one.id, told[one.id]) for one in self.installation.changeovers]
        switches += [(one.id, told[self.plant.variables[one.variable].name]) for one in network.passages]
        needed = [one for one in switches if not reach(network, state, lines, without_element=one[0]) >> nodes[0] & 1]
        return (feeds, *needed)

    def _weak(self, state: State) -> list[str]:
        feeds = (self.plant.network.feeds[i] for i in self.plant.feeds(state))
        return [feed.id for feed in feeds if feed.kind == "inverter"]

    # -- rows ------------------------------------------------------------------------------------------------------

    def _row(
        self, number: str, entry: Entry, shown: Shown | Missing | None, told: tuple[tuple[Shown, str], ...]
    ) -> Row:
        measurement = entry.measurement
        kind = _KINDS[measurement.kind]
        missing = shown.reason or f"{shown.what} is not written" if isinstance(shown, Missing) else ""
        return Row(
            number,
            entry.visit,
            measurement,
            test_of(measurement),
            self.plant.called(measurement.at) if measurement.kind in TRIPS else where_of(measurement),
            kind.instrument,
            kind.method or ("loads on" if measurement.loads else "loads off"),
            self._expected(entry, shown) if isinstance(shown, Shown) else "",
            self._limit(entry, shown),
            "; ".join(f"{as_read(measurement, after)}: {words}" for after, words in told),
            missing,
            kind.caution,
        )

    def _expected(self, entry: Entry, shown: Shown) -> str:
        """What a healthy site shows; a supply without an isolator is isolated at its fuse, which leaves its neutral joined."""
        couple = self.site.couple(entry.measurement, entry.state)
        if entry.measurement.kind != "tie" or couple is None or math.isfinite(shown.value) or math.isinf(shown.low):
            return expected(entry.measurement, shown)
        joined = Bench(self.plant, entry.state, [couple], {}, feeds=()).ohms(couple)
        return expected(entry.measurement, joined if isinstance(joined, Shown) else shown)

    def _limit(self, entry: Entry, shown: Shown | Missing | None) -> str:
        """What the rulebook accepts of a reading, in words; '' where it says nothing."""
        params, measurement = self.params, entry.measurement
        kind = measurement.kind
        if not params:
            return ""
        if kind == "insulation":
            lifted = ", its neutral lifted" if measurement.at in self._lifted else ""
            return f"at least {figure(params['insulation-ohm'] / 1e6, 'Mohm')}{lifted}{self.clause}"
        if kind == "rcd":
            return f"{self._times(measurement)}{self.clause}"
        if kind == "electrode" and (
            most := ElectrodeAt(measurement.at, self.installation, self.faults, {}).limit(params)
        ):
            if math.isinf(most.most_ohm):
                return f"none: {electrode_told(most)}"
            unstable = "; above 200 ohm it may be unstable" if most.most_ohm > 200 else ""
            return f"at most {figure(most.most_ohm, 'ohm')}: {electrode_told(most)}{unstable}"
        if kind == "loop":
            cold_ohm = shown.value if isinstance(shown, Shown) and not shown.others else None
            line, told = measurement.between.partition("-")[0], self.plant.told(entry.state)
            limit = loop_at(self._faults_at, measurement.at, line, told, cold_ohm).limit(params)
            if limit is not None and limit.most_ohm is None:
                return f"none by an overcurrent device: {limit.by}"
            if limit is not None and limit.most_ohm is not None:
                return f"at most {figure(limit.most_ohm, 'ohm')}: {loop_told(limit)}{self.clause}"
        return ""

    def _times(self, measurement: Measurement) -> str:
        allowed = trip_times(measurement.between, self.site.rcds[measurement.at].device, self.params)
        if allowed is None:
            return "no trip"
        least, most = allowed
        if math.isinf(most):
            return "trips; no time is set for what protects equipment, its marking counts"
        return f"{least * 1000:g} ms to {most * 1000:g} ms" if least else f"at most {most * 1000:g} ms"


_NOTES: Mapping[str, str] = {
    "live-ahead": "Ahead of {by}, at {at}, everything stays live: no test without voltage there, unless the supplier's fuse is out too.",
    "no-pe": "No PE lands at {at}: test the insulation there between the live conductors alone, with the loads out.",
    "it-rcd": "No current to PE operates {at} in the IT system of {by}, and a test is a first earth fault: test it from a line behind it to"
    " the neutral ahead of it, or by its test button.",
    "5x": "No test of {at} at five times its rated current: the electrodes would raise every frame to {by}.",
    "lift": "With all links out the neutral of {at} is still earthed, by {by}: for the insulation test lift it, or its PEN, or test the"
    " lines alone.",
}
"""What is said where a measurement is left out, or has to be done otherwise than usual."""


_MOVES: Mapping[tuple[str, str], tuple[int, str]] = {
    ("generator", "standing"): (OFF, "stop {}" + BLOCKED),
    ("generator", "running"): (START, "start {}"),
    ("inverter", "off"): (
        OFF,
        "switch {} off, block its start, and open and lock what parts it from its battery and arrays",
    ),
    ("inverter", "inverting"): (THROUGH, "let {} invert"),
    ("inverter", "passing"): (THROUGH, "let {} pass its input through"),
    ("device", "open"): (OPEN, "open {}"),
    ("device", "closed"): (CLOSE, "close {}"),
    ("plug", "unmated"): (OPEN, "pull the plug of {}"),
    ("plug", "mated"): (PLUG, "put the plug of {} in"),
    ("transformer", "fed"): (THROUGH, ""),
    ("transformer", "unfed"): (THROUGH, ""),
}


def _said_otherwise(proof: Proof, visit: Visit) -> bool:
    """Whether another proof of a visit says the same and more: that the neutral is under load there."""
    return proof.kind == "contact" and proof._replace(kind="neutral") in visit.proves


def as_read(measurement: Measurement, shown: Shown) -> str:
    """What would be read, in few words."""
    if shown.others:
        return " or ".join(dict.fromkeys(as_read(measurement, way) for way in shown.ways))
    if measurement.kind in TRIPS:
        no = "stays closed" if measurement.kind == "holds" else "does not trip"
        return "trips" if shown.value >= MUST_TRIP else no if shown.value <= MAY_TRIP else "may trip"
    if math.isinf(shown.value):
        return "open"
    floor = FLOOR[measurement.unit]
    if shown.high - shown.low > WIDE * shown.high + floor:
        return f"{on_display(shown.low, measurement.unit)} to {on_display(shown.high, measurement.unit)}"
    return on_display(shown.value if shown.value > floor / 10 else 0.0, measurement.unit)


def on_display(value: float, unit: str) -> str:
    """A value as instruments show it: hundredths of an ohm below 10, tenths of a volt below 10 (common practice, no source)."""
    if unit == "ohm" and value < 999.5:
        return f"{value:.{2 if value < 9.995 else 1 if value < 99.95 else 0}f} ohm"
    if unit == "V":
        return f"{value:.{1 if 0.05 <= value < 9.95 else 0}f} V"
    return figure(value, unit)
