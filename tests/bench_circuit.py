"""How long the solution of a circuit takes, as ratios: growth, plain Python to numpy, all single failures, OpenDSS.

Run it by hand: ``python tests/bench_circuit.py``.  An all-places study is: read the circuit, eliminate it, solve it with all
sources, and give impedance, voltage and current of an L1-PE fault at every place.  Each time is processor time, the best of
several, without the collector of garbage.
Exits with 1 past a limit.
"""

from __future__ import annotations

import gc
import sys
import time
from collections.abc import Callable

from circuits import Radial, radial
from onebond.circuit.solve import Failure, Study

PLACES = (100, 1_000, 10_000)
GROWTH_LIMIT = 12
FAILURES_LIMIT = 2
OPENDSS_RATIO = 30
OPENDSS_PLACES = 906


def best(times: int, run: Callable[[], object]) -> float:
    taken = []
    gc.disable()
    for _ in range(times):
        start = time.process_time()
        run()
        taken.append(time.process_time() - start)
        gc.collect()
    gc.enable()
    return min(taken)


def all_places(network: Radial, engine: str) -> float:
    study = Study(network.circuit, network.pairs, engine=engine)  # type: ignore[arg-type]
    return max(abs(loop.current_a) for loop in study.loops)


def failing(network: Radial, engine: str) -> tuple[float, int]:
    """Seconds for the loop at a place with each neutral and each protective conductor that leads to it broken, from nothing."""
    cases = [Failure(branch, network.pairs[place]) for at, (branch, place) in enumerate(network.feeds) if at % 5 >= 3]

    def run() -> None:
        found = Study(network.circuit, network.pairs, cases, engine=engine).failures(cases)  # type: ignore[arg-type]
        assert len(found) == len(cases)

    return best(5, run), len(cases)


def main() -> int:
    networks = {places: radial(places) for places in (*PLACES, OPENDSS_PLACES)}
    all_places(networks[100], "batched")  # numpy is loaded before anything is timed
    print("all-places study, five conductors, ms")
    print("  places    nodes  plain Python    numpy   chosen")
    seconds: dict[tuple[int, str], float] = {}
    for places in sorted(networks):
        network = networks[places]
        for engine in ("tree", "batched", "auto"):
            seconds[places, engine] = best(5 if places > 5000 else 9, lambda n=network, e=engine: all_places(n, e))  # type: ignore[misc]
        row = [seconds[places, engine] * 1000 for engine in ("tree", "batched", "auto")]
        print(f"{places:8} {network.circuit.size:8} {row[0]:13.1f} {row[1]:8.1f} {row[2]:8.1f}")
    failed = False
    for engine in ("tree", "batched", "auto"):
        growth = seconds[10_000, engine] / seconds[1_000, engine]
        # Plain Python is never chosen at that size; there it leaves the cache of the processor.
        failed |= engine != "tree" and growth > GROWTH_LIMIT
        print(f"growth from 1,000 to 10,000 places, {engine}: {growth:.1f} (limit {GROWTH_LIMIT}, not for tree)")

    print("crossing of plain Python and numpy, numpy loaded (nodes: ms, ms)")
    for places in (40, 80, 120, 160, 240):
        network = radial(places)
        both = [best(9, lambda n=network, e=e: all_places(n, e)) * 1000 for e in ("tree", "batched")]  # type: ignore[misc]
        print(f"  {network.circuit.size:5}: {both[0]:.1f}, {both[1]:.1f}")

    for places in (1_000, 10_000):
        taken, cases = failing(networks[places], "auto")
        ratio = taken / seconds[places, "auto"]
        failed |= places == 10_000 and ratio > FAILURES_LIMIT
        print(
            f"{cases} single failures of {places} places: {taken * 1000:.0f} ms with their study, {ratio:.2f} studies"
        )

    # The same faults in the same run by OpenDSS: its own study of faults at all buses, with and without the
    # reading of the circuit (ours always reads it).
    import opendssdirect

    from test_solve_engines import load_radial, read_loop

    for places in (100, OPENDSS_PLACES, 1_000):
        network = networks[places]
        load_radial(network.circuit)

        def study(places: int = places) -> list[complex]:
            opendssdirect.Command("solve mode=faultstudy")
            return [read_loop(place) for place in range(places)]

        def all_of_it(network: Radial = network) -> None:
            load_radial(network.circuit)
            study()

        read, theirs = best(3, all_of_it), best(3, study)
        wanted = study()
        found = Study(network.circuit, network.pairs).impedances_ohm
        off = max(abs(one - other) / abs(other) for one, other in zip(found, wanted, strict=True))
        ours = best(9, lambda n=network: all_places(n, "batched"))  # type: ignore[misc]
        failed |= places == OPENDSS_PLACES and (read / ours < OPENDSS_RATIO or off > 1e-9)
        print(
            f"OpenDSS, {places} places: {read * 1000:.0f} ms = {read / ours:.1f} x numpy "
            f"(without reading {theirs * 1000:.0f} ms = {theirs / ours:.1f} x), off by {off:.1e}"
        )
    failed |= feeder_study()
    sites()
    return int(failed)


def feeder_study() -> bool:
    """The public feeder of 906 places as a description: our study of it and that of OpenDSS; whether a limit is passed."""
    import tempfile
    import warnings
    from pathlib import Path

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import feeder

        written = feeder.text()
    from onebond.circuit.build import Options, build
    from onebond.network import build as network_of
    from onebond.reading import load
    from onebond.states import cases
    from test_feeder import loops_by_opendss

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "feeder.yaml"
        path.write_text(written, encoding="utf-8")
        site = load(str(path))[1]
    assert site is not None
    network = network_of(site)
    case = cases(network).cases[0]

    def circuit() -> tuple[object, list[tuple[int, int]]]:
        model = build(network, case.state, case.live, case.feeds, Options())
        places = [
            (model.node[network.number_of(board.id, "", "L1")], model.node[network.number_of(board.id, "", "PE")])
            for board in site.boards
        ]
        return model.circuit, places

    one, pairs = circuit()

    def study() -> list[complex]:
        return [loop.z_ohm for loop in Study(one, pairs, engine="batched").loops]  # type: ignore[arg-type]

    wanted = loops_by_opendss(one, pairs)  # type: ignore[arg-type]
    off = max(abs(a - b) / abs(b) for a, b in zip(study(), wanted, strict=True))
    theirs, ours, made = best(3, lambda: loops_by_opendss(one, pairs)), best(9, study), best(5, circuit)  # type: ignore[arg-type]
    print(
        f"OpenDSS, feeder of {len(pairs)} places: {theirs * 1000:.0f} ms = {theirs / ours:.1f} x numpy ({ours * 1000:.1f} ms, "
        f"{made * 1000:.0f} ms more to make the circuit from the description), off by {off:.1e}"
    )
    return theirs / ours < OPENDSS_RATIO or off > 1e-9


def sites() -> None:
    """Time of each fixture: reading, states, all figures and all rules, in the same process."""
    from pathlib import Path

    from onebond import survey
    from onebond.loading import load_rules

    rules = load_rules()
    print("time per site, all rules, ms")
    for path in sorted((Path(__file__).parent.parent / "fixtures" / "sites").glob("*.yaml")):
        if "--" in path.stem:
            continue
        taken = best(3, lambda p=path: survey.inspect_file(str(p), rules, rulebook=None, today="2026-11-25"))  # type: ignore[misc]
        print(f"  {path.stem:24} {taken * 1000:7.1f}")


if __name__ == "__main__":
    sys.exit(main())
