"""What every public function of the components and devices owes its reader, and what importing them may cost."""

from __future__ import annotations

import doctest
import importlib
import inspect
import re
import subprocess
import sys
import typing
from collections.abc import Callable
from types import ModuleType

import pytest

from onebond.circuit.devices import NEVER

MODULES = [
    *(
        f"onebond.circuit.components.{name}"
        for name in (
            [
                "body",
                "capacitance",
                "conductors",
                "electrodes",
                "generators",
                "inverters",
                "loads",
                "protective",
                "transformers",
                "utilities",
            ]
        )
    ),
    "onebond.circuit.devices",
    "onebond.circuit.limits_table",
]
UNITS = {
    "ohm": "ohm", "ohm_km": "ohm/km", "ohm_m": "ohm m", "a": "A", "v": "V", "m": "m", "mm2": "mm2", "s": "s", "f": "F",
    "va": "VA", "w": "W", "kva": "kVA", "c": " C", "hz": "Hz", "cmil": "circular mils", "a2s": "A2 s", "m2": "m2", "kg": "kg",
}  # fmt: skip
PLAIN = {"pu", "factor", "ratio", "k"}  # numbers without a unit
STATUS = re.compile(r"seen|second-hand|recomputed|from memory")


def functions(module: ModuleType) -> list[tuple[str, Callable[..., object]]]:
    return [
        (name, one)
        for name, one in vars(module).items()
        if inspect.isfunction(one) and not name.startswith("_") and one.__module__ == module.__name__
    ]


def unit(name: str) -> str | None:
    words = name.split("_")
    for start in range(len(words)):
        tail = "_".join(words[start:])
        if tail in UNITS or tail in PLAIN:
            return tail
    return None


EVERY = [
    pytest.param(one, id=f"{module.rpartition('.')[2]}.{name}")
    for module in MODULES
    for name, one in functions(importlib.import_module(module))
]


@pytest.mark.parametrize("function", EVERY)
def test_docstring(function: Callable[..., object]) -> None:
    text = inspect.getdoc(function) or ""
    first, _, rest = text.partition("\n\n")
    assert first.endswith((".", ".)")), "one sentence first"
    assert re.search(r"^Limits: \S", rest, re.M)
    source = re.search(r"^Source: (.*?)^Example: ", rest, re.M | re.S)
    assert source, "a source, then an example"
    assert STATUS.search(source[1]), "how far the source was checked"
    assert re.search(r"^Example: \S.*?^>>> ", rest, re.M | re.S), "a worked number"


@pytest.mark.parametrize("function", EVERY)
def test_units_stand_in_the_names(function: Callable[..., object]) -> None:
    hints = typing.get_type_hints(function)
    for name, kind in hints.items():
        kinds = set(typing.get_args(kind)) or {kind}
        if not kinds & {float, complex} or name == "return":
            continue
        assert unit(name), f"{name} has no unit"
    returned = hints["return"]
    if {returned, *typing.get_args(returned)} & {float, complex} and function.__name__ != "admittance":
        word = unit(function.__name__)
        assert word, f"what does {function.__name__} return?"
        if word in UNITS:
            assert UNITS[word] in (inspect.getdoc(function) or ""), "the docstring names the unit of the result"


@pytest.mark.parametrize("name", MODULES)
def test_worked_numbers(name: str) -> None:
    module = importlib.import_module(name)
    done = doctest.testmod(module)
    assert done.failed == 0
    assert done.attempted >= len(functions(module))


