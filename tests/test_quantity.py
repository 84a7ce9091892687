"""Quantities: what is accepted, what is refused and in which words, and that the published patterns say the same."""

from __future__ import annotations

import json
import math
import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import onebond_schemas
from onebond import quantity
from onebond.quantity import Measure, Refusal, nearest, parse

PATTERNS: dict[str, str] = {
    name: definition["pattern"]
    for name, definition in json.loads(onebond_schemas.text())["$defs"].items()
    if "x-quantity" in definition
}
NAMES = sorted(PATTERNS)


def accepted(text: str, name: str) -> float:
    measure = parse(text, name)
    assert isinstance(measure, Measure), measure
    return measure.value


def refused(text: str, name: str, example: str = "") -> Refusal:
    refusal = parse(text, name, example)
    assert isinstance(refusal, Refusal), refusal
    return refusal


@pytest.mark.parametrize(
    ("text", "name", "value"),
    [
        ("12 m", "length", 12.0),
        ("0 m", "length", 0.0),
        ("16 mm", "length", 0.016),
        ("50 cm", "length", 0.5),
        ("1.2 km", "length", 1200.0),
        ("40 ft", "length", 12.192),
        ("10 in", "dimension", 0.254),
        ("2.5 mm2", "cross-section", 2.5),
        ("63 A", "current", 63.0),
        ("30 mA", "current", 0.03),
        ("3.2 kA", "current", 3200.0),
        ("230 V", "voltage", 230.0),
        ("11 kV", "voltage", 11000.0),
        ("690 V", "source-voltage", 690.0),
        ("5 mA", "residual-current", 0.005),
        ("10 A", "residual-current", 10.0),
        ("0.35 ohm", "impedance", 0.35),
        ("120 mohm", "impedance", 0.12),
        ("1 kohm", "impedance", 1000.0),
        ("1 Mohm", "impedance", 1e6),
        ("600 W", "power", 600.0),
        ("8 kVA", "power", 8000.0),
        ("1.5 MVA", "power", 1.5e6),
        ("10 A", "power-or-current", 10.0),
        ("2.4 kW", "power-or-current", 2400.0),
        ("3 x rated", "multiple-or-current", 3.0),
        ("60 A", "multiple-or-current", 60.0),
        ("10 s", "time", 10.0),
        ("200 ms", "time", 0.2),
        ("5 min", "time", 300.0),
        ("2 h", "time", 7200.0),
        ("10 nF", "capacitance", 1e-8),
        ("470 pF", "capacitance", 4.7e-10),
        ("2 uF", "capacitance", 2e-6),
        ("120 ohm m", "resistivity", 120.0),
        ("12 %", "ratio", 0.12),
        ("70 C", "temperature", 70.0),
        ("60 Hz", "frequency", 60.0),
    ],
)
def test_accepted(text: str, name: str, value: float) -> None:
    assert accepted(text, name) == value


@pytest.mark.parametrize(
    ("gauge", "mm2"),
    # The cross-sections that ASTM B258 tables give for solid wires, to the digits given there.
    [("14", 2.08), ("12", 3.31), ("10", 5.26), ("8", 8.37), ("6", 13.3), ("4", 21.2), ("2", 33.6), ("1", 42.4),
     ("1/0", 53.5), ("2/0", 67.4), ("3/0", 85.0), ("4/0", 107.0)],
)  # fmt: skip
def test_wire_gauges(gauge: str, mm2: float) -> None:
    assert accepted(f"{gauge} AWG", "cross-section") == pytest.approx(mm2, rel=0.003)


@pytest.mark.parametrize(("kcmil", "mm2"), [(250, 127.0), (500, 253.0), (750, 380.0), (1000, 507.0)])
def test_circular_mils(kcmil: int, mm2: float) -> None:
    assert accepted(f"{kcmil} kcmil", "cross-section") == pytest.approx(mm2, rel=0.003)


def test_six_gauges_halve_the_diameter() -> None:
    ratio = accepted("12 AWG", "cross-section") / accepted("18 AWG", "cross-section")
    assert ratio == pytest.approx(92 ** (12 / 39))


def test_pair_of_voltages() -> None:
    assert parse("230/400 V", "voltage") == Measure(230.0, "V", 400.0)
    assert parse("120/240 V", "voltage") == Measure(120.0, "V", 240.0)
    assert parse("1000/1730 V", "source-voltage") == Measure(1000.0, "V", 1730.0)


