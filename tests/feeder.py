"""A public low-voltage network of 906 places, written as an installation description.

The European low-voltage test feeder of the IEEE as pandapower brings it: lengths, types of line, loads and phases are its data.
What it does not know is ours: every line has five conductors, all of the standard size of copper that is nearest by resistance;
each consumer has a circuit of 10 m with a device that carries its load; 1 m of 240 mm2 leads from the supplier's terminals to
the first board; neutral and PE are joined at the supplier.  So it is good for comparing programs, not as a truth about loops.
"""

from __future__ import annotations

import math

from onebond.circuit.components.conductors import COPPER_CLASS_2_OHM_KM
from onebond.circuit.components.transformers import impedance_ohm, voltage_factor, zero_sequence_ohm
from onebond.circuit.components.utilities import network_impedance_ohm

PLACES = 906
CONSUMERS = 55

# A load to so many W is a circuit of this size (mm2) behind a device of this rating (A).
CIRCUITS = ((3_000, 2.5, 16), (7_000, 6, 32), (14_000, 16, 63))


def nearest_mm2(ohm_km: float) -> float:
    """The standard size of copper whose resistance at 20 C is nearest to one in ohm/km."""
    return min(COPPER_CLASS_2_OHM_KM, key=lambda size: abs(COPPER_CLASS_2_OHM_KM[size] - ohm_km))


def text() -> str:
    """The feeder as a description: boards b-1 to b-906, connections to-2 to to-906, circuits house-1 to house-55."""
    from pandapower.networks import ieee_european_lv_asymmetric

    net = ieee_european_lv_asymmetric("on_peak_566")
    transformer, grid = net.trafo.loc[0], net.ext_grid.loc[0]
    first = int(transformer.lv_bus)
    line_v = float(transformer.vn_lv_kv) * 1e3
    phase_v = line_v / math.sqrt(3)

    # An earth fault at the terminals has (2 Z1 + Z0) / 3 in its loop.
    ahead = network_impedance_ohm(float(grid.s_sc_max_mva) * 1e6, line_v, voltage_factor("high", "max"), grid.rx_max)
    winding = impedance_ohm(
        float(transformer.sn_mva) * 1e6, line_v, transformer.vk_percent / 100, transformer.vkr_percent / 100
    )
    loop_ohm = abs(2 * (ahead + winding) + zero_sequence_ohm(winding, str(transformer.vector_group))) / 3
    largest_a = voltage_factor("low-6", "max") * phase_v / loop_ohm
    smallest_factor = voltage_factor("low-6", "min")

    lines = [
        "onebond: 1",
        "site: {name: Test feeder, rulebook: iec, stage: draft}",
        "sources:",
        f"  grid: {{kind: utility, phases: L1 L2 L3, voltage: {phase_v:.0f}/{line_v:.0f} V, earthing: TN-S, "
        f"loop-impedance: {loop_ohm / smallest_factor * 1e3:.3f} mohm, fault-current: {largest_a / 1e3:.2f} kA}}",
        "boards:",
    ]
    lines += [f"  b-{bus}: {{}}" for bus in net.bus.index if bus >= first]
    lines += [
        "connections:",
        f"  service: {{from: grid, to: b-{first}, cores: L1 L2 L3 N PE, size: 240 mm2, length: 1 m}}",
    ]
    for line in net.line.itertuples():
        lines.append(
            f"  to-{line.to_bus}: {{from: b-{line.from_bus}, to: b-{line.to_bus}, cores: L1 L2 L3 N PE, "
            f"size: {nearest_mm2(line.r_ohm_per_km):g} mm2, length: {_plain(line.length_km * 1e3)} m}}"
        )
    lines.append("circuits:")
    for number, load in enumerate(net.asymmetric_load.itertuples(), 1):
        by_line = {"L1": load.p_a_mw, "L2": load.p_b_mw, "L3": load.p_c_mw}
        phase = max(by_line, key=lambda one: by_line[one])
        watt = by_line[phase] * 1e6
        size, rating = next((size, rating) for limit, size, rating in CIRCUITS if watt <= limit)
        lines.append(
            f"  house-{number}: {{from: b-{load.bus}, cores: {phase} N PE, size: {size:g} mm2, length: 10 m, "
            f"serves: fixed, load: {watt:.0f} W, "
            f"through: [{{kind: rcbo, curve: B, rating: {rating} A, residual: 30 mA, type: A}}]}}"
        )
    return "\n".join(lines) + "\n"


def _plain(value: float) -> str:
    """A number to the millionth, without an exponent and without zeros at its end."""
    return f"{value:.6f}".rstrip("0").rstrip(".")