# One good call of every function that takes a number; each number in it is then spoilt in turn.
CALLS: dict[str, dict[str, object]] = {
    "body.body_impedance_ohm": {"touch_v": 50.0},
    "body.body_current_a": {"touch_v": 50.0},
    "body.touch_current_a": {"open_circuit_v": 115.0, "source_ohm": 10.0, "body_ohm": 1000.0},
    "body.ieee80_current_a": {"duration_s": 0.4},
    "body.touch_time_s": {"touch_v": 120.0},
    "capacitance.admittance": {"capacitance_f": 1e-9, "frequency_hz": 50.0},
    "capacitance.stray_f": {"length_m": 10.0},
    "capacitance.capacitance_of_leakage_f": {"leakage_a": 1e-3, "voltage_v": 230.0, "frequency_hz": 50.0},
    "capacitance.floating_reading_v": {
        "voltage_v": 230.0, "near_f": 1e-9, "far_f": 1e-9, "loading_ohm": 1e7, "frequency_hz": 50.0},
    "conductors.dc_resistance_ohm_km": {"size_mm2": 2.5},
    "conductors.temperature_factor": {"temperature_c": 70.0},
    "conductors.parallel_runs_ohm": {"one_ohm": 1.0, "runs": 2},
    "conductors.core_impedance_ohm": {
        "size_mm2": 2.5, "length_m": 30.0, "temperature_c": 20.0, "per_length_ohm_km": 0.08},
    "conductors.line_and_pe_ohm_km": {"line_mm2": 2.5, "pe_mm2": 1.5},
    "conductors.armour_ohm_km": {"size_mm2": 6.0, "cores": 4},
    "conductors.american_size": {"size_mm2": 13.3},
    "conductors.nec_temperature_factor": {"temperature_c": 20.0},
    "electrodes.rod_ohm": {"soil_ohm_m": 100.0, "length_m": 2.4, "diameter_m": 0.016},
    "electrodes.rods_in_line_ohm": {
        "soil_ohm_m": 100.0, "length_m": 2.4, "diameter_m": 0.016, "rods": 2, "spacing_m": 5.0},
    "electrodes.two_rods_close_ohm": {"soil_ohm_m": 100.0, "length_m": 2.4, "diameter_m": 0.016, "spacing_m": 1.8},
    "electrodes.rods_ohm": {"soil_ohm_m": 100.0, "length_m": 2.4, "diameter_m": 0.016, "rods": 3, "spacing_m": 5.0},
    "electrodes.horizontal_ohm": {"soil_ohm_m": 100.0, "length_m": 20.0, "diameter_m": 0.008, "depth_m": 0.6},
    "electrodes.ring_ohm": {"soil_ohm_m": 100.0, "ring_diameter_m": 10.0, "diameter_m": 0.008, "depth_m": 0.6},
    "electrodes.plate_ohm": {"soil_ohm_m": 100.0, "area_m2": 1.0},
    "electrodes.rod_approximate_ohm": {"soil_ohm_m": 100.0, "length_m": 3.0},
    "electrodes.horizontal_approximate_ohm": {"soil_ohm_m": 100.0, "length_m": 20.0},
    "electrodes.ring_approximate_ohm": {"soil_ohm_m": 100.0, "radius_m": 5.0},
    "electrodes.plate_approximate_ohm": {"soil_ohm_m": 100.0, "perimeter_m": 2.4},
    "generators.rated_current_a": {"rating_va": 20e3, "voltage_v": 400.0},
    "generators.reactance_ohm": {"rating_va": 20e3, "voltage_v": 400.0, "reactance_pu": 0.12},
    "generators.subtransient_current_a": {"rating_va": 20e3, "voltage_v": 400.0, "subtransient_pu": 0.12},
    "generators.earth_fault_impedance_ohm": {"positive_ohm": 1.0, "negative_ohm": 1.0, "zero_ohm": 1.0},
    "generators.sustained": {"rated_a": 28.9, "declared_a": 80.0, "declared_factor": None, "for_s": 5.0},
    "inverters.rated_current_a": {"rating_va": 5e3, "voltage_v": 230.0},
    "inverters.limit_a": {"rated_a": 21.7, "declared_a": 43.5},
    "inverters.stages": {"prospective_a": 500.0, "limit_a": 60.0, "for_s": 0.1, "sustained_a": 20.0, "off_s": 5.0},
    "inverters.limited_touch_voltage_v": {"current_a": 43.5, "pe_ohm": 0.5},
    "inverters.declared_breaker_covers": {"curve": "B", "rating_a": 10.0, "declared": (("B", 16.0),)},
    "loads.load_of_apparent_power_ohm": {"apparent_va": 3000.0, "voltage_v": 230.0, "power_factor": 0.8},
    "loads.load_of_power_ohm": {"power_w": 2400.0, "voltage_v": 230.0, "power_factor": 0.9},
    "loads.load_of_current_ohm": {"current_a": 10.0, "voltage_v": 230.0, "power_factor": 0.9},
    "loads.leakage_ohm": {"leakage_a": 3.5e-3, "voltage_v": 230.0, "frequency_hz": 50.0},
    "protective.k_factor": {"material": "copper", "start_c": 70.0, "end_c": 160.0},
    "protective.adiabatic_mm2": {"current_a": 1800.0, "time_s": 0.4, "k_factor": 115.0},
    "protective.adiabatic_of_energy_mm2": {"energy_a2s": 1e6, "k_factor": 115.0},
    "protective.standard_mm2": {"least_mm2": 6.6},
    "protective.pe_by_line_mm2": {"line_mm2": 10.0, "line_k": 115.0, "pe_k": 143.0},
    "protective.buried_earthing_conductor_mm2": {
        "by_line_mm2": 16.0, "corrosion_protected": True, "mechanically_protected": True},
    "protective.main_bonding_mm2": {"earthing_conductor_mm2": 16.0},
    "protective.pme_bonding_mm2": {"neutral_mm2": 25.0},
    "protective.supplementary_bonding_mm2": {"protected": True, "pe_mm2": 6.0, "other_pe_mm2": 4.0},
    "protective.nec_size_at_least": {"area_cmil": 187_500.0},
    "protective.nec_grounding_electrode_conductor": {"area_cmil": 133_100.0},
    "protective.nec_equipment_grounding_conductor": {"device_a": 110.0},
    "protective.nec_upsized_grounding_conductor": {"size": "10", "needed_cmil": 26240.0, "installed_cmil": 41740.0},
    "protective.nec_bonding_jumper": {"area_cmil": 133_100.0},
    "transformers.rated_current_a": {"rating_va": 4e5, "line_voltage_v": 420.0},
    "transformers.impedance_ohm": {
        "rating_va": 4e5, "line_voltage_v": 420.0, "impedance_pu": 0.04, "resistance_pu": 0.01},
    "transformers.short_circuit_a": {"rating_va": 4e5, "line_voltage_v": 420.0, "impedance_pu": 0.04},
    "transformers.zero_sequence_ohm": {"positive_ohm": 0.01, "connection": "Dyn"},
    "transformers.correction_factor": {"reactance_pu": 0.04, "maximum_voltage_factor": 1.05},
    "utilities.source_impedance_ohm": {"voltage_v": 230.0, "fault_current_a": 3200.0, "factor": 1.0},
    "utilities.phase_impedance_ohm": {"line_voltage_v": 400.0, "fault_current_a": 3200.0, "factor": 1.0},
    "utilities.network_impedance_ohm": {
        "short_circuit_va": 5e8, "line_voltage_v": 400.0, "factor": 1.0, "resistance_ratio": 0.1},
    "utilities.split_loop_ohm": {"loop_ohm": 0.35, "return_ratio": 1.0},
    "utilities.return_impedance_ohm": {"loop_ohm": 0.35, "line_ohm": 0.03},
    "devices.lasting": {"trip": NEVER, "duration_s": 0.02},
    "devices.magnetic_band_a": {"rating_a": 16.0, "curve": "B", "upper_a": 70.0},
    "devices.mcb_trip": {"current_a": 100.0, "rating_a": 16.0, "curve": "B", "upper_a": 70.0},
    "devices.mcb_operating_current_a": {"rating_a": 16.0, "curve": "B", "limit_s": 0.4, "upper_a": 70.0},
    "devices.bs7671_mcb_current_a": {"rating_a": 16.0, "curve": "B", "limit_s": 0.4},
    "devices.rcbo_trip": {
        "current_a": 20.0, "residual_a": 20.0, "rating_a": 16.0, "curve": "B", "rated_residual_a": 0.03},
    "devices.gg_trip": {"current_a": 100.0, "rating_a": 32.0},
    "devices.gg_operating_current_a": {"rating_a": 32.0, "limit_s": 0.4},
    "devices.bs_fuse_loop_ohm": {"kind": "BS 88-2", "rating_a": 32, "limit_s": 0.4},
    "devices.bs_fuse_trip": {"current_a": 100.0, "rating_a": 32},
    "devices.mccb_trip": {
        "current_a": 600.0, "long_time_a": 100.0, "instantaneous_a": 1000.0, "short_time_a": 500.0,
        "short_time_holds_s": 0.1, "short_time_clears_s": 0.2, "tolerance_ratio": 0.2},
    "devices.rcd_band_a": {"rated_residual_a": 0.03},
    "devices.rcd_trip": {"residual_a": 0.3, "rated_residual_a": 0.03, "fast_a": 0.25},
    "devices.rcd_tolerates_dc_a": {"kind": "A", "rated_residual_a": 0.03},
    "devices.gives_additional_protection": {"rated_residual_a": 0.03},
    "devices.gfci_trip": {"residual_a": 0.02},
    "devices.gfpe_trip": {"residual_a": 3000.0, "pickup_a": 1200.0},
    "devices.rating_ratio": {"current_a": 160.0, "rating_a": 32.0},
    "limits_table.disconnection_time_s": {"voltage_v": 230.0, "system": "TN"},
    "limits_table.table_times_apply": {"rating_a": 32.0, "socket_outlets": True},
    "limits_table.circuit_time_s": {
        "voltage_v": 230.0, "system": "TN", "final": True, "rating_a": 32.0, "socket_outlets": True},
    "limits_table.largest_loop_ohm": {"voltage_v": 230.0, "operating_a": 160.0, "minimum_voltage_factor": 0.95},
    "limits_table.largest_earth_resistance_ohm": {"rated_residual_a": 0.03, "touch_limit_v": 50.0},
    "limits_table.it_second_fault_loop_ohm": {
        "line_voltage_v": 400.0, "operating_a": 160.0, "neutral_distributed": True},
    "limits_table.supplementary_bonding_ohm": {"current_a": 43.5},
    "limits_table.measured_loop_ohm": {"largest_ohm": 1.0, "practice": "uk"},
}  # fmt: skip
SPOILT = [
    pytest.param(key, name, bad, id=f"{key}-{name}-{bad}")
    for key, call in CALLS.items()
    for name, value in call.items()
    if isinstance(value, float)
    for bad in (float("nan"), float("inf"), -1e9)
]