@pytest.mark.parametrize(
    ("text", "name", "message", "hint"),
    [
        ("16", "cross-section", "has no unit", "write `16 mm2` (units: mm2, AWG, kcmil)"),
        ("2,5", "cross-section", "has no unit", "write `2.5 mm2`"),
        ("16mm2", "cross-section", "needs exactly one space", "write `16 mm2`"),
        ("6AWG", "cross-section", "needs exactly one space", "write `6 AWG`"),
        ("12  m", "length", "needs exactly one space", "write `12 m`"),
        ("12\tm", "length", "needs exactly one space", "write `12 m`"),
        ("12\u00a0m", "length", "needs exactly one space", "write `12 m`"),
        ("12 m ", "length", "needs exactly one space", "write `12 m`"),
        ("12 m\n", "length", "needs exactly one space", "write `12 m`"),
        ("12%", "ratio", "needs exactly one space", "write `12 %`"),
        ("3x rated", "multiple-or-current", "needs exactly one space", "write `3 x rated`"),
        ("16 mm²", "cross-section", "`mm²` is not a unit", "write `16 mm2`"),
        ("16 m²", "cross-section", "`m²` is not a unit", "write `16 mm2`"),
        ("16 sqmm", "cross-section", "`sqmm` is not a unit", "write `16 mm2`"),
        ("250 MCM", "cross-section", "`MCM` is not a unit", "write `250 kcmil`"),
        ("0.35 Ω", "impedance", "`Ω` is not a unit", "write `0.35 ohm`"),
        ("0.35 \N{OHM SIGN}", "impedance", "is not a unit", "write `0.35 ohm`"),
        ("1 MΩ", "impedance", "`MΩ` is not a unit", "write `1 Mohm`"),
        ("1 mΩ", "impedance", "`mΩ` is not a unit", "write `1 mohm`"),
        ("120 Ωm", "resistivity", "`Ωm` is not a unit", "write `120 ohm m`"),
        ("120 ohm-m", "resistivity", "`ohm-m` is not a unit", "write `120 ohm m`"),
        ("10 µF", "capacitance", "`µF` is not a unit", "write `10 uF`"),
        ("70 °C", "temperature", "`°C` is not a unit", "write `70 C`"),
        ("8 kva", "power", "`kva` is not a unit for a power", "write `8 kVA`"),
        ("50 hz", "frequency", "`hz` is not a unit", "write `50 Hz`"),
        ("12 metres", "length", "`metres` is not a unit", "write `12 m`"),
        ("12 mm2", "length", "`mm2` is the unit of a conductor size and not of a length", "write for example `12 m`"),
        ("12 furlong", "length", "`furlong` is not a unit for a length", "units: m, mm, cm, km, ft, in"),
        ("2,5 mm2", "cross-section", "has a comma", "the decimal sign is a point: write `2.5 mm2`"),
        ("1 000 m", "length", "has a space inside the number", "without it"),
        ("1e3 m", "length", "has an exponent", "in full"),
        (".5 ohm", "impedance", "is not written as a plain number", "write `0.5 ohm`"),
        ("5. ohm", "impedance", "is not written as a plain number", "write `5 ohm`"),
        ("+5 ohm", "impedance", "is not written as a plain number", "write `5 ohm`"),
        ("010 m", "length", "is not written as a plain number", "write `10 m`"),
        ("-5 m", "length", "is negative", "for example `12 m`"),
        ("１６ mm2", "cross-section", "digits 0 to 9", "for example `16 mm2`"),
        ("٢٥ m", "length", "digits 0 to 9", "for example `12 m`"),
        ("", "length", "is missing", "for example `12 m`"),
        ("about 3 m", "length", "does not begin with a number", "for example `12 m`"),
        ("nan ohm", "impedance", "does not begin with a number", "for example"),
        ("inf ohm", "impedance", "does not begin with a number", "for example"),
        ("9" * 400 + " m", "length", "is not a number", "for example `12 m`"),
        ("1/2 m", "length", "is not a number", "for example `12 m`"),
        ("400/230 V", "voltage", "in the wrong order", "`230/400 V`"),
        ("230/230 V", "voltage", "in the wrong order", "write one voltage: `230 V`"),
        ("0 AWG", "cross-section", "is no wire gauge", "write `1/0 AWG`"),
        ("5/0 AWG", "cross-section", "is no wire gauge", "1/0 AWG to 4/0 AWG"),
        ("2.5 AWG", "cross-section", "is no wire gauge", "40 AWG to 1 AWG"),
    ],
)
def test_refused(text: str, name: str, message: str, hint: str) -> None:
    refusal = refused(text, name)
    assert message in refusal.message
    assert hint in refusal.hint
    assert quantity.value(text, name) is None


