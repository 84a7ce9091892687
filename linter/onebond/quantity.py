"""Quantities: text with a unit (``16 mm2``, ``6 AWG``) to numbers in base units, or a refusal in plain words.

Base units: m, mm2 (cross-section), A, V, ohm, W or VA, s, F, ohm m, per unit (``12 %`` is 0.12), degree Celsius, Hz,
and multiples of the rated current.  Nothing is guessed: ASCII digits, a decimal point, one space, a unit from the list.
Nothing raises on bad input.

AWG sizes follow ASTM B258: a wire of gauge n has the diameter 0.127 mm x 92^((36 - n)/39), with n = 0, -1, -2, -3 for
1/0, 2/0, 3/0, 4/0.  One kcmil is the area of a circle of 0.0254 mm x sqrt(1000) diameter.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Literal, NamedTuple


class Measure(NamedTuple):
    """A quantity that was understood: its value in the base unit, the unit as written, the second value of a pair."""

    value: float
    unit: str
    second: float | None = None


class Refusal(NamedTuple):
    """Why a text is no quantity: what is wrong, what to write, and what it fails by: ``form``, ``unit``, ``bounds``."""

    message: str
    hint: str
    reason: Literal["form", "unit", "bounds"]


class Quantity(NamedTuple):
    """What a quantity may look like: its units, the bounds in the base unit and in words, examples, a hint."""

    words: str
    units: tuple[str, ...]
    low: float
    high: float
    bounds: str
    examples: tuple[str, ...]
    beyond: str = ""  # what to do with a number beyond the bounds


HIGHEST_V = 1000.0
"""Line to neutral, where low voltage ends (IEC 60364-1, from memory); the bound of ``source-voltage`` is line to line."""

LOW_VOLTAGE = "only low voltage is described here; the high-voltage side of a transformer is its `primary-voltage`"

KCMIL_MM2 = math.pi / 4 * 0.0254**2 * 1000

# unit -> (multiply by, divide by): division keeps 16 mm at the float nearest to 0.016.
_FACTORS: dict[str, tuple[float, float]] = {
    "m": (1, 1), "mm": (1, 1e3), "cm": (1, 1e2), "km": (1e3, 1), "ft": (0.3048, 1), "in": (0.0254, 1),
    "mm2": (1, 1), "kcmil": (KCMIL_MM2, 1),
    "A": (1, 1), "mA": (1, 1e3), "kA": (1e3, 1),
    "V": (1, 1), "mV": (1, 1e3), "kV": (1e3, 1),
    "ohm": (1, 1), "mohm": (1, 1e3), "kohm": (1e3, 1), "Mohm": (1e6, 1),
    "W": (1, 1), "kW": (1e3, 1), "MW": (1e6, 1), "VA": (1, 1), "kVA": (1e3, 1), "MVA": (1e6, 1),
    "s": (1, 1), "ms": (1, 1e3), "min": (60, 1), "h": (3600, 1),
    "pF": (1, 1e12), "nF": (1, 1e9), "uF": (1, 1e6),
    "ohm m": (1, 1), "%": (1, 1e2), "C": (1, 1), "Hz": (1, 1), "x rated": (1, 1),
    "months": (1, 1), "years": (12, 1),
}  # fmt: skip

_LENGTHS = ("m", "mm", "cm", "km", "ft", "in")

QUANTITIES: dict[str, Quantity] = {
    "length": Quantity("a length", _LENGTHS, 0, 1e5, "0 m to 100 km", ("12 m", "40 ft")),
    "dimension": Quantity("a dimension", _LENGTHS, 1e-4, 1e3, "0.1 mm to 1 km", ("2.4 m", "16 mm")),
    "cross-section": Quantity(
        "a conductor size", ("mm2", "AWG", "kcmil"), 0.005, 3000, "0.005 mm2 to 3000 mm2", ("16 mm2", "6 AWG")
    ),
    "current": Quantity("a current", ("A", "mA", "kA"), 0, 5e5, "0 A to 500 kA", ("16 A", "30 mA")),
    # From 5 mA, the class A of North America.  Of the values of IEC 60947-2 Annex B (from memory) only 30 A lies above
    # the upper bound, and is nearly always a slip for 30 mA.
    "residual-current": Quantity("a residual current", ("A", "mA"), 5e-3, 10, "5 mA to 10 A", ("30 mA", "100 mA")),
    "voltage": Quantity("a voltage", ("V", "kV", "mV"), 1, 36e3, "1 V to 36 kV", ("230 V", "230/400 V")),
    "source-voltage": Quantity(
        "a voltage of a source", ("V", "kV", "mV"), 1, 1800, "1 V to 1800 V", ("230 V", "230/400 V"), LOW_VOLTAGE
    ),
    "impedance": Quantity(
        "an impedance", ("ohm", "mohm", "kohm", "Mohm"), 1e-6, 1e9, "0.001 mohm to 1000 Mohm", ("0.35 ohm", "1 Mohm")
    ),
    "power": Quantity("a power", ("W", "kW", "MW", "VA", "kVA", "MVA"), 0, 1e9, "0 W to 1000 MW", ("8 kVA", "2.4 kW")),
    "time": Quantity("a time", ("s", "ms", "min", "h"), 0, 86400, "0 s to 24 h", ("10 s", "200 ms")),
    "capacitance": Quantity("a capacitance", ("pF", "nF", "uF"), 0, 1e-2, "0 pF to 10000 uF", ("10 nF",)),
    "resistivity": Quantity("a soil resistivity", ("ohm m",), 0.01, 1e6, "0.01 ohm m to 1000000 ohm m", ("120 ohm m",)),
    "ratio": Quantity("a percentage", ("%",), 1e-5, 10, "0.001 % to 1000 %", ("12 %",)),
    "temperature": Quantity("a temperature", ("C",), 30, 1000, "30 C to 1000 C", ("70 C",)),
    "frequency": Quantity("a frequency", ("Hz",), 1, 1000, "1 Hz to 1000 Hz", ("50 Hz",)),
    "measured-voltage": Quantity("a voltage that was read", ("V", "mV"), 0, 1000, "0 V to 1000 V", ("230 V", "0.2 V")),
    "measured-resistance": Quantity(
        "a resistance that was read",
        ("ohm", "mohm", "kohm", "Mohm"),
        0,
        1e11,
        "0 ohm to 100000 Mohm",
        ("0.82 ohm", "120 Mohm"),
    ),
    "measured-current": Quantity("a current that was read", ("A", "mA"), 0, 1000, "0 A to 1000 A", ("120 mA", "1.4 A")),
    "trip-time": Quantity("an operating time", ("ms", "s"), 0, 10, "0 ms to 10 s", ("24 ms",)),
    "interval": Quantity(
        "an interval", ("months", "years"), 1, 600, "1 months to 600 months", ("60 months", "5 years")
    ),
    "multiple": Quantity(
        "a multiple of the rated current", ("x rated",), 0.01, 100, "0.01 x rated to 100 x rated", ("3 x rated",)
    ),
}

# Where either of two quantities will do.
_EITHER: dict[str, tuple[str, ...]] = {
    "power-or-current": ("power", "current"),
    "multiple-or-current": ("multiple", "current"),
}

# Where a pair of values may stand: line-to-neutral before line-to-line.
_PAIRS = ("voltage", "source-voltage")

# So many words are compared letter by letter.
_CLOSELY = 300

_NUMBER = re.compile(r"(?:0|[1-9][0-9]{0,11})(?:\.[0-9]{1,12})?")

_MILLI_MEGA = ("mm", "mA", "mV", "mohm", "Mohm", "MW", "MVA", "ms")
_KILO = ("km", "kA", "kV", "kohm", "kW", "kVA")

# Prefixes as people write them, with the letter that stands for each; the case of m and M is the only one that carries meaning.
_PREFIXES: dict[str, str] = {
    "m": "m", "M": "M", "k": "k", "K": "k", "G": "G", "u": "u", "µ": "u", "μ": "u", "n": "n", "p": "p", "T": "T",
    "meg": "M", "mil": "m", "kil": "k", "gig": "G", "mic": "u",
}  # fmt: skip
_PREFIX_WORD = re.compile("mega?|milli(?!on)|kilo|giga?|micro", re.IGNORECASE)

# Other spellings of units that people write, in lower case and without spaces, dots and hyphens.
_SPELLINGS: dict[str, str] = {
    "m²": "mm2", "mm²": "mm2", "mm^2": "mm2", "mm**2": "mm2", "qmm": "mm2", "sqmm": "mm2", "mmsq": "mm2", "sq": "mm2",
    "mcm": "kcmil", "ga": "AWG", "gauge": "AWG",
    "ω": "ohm", "ohms": "ohm", "r": "ohm", "ωm": "ohm m", "ohmm": "ohm m", "ohmsm": "ohm m",
    "ω·m": "ohm m", "ohm·m": "ohm m", "ohm*m": "ohm m", "ohmmetre": "ohm m", "ohmmeter": "ohm m",
    "°c": "C", "degc": "C", "celsius": "C", "deg": "C", "°": "C",
    "µf": "uF", "μf": "uF", "microfarad": "uF",
    "metre": "m", "meter": "m", "metres": "m", "meters": "m", "feet": "ft", "foot": "ft", "'": "ft", "inch": "in",
    "inches": "in", '"': "in", "amp": "A", "amps": "A", "ampere": "A", "amperes": "A", "volt": "V", "volts": "V",
    "watt": "W", "watts": "W", "sec": "s", "second": "s", "seconds": "s", "minute": "min",
    "minutes": "min", "hr": "h", "hour": "h", "hours": "h", "percent": "%", "pc": "%", "hertz": "Hz",
    "xin": "x rated", "×rated": "x rated", "timesrated": "x rated", "xrated": "x rated", "rated": "x rated",
    "x": "x rated", "×": "x rated", "times": "x rated", "×in": "x rated",
}  # fmt: skip


def parts(name: str) -> tuple[str, ...]:
    """The quantities of which any will do where one is asked for by that name."""
    return _EITHER.get(name, (name,))


def units(name: str) -> tuple[str, ...]:
    """The accepted units of a quantity; raises KeyError for an unknown quantity."""
    return tuple(unit for part in _EITHER.get(name, (name,)) for unit in QUANTITIES[part].units)


def examples(name: str) -> tuple[str, ...]:
    """Examples of a quantity; raises KeyError for an unknown quantity."""
    return tuple(example for part in _EITHER.get(name, (name,)) for example in QUANTITIES[part].examples)


def value(text: str, name: str) -> float | None:
    """The number alone, in the base unit; None where the text is refused."""
    measure = parse(text, name)
    return measure.value if isinstance(measure, Measure) else None


def parse(text: str, name: str, example: str = "") -> Measure | Refusal:
    """Read a quantity.

    ``name`` is a key of QUANTITIES or one of ``power-or-current`` and ``multiple-or-current``; raises KeyError
    otherwise.  ``example`` shows the usual unit at this place: a hint for a bare number takes the unit from it.  Only
    voltages may be pairs (``230/400 V``: line-to-neutral before line-to-line).
    """
    number, _, unit = text.partition(" ")
    accepted = units(name)
    if unit not in accepted:
        return _refuse(text, name, accepted, example or examples(name)[0])
    first, slash, second = number.partition("/")
    if unit == "AWG":
        size = _awg(number)
        if size is None:
            gauges = "gauges are 40 AWG to 1 AWG and 1/0 AWG to 4/0 AWG"
            hint = f"write `1/0 AWG`: {gauges}" if number == "0" else gauges
            return Refusal(f"`{_short(text)}` is no wire gauge", hint, "form")
        return Measure(size, unit)
    if slash and name not in _PAIRS:
        return _refuse(text, name, accepted, example or examples(name)[0])
    if not _NUMBER.fullmatch(first) or (slash and not _NUMBER.fullmatch(second)):
        return _refuse(text, name, accepted, example or examples(name)[0])
    measure = Measure(_scaled(first, unit), unit, _scaled(second, unit) if slash else None)
    for part in _EITHER.get(name, (name,)):
        quantity = QUANTITIES[part]
        if unit in quantity.units:
            for number_si in (measure.value, measure.second):
                # Written so that a NaN would be refused too.
                if number_si is not None and not quantity.low <= number_si <= quantity.high:
                    return Refusal(
                        f"`{_short(text)}` is not possible as {quantity.words}: it must be from {quantity.bounds}",
                        quantity.beyond or _other_unit(number, quantity, example) or "check the number and the unit",
                        "bounds",
                    )
    if measure.second is not None and not measure.value < measure.second:
        return Refusal(
            f"`{_short(text)}` has its two voltages in the wrong order",
            f"write the line-to-neutral voltage first: `{second}/{first} {unit}`"
            if measure.second < measure.value
            else f"write one voltage: `{first} {unit}`",
            "bounds",
        )
    return measure


def nearest(word: str, words: Iterable[str]) -> str | None:
    """The word that was probably meant, or None: the same letters in another case, else the closest one.

    Of a long list the most similar ones are compared closely, so that a file of thousands of ids costs no seconds.
    """
    lower = word.lower()
    candidates = [other for other in words if abs(len(other) - len(word)) <= 3]
    for other in candidates:
        if other.lower() == lower:
            return other
    if len(word) > 64 or not candidates:
        return None
    import difflib

    if len(candidates) > _CLOSELY:
        candidates.sort(key=lambda other: (other[:2] != word[:2], other[-1:] != word[-1:], len(other) != len(word)))
    by_lower = {other.lower(): other for other in reversed(candidates[:_CLOSELY])}
    close = difflib.get_close_matches(lower, by_lower, n=1, cutoff=0.6)
    return by_lower[close[0]] if close else None


def _other_unit(number: str, quantity: Quantity, example: str) -> str:
    """A hint where a number beyond the bounds would be possible in the unit that is usual at its place."""
    usual = (example or quantity.examples[0]).partition(" ")[2]
    if usual not in quantity.units or usual not in _FACTORS:
        return ""
    possible = all(quantity.low <= _scaled(one, usual) <= quantity.high for one in number.split("/"))
    return f"did you mean `{number} {usual}`?" if possible else ""


def _scaled(number: str, unit: str) -> float:
    times, over = _FACTORS[unit]
    return float(number) * times / over


def _awg(gauge: str) -> float | None:
    if gauge in ("1/0", "2/0", "3/0", "4/0"):
        n = 1 - int(gauge[0])
    elif _NUMBER.fullmatch(gauge) and "." not in gauge and 1 <= int(gauge) <= 40:
        n = int(gauge)
    else:
        return None
    diameter_mm: float = 0.127 * 92 ** ((36 - n) / 39)
    return math.pi / 4 * diameter_mm**2


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def _refuse(text: str, name: str, accepted: tuple[str, ...], example: str) -> Refusal:
    """Find out what is wrong with a text that is no quantity, most likely cause first."""
    shown = _short(text)
    usual = example.partition(" ")[2]
    listed = f"units: {', '.join(accepted)}" if len(accepted) > 1 else f"unit: {accepted[0]}"
    if not text.strip():
        return Refusal("a quantity is missing here", f"write for example `{example}` ({listed})", "form")
    match = re.fullmatch(r"([+-]?[0-9.,/]*)\s*(.*)", text.strip(), re.DOTALL)
    number, unit = (match.group(1), match.group(2)) if match else ("", text)
    if not number:
        if any(character.isdigit() for character in text) and not text.isascii():
            return Refusal(
                f"`{shown}` is not written with the digits 0 to 9", f"write for example `{example}` ({listed})", "form"
            )
        return Refusal(f"`{shown}` does not begin with a number", f"write for example `{example}` ({listed})", "form")
    other = next((found.words for found in QUANTITIES.values() if unit in found.units), None)
    if other is not None and unit not in accepted and number:
        what = f"`{unit}` is the unit of {other} and not of {_words(name)}"
        return Refusal(what, f"write for example `{example}` ({listed})", "unit")
    right_units = (unit,) if unit in accepted else _right_units(unit, accepted) if unit else ()
    right_number = _right_number(number, pair=name in _PAIRS, gauge=right_units == ("AWG",))
    if number.startswith("-"):
        return Refusal(f"`{shown}` is negative", f"write for example `{example}` ({listed})", "form")
    if not unit:
        if right_number is None:
            return Refusal(
                f"`{shown}` is not a number with a unit", f"write for example `{example}` ({listed})", "form"
            )
        # 0.03 is hardly meant in milliampere, nor 3200 in kiloampere: a hint must not be wrong by a thousand
        value = float(right_number) if right_number.replace(".", "", 1).isascii() and "/" not in right_number else 1.0
        doubtful = (usual in ("mA", "ms", "%") and value < 1) or (usual in ("kA", "kVA", "kW") and value >= 100)
        doubtful = doubtful or isinstance(parse(f"{right_number} {usual}", name), Refusal)
        hint = f"write for example `{example}`" if doubtful else f"write `{right_number} {usual}`"
        return Refusal(f"`{shown}` has no unit", f"{hint} ({listed})", "unit")
    if not right_units:
        if re.fullmatch(r"[eE][+-]?[0-9]+.*", unit, re.DOTALL):
            return Refusal(f"`{shown}` has an exponent", f"write the number in full, such as `{example}`", "form")
        if re.match(r"[0-9]", unit):
            return Refusal(
                f"`{shown}` has a space inside the number", f"write the number without it, such as `{example}`", "form"
            )
        hint = _converted(unit, accepted) or f"write for example `{example}`"
        return Refusal(f"`{_short(unit)}` is not a unit for {_words(name)}", f"{hint} ({listed})", "unit")
    if right_number is None:
        return Refusal(f"`{_short(number)}` is not a number", f"write for example `{example}` ({listed})", "form")
    hint = f"write `{right_number} {right_units[0]}`"
    if len(right_units) > 1:
        others = "".join(f" or `{right_number} {one}`" for one in right_units[1:])
        hint = f"m is a thousandth and M a million: {hint}{others}, whichever is meant"
    if unit != right_units[0]:
        return Refusal(f"`{_short(unit)}` is not a unit for {_words(name)}", f"{hint} ({listed})", "unit")
    if "," in number:
        if re.fullmatch("[1-9][0-9]{0,2},[0-9]{3}", number):
            hint += f", or `{number.replace(',', '')} {right_units[0]}` where the comma parts thousands"
        return Refusal(f"`{shown}` has a comma in the number", f"the decimal sign is a point: {hint}", "form")
    if right_number != number:
        return Refusal(f"`{_short(number)}` is not written as a plain number", hint, "form")
    return Refusal(f"`{shown}` needs exactly one space between number and unit", hint, "form")


def _words(name: str) -> str:
    return " or ".join(QUANTITIES[part].words for part in _EITHER.get(name, (name,)))


def _right_units(unit: str, accepted: tuple[str, ...]) -> tuple[str, ...]:
    """The accepted units that an unknown one may stand for: another spelling, another case, a slip of the pen.

    m is a thousandth and M a million: the one is never taken for the other, and where that leaves a doubt there are several.
    """
    plain = re.sub(r"[\s._-]", "", unit)
    if plain in accepted:
        return (plain,)
    other = _spelled(plain, accepted)
    alike = [one for one in accepted if one.lower() == plain.lower()]
    if other is None and len(alike) == 1:
        other = alike[0]
    if other is not None and other not in _MILLI_MEGA:
        return (other,)
    prefix, base = _taken_apart(plain, accepted)
    if prefix in ("m", "M"):
        options = tuple(one for one in (f"m{base}", f"M{base}") if one in accepted)
        shouted = base.islower() and plain[1:].isascii() and plain[1:].isupper()
        if prefix + base in options and not (shouted and len(options) > 1):
            return (prefix + base,)
        if options:
            return options if len(options) > 1 else (*options, base)
    elif prefix:
        return (prefix + base,) if prefix + base in accepted else ()
    found = nearest(plain, accepted) if len(unit) <= 12 else None
    # a prefix that nobody wrote is a factor of a thousand
    if found is None or (found in (*_MILLI_MEGA, *_KILO) and found[0] != plain[0]):
        return ()
    return (found,)


def _spelled(unit: str, accepted: Iterable[str]) -> str | None:
    """The accepted unit that people write so."""
    folded = unit.replace("\N{OHM SIGN}", "ω").lower()  # the micro sign and superscripts fold to their letters too
    other = _SPELLINGS.get(folded)
    if folded == "m²" and "mm2" not in accepted:
        return None
    return other if other is not None and other in accepted else None


def _taken_apart(unit: str, accepted: tuple[str, ...]) -> tuple[str, str]:
    """The prefix of a unit as written, and the accepted unit that stands behind it; both '' where there is no such prefix."""
    bases = [one for one in accepted if one not in (*_MILLI_MEGA, *_KILO)]
    word = _PREFIX_WORD.match(unit)
    ways = [(_PREFIXES[word[0][:3].lower()], unit[word.end() :] or "ohm")] if word else []
    ways.append((_PREFIXES.get(unit[:1], ""), unit[1:]))
    for prefix, rest in ways:
        base = (_spelled(rest, bases) or nearest(rest, bases)) if prefix and len(rest) <= 12 else None
        if base is not None:
            return prefix, base
    return "", ""


def _converted(unit: str, accepted: tuple[str, ...]) -> str:
    """What one of a unit with another prefix is in an accepted one, as a hint; '' where that is not known."""
    plain = re.sub(r"[\s._-]", "", unit)
    prefix, base = _taken_apart(plain, accepted)
    times, usual = {"G": ("1000", "M"), "u": ("0.001", "m")}.get(prefix, ("", ""))
    if not times or usual + base not in accepted:
        return ""
    return f"1 {_short(unit)} is {times} {usual}{base}: write the value in {usual}{base}"


def _right_number(number: str, pair: bool, gauge: bool) -> str | None:
    """The number as it should be written, or None where that cannot be told."""
    if gauge and _awg(number) is not None:
        return number
    if "/" in number:
        first, _, second = number.partition("/")
        parts = [_right_number(part, pair=False, gauge=False) for part in (first, second)]
        return f"{parts[0]}/{parts[1]}" if pair and all(parts) else None
    number = number.lstrip("+")
    if number.count(",") == 1 and "." not in number:
        number = number.replace(",", ".")
    if number.startswith("."):
        number = "0" + number
    if number.endswith("."):
        number = number[:-1]
    if re.fullmatch(r"0[0-9]+(?:\.[0-9]+)?", number):
        number = number.lstrip("0") if number.strip("0.") else "0"
        number = "0" + number if number.startswith(".") else number
    return number if _NUMBER.fullmatch(number) else None