def called(key: str, arguments: dict[str, object]) -> object:
    module, _, name = key.partition(".")
    place = "onebond.circuit" if module in ("devices", "limits_table") else "onebond.circuit.components"
    return getattr(importlib.import_module(f"{place}.{module}"), name)(**arguments)


def test_every_function_with_a_number_is_called() -> None:
    numeric = {
        str(one.id)
        for one in EVERY
        for kind in [hint for name, hint in typing.get_type_hints(one.values[0]).items() if name != "return"]
        if {kind, *typing.get_args(kind)} & {float, complex}
    }
    assert numeric <= set(CALLS)


@pytest.mark.parametrize("key", CALLS)
def test_good_calls(key: str) -> None:
    assert called(key, CALLS[key]) is not None


@pytest.mark.parametrize(("key", "name", "bad"), SPOILT)
def test_a_number_outside_the_limits_is_refused(key: str, name: str, bad: float) -> None:
    with pytest.raises(ValueError):
        called(key, {**CALLS[key], name: bad})


@pytest.mark.parametrize("name", MODULES)
def test_importing_is_cheap(name: str) -> None:
    # Plain tables and what the interpreter has at hand: nothing that the command line would have to wait for.
    code = f"import {name}; print(*sorted({{*sys.modules}} - before))"
    code = f"import sys, typing, math, itertools, collections.abc; before = {{*sys.modules}}; {code}"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {one.partition(".")[0] for one in done.stdout.split()}
    assert loaded <= {"onebond", "__future__"}