@pytest.mark.parametrize(
    ("text", "name", "message", "hint"),
    [
        ("30 A", "residual-current", "must be from 5 mA to 10 A", "did you mean `30 mA`?"),
        ("3 mA", "residual-current", "must be from 5 mA to 10 A", "check the number and the unit"),
        ("400 km", "length", "must be from 0 m to 100 km", "did you mean `400 m`?"),
        ("11 kV", "source-voltage", "must be from 1 V to 1800 V", "is its `primary-voltage`"),
        ("1/1.9 kV", "source-voltage", "must be from 1 V to 1800 V", "only low voltage is described here"),
        ("66 kV", "voltage", "must be from 1 V to 36 kV", "did you mean `66 V`?"),
        ("4000 mm2", "cross-section", "must be from 0.005 mm2 to 3000 mm2", "check the number and the unit"),
    ],
)
def test_beyond_the_bounds(text: str, name: str, message: str, hint: str) -> None:
    refusal = refused(text, name)
    assert refusal.reason == "bounds"
    assert message in refusal.message
    assert hint in refusal.hint


@pytest.mark.parametrize(
    ("text", "name", "hint"),
    [
        # a tester shows what a person then writes: 200 MOhm is not a fifth of an ohm
        ("200 MOhm", "measured-resistance", "write `200 Mohm` (units"),
        ("200 Mohms", "measured-resistance", "write `200 Mohm` (units"),
        ("200 M Ω", "measured-resistance", "write `200 Mohm` (units"),
        ("200 megohm", "measured-resistance", "write `200 Mohm` (units"),
        ("200 Meg", "measured-resistance", "write `200 Mohm` (units"),
        ("200 mOhm", "measured-resistance", "write `200 mohm` (units"),
        ("200 milliohm", "impedance", "write `200 mohm` (units"),
        ("200 KOHM", "impedance", "write `200 kohm` (units"),
        ("24 mS", "trip-time", "write `24 ms` (units"),
        ("12 M", "length", "write `12 m` (units"),
        # where the letter may be meant otherwise both are shown
        ("200 MOHM", "measured-resistance", "write `200 mohm` or `200 Mohm`, whichever is meant"),
        ("30 MA", "residual-current", "write `30 mA` or `30 A`, whichever is meant"),
        ("230 MV", "measured-voltage", "write `230 mV` or `230 V`, whichever is meant"),
        ("5 mW", "power", "write `5 MW` or `5 W`, whichever is meant"),
        ("5 mva", "power", "write `5 MVA` or `5 VA`, whichever is meant"),
        ("24 Ms", "trip-time", "write `24 ms` or `24 s`, whichever is meant"),
        # a prefix that is not known here is not left out
        ("2 GOhm", "measured-resistance", "1 GOhm is 1000 Mohm: write the value in Mohm"),
        ("2 µA", "measured-current", "1 µA is 0.001 mA: write the value in mA"),
        ("2 nA", "measured-current", "write for example `120 mA`"),
        ("20 us", "trip-time", "1 us is 0.001 ms: write the value in ms"),
        # a comma before three digits may part thousands
        ("1,500 ohm", "measured-resistance", "write `1.500 ohm`, or `1500 ohm` where the comma parts thousands"),
    ],
)
def test_no_hint_is_wrong_by_a_prefix(text: str, name: str, hint: str) -> None:
    assert hint in refused(text, name).hint


SPELT = ("{}", "{}s", " {}", "{}.", "{}-")


