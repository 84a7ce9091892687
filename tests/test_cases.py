"""Single situations that once were judged wrongly, each with the reason why the verdict is what it is."""

from __future__ import annotations

from pathlib import Path

from onebond.engine import inspect
from onebond.loading import load_rules
from onebond.reading import load

IT_ON_A_STAR_POINT = """\
onebond: 1
site: {name: Declared IT, rulebook: iec}
sources:
  shore: {kind: utility, phases: L1, earthing: TT}
  hybrid: {kind: inverter, phases: L1, earthing: IT, mains-input: yes, neutral-through: NEUTRAL, neutral-bond: none}
boards: {main: {}, out: {}}
connections:
  service: {from: shore, to: main, cores: L1 N}
  to-hybrid: {from: main, to: hybrid.in, cores: L1 N PE}
  to-out: {from: hybrid.out, to: out, cores: L1 N PE}
circuits:
  load: {from: out, cores: L1 N PE}
electrodes: {rod: {at: main, resistance: 20 ohm}}
monitors: {imd: {at: out}}
"""

ROD_OVER_A_PEN = """\
onebond: 1
site: {name: Rod over a PEN, rulebook: iec}
sources:
  set: {kind: generator, phases: L1, neutral-bond: fixed}
  shore: {kind: utility, phases: L1, earthing: TN-C-S}
boards: {main: {}, hut: {}, essential: {}}
connections:
  service: {from: shore, to: main, cores: L1 PEN}
  to-hut: {from: main, to: hut, cores: L1 PEN}
  set-feed: {from: set, to: essential, cores: L1 N PE}
  bonding: {from: hut, to: essential, cores: PE}
circuits:
  one: {from: essential, cores: L1 N PE}
  two: {from: hut, cores: L1 N PE}
bonds: {main-link: {at: main}, hut-link: {at: hut}}
electrodes: {rod: {at: main, resistance: 20 ohm}}
"""

THREE_RODS = """\
onebond: 1
site: {name: Three rods, rulebook: iec}
sources:
  set: {kind: generator, phases: L1, neutral-bond: fixed}
boards: {main: {}, barn: {}, shed: {}}
connections:
  c-1: {from: set, to: main, cores: L1 N PE}
  c-2: {from: main, to: barn, cores: L1 N}
  c-3: {from: main, to: shed, cores: L1 N PE}
electrodes:
  rod-main: {at: main, resistance: 30 ohm}
  rod-barn: {at: barn, resistance: 30 ohm}
  rod-shed: {at: shed, resistance: 30 ohm}
"""


def found(text: str, folder: Path) -> set[tuple[str, str]]:
    """The findings on a description as (rule, subject)."""
    path = folder / "case.yaml"
    path.write_text(text, encoding="utf-8")
    document, installation, problems, _ = load(str(path))
    assert document is not None
    assert installation is not None, problems
    site = inspect(installation, document, load_rules(), today="2026-11-25")
    assert not site.faults
    return {(result.rule, result.subject) for result in site.results if result.kind == "fail"}


def test_it_by_word_but_joined_to_an_absent_supplier_is_bonded(tmp_path: Path) -> None:
    assert ("it-bonded", "hybrid") in found(IT_ON_A_STAR_POINT.replace("NEUTRAL", "solid"), tmp_path)
    assert found(IT_ON_A_STAR_POINT.replace("NEUTRAL", "switched"), tmp_path) == set()


def test_an_electrode_counts_over_links_and_pen(tmp_path: Path) -> None:
    assert found(ROD_OVER_A_PEN, tmp_path) == set()
    cut = ROD_OVER_A_PEN.replace("  bonding: {from: hut, to: essential, cores: PE}\n", "")
    assert ("electrode-missing", "set") in found(cut, tmp_path)


def test_a_rod_joined_to_the_first_is_not_to_be_joined_to_each(tmp_path: Path) -> None:
    unjoined = {subject for rule, subject in found(THREE_RODS, tmp_path) if rule == "electrodes-not-joined"}
    assert unjoined == {"rod-barn"}