@pytest.mark.parametrize("name", sorted(quantity.QUANTITIES))
def test_a_hint_keeps_the_case_of_m_or_shows_both(name: str) -> None:
    """Every unit with a prefix, in every case of its letters and some spellings."""
    for unit in ("mohm", "Mohm", "mA", "MA", "mV", "MV", "mW", "MW", "mVA", "MVA", "ms", "Ms"):
        cases = {unit[0] + rest for rest in (unit[1:], unit[1:].upper(), unit[1:].lower(), unit[1:].title())}
        for text in [form.format(case) for case in cases for form in SPELT]:
            result = parse(f"20 {text}", name)
            if isinstance(result, Refusal) and result.reason != "bounds":
                told = re.findall(r"`20 ([^`]*)`", result.hint)
                changed = [one for one in told if one[0] in "mM" and one not in ("m", "months") and one[0] != unit[0]]
                assert not changed or len(told) > 1, (text, result.hint)


def test_a_hint_for_a_bare_number_is_possible_itself() -> None:
    assert refused("200", "measured-resistance", "120 Mohm").hint.startswith("write `200 Mohm`")
    assert refused("200000000", "measured-resistance", "120 Mohm").hint.startswith("write for example `120 Mohm`")


def test_a_bare_number_gets_the_unit_that_is_usual_at_its_place() -> None:
    assert refused("30", "current", "30 mA").hint.startswith("write `30 mA`")
    assert refused("30", "current", "16 A").hint.startswith("write `30 A`")


@pytest.mark.parametrize("name", NAMES)
def test_bounds(name: str) -> None:
    for part in quantity._EITHER.get(name, (name,)):
        known = quantity.QUANTITIES[part]
        low, _, high = known.bounds.partition(" to ")
        assert accepted(low, name) == pytest.approx(known.low)
        assert accepted(high, name) == pytest.approx(known.high)
        number, _, unit = high.partition(" ")
        beyond = refused(f"{number}.1 {unit}", name)
        assert beyond.reason == "bounds"
        assert known.bounds in beyond.message
        if known.low > 0:
            assert refused(f"0 {low.partition(' ')[2]}", name).reason == "bounds"


@pytest.mark.parametrize("name", NAMES)
def test_examples_are_accepted(name: str) -> None:
    for written in quantity.examples(name):
        assert math.isfinite(accepted(written, name))


@pytest.mark.parametrize("name", NAMES)
def test_every_unit_is_accepted_and_named_in_a_refusal(name: str) -> None:
    hint = refused("5 parsec", name).hint
    for unit in quantity.units(name):
        assert unit in hint
        reason = parse(f"50 {unit}", name)
        assert isinstance(reason, Measure) or reason.reason == "bounds" or unit == "AWG"


TEXTS = st.one_of(
    st.text(max_size=30),
    st.builds(
        lambda number, space, unit: number + space + unit,
        st.from_regex(r"[0-9]{0,3}[.,/]?[0-9]{0,3}", fullmatch=True),
        st.sampled_from([" ", "", "  ", "\t", "\u00a0"]),
        st.sampled_from(
            [unit for name in quantity.QUANTITIES for unit in quantity.units(name)] + ["Ω", "mm²", "", "\n"]
        ),
    ),
)


@given(TEXTS, st.sampled_from(NAMES))
def test_the_published_pattern_says_the_same(text: str, name: str) -> None:
    result = parse(text, name)
    matches = re.fullmatch(PATTERNS[name].removeprefix("^").removesuffix("$"), text) is not None
    assert matches == (isinstance(result, Measure) or (result.reason == "bounds"))


@example("0/0 V", "voltage")  # two voltages, both out of bounds
@given(TEXTS, st.sampled_from(NAMES))
def test_what_a_hint_tells_to_write_is_accepted(text: str, name: str) -> None:
    result = parse(text, name)
    if isinstance(result, Refusal):
        told = re.search(r"write (?:for example )?`([^`]*)`", result.hint)
        if told:
            again = parse(told.group(1), name)
            assert isinstance(again, Measure) or again.reason == "bounds", (text, told.group(1), again)


@pytest.mark.parametrize(
    ("word", "words", "near"),
    [
        ("lenght", ["length", "load", "leakage"], "length"),
        ("Main", ["main", "mains"], "main"),
        ("tncs", ["TN-S", "TN-C-S", "TT"], "TN-C-S"),
        ("zebra", ["main", "shore"], None),
        ("x", [], None),
        ("essential-rdc", ["essential", "essential-rcd"], "essential-rcd"),
    ],
)
def test_nearest(word: str, words: list[str], near: str | None) -> None:
    assert nearest(word, words) == near
