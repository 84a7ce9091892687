"""From a plan and a state to SVG text."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from onebond.reporting.diagram import metrics
from onebond.reporting.diagram.cables import Cables
from onebond.reporting.diagram.earthing import Earthing
from onebond.reporting.diagram.equipment import Equipment
from onebond.reporting.diagram.plan import PlacedWire
from onebond.reporting.diagram.style import STYLE
from onebond.reporting.diagram.symbols import number

_NARROWEST = 420.0  # of a picture, for its caption


class Writer(Cables, Equipment, Earthing):
    """Writes one picture."""

    def write(self, title: str, desc: str, caption: Sequence[str], standalone: bool, name: str = "drawing") -> str:
        plan, pen, prefix = self.plan, self.pen, self.prefix
        wide = max(plan.width, _NARROWEST)
        told = [line for text in caption for line in metrics.wrapped(text, "data", wide - 24)]
        width, height = number(wide), number(plan.height + (14 * len(told) + 14 if told else 0))
        root = f"{prefix}{name}"
        pen.raw(
            f'<svg xmlns="http://www.w3.org/2000/svg" class="obd" id="{root}" viewBox="0 0 {width} {height}"'
            f' width="{width}" height="{height}" role="img" aria-labelledby="{root}-title {root}-desc">'
        )
        pen.raw(f'<title id="{root}-title">{escape(title)}</title>')
        pen.raw(f'<desc id="{root}-desc">{escape(desc)}</desc>')
        if standalone:
            pen.raw(f"<style>{STYLE}</style>")
        by_link: dict[str, list[PlacedWire]] = {}
        for wire in plan.wires:
            by_link.setdefault(wire.link.id, []).append(wire)
        chained = set()
        for chain in plan.chains:
            chained.add(chain.chain.link.id)
            self.link(chain, by_link.get(chain.chain.link.id, []))
        for identifier, wires in by_link.items():
            if identifier not in chained:  # led here from another sheet, or the further conductor of an earth bar
                self.loose(identifier, wires)
        for earth in plan.earths:
            self.earth(earth)
        for bar in plan.bars:
            self.bar(bar)
        for symbol in plan.symbols:
            self.symbol(symbol)
        for load in plan.loads:
            self.load(load)
        for fold in plan.folds:
            self.fold(fold)
        for mark in plan.marks:
            self.mark(mark)
        if told:
            pen.raw('<g class="caption">')
            pen.path([(10, plan.height + 2), (wide - 10, plan.height + 2)], "thin")
            for i, line in enumerate(told):
                pen.text(12, plan.height + 16 + 14 * i, line, "id" if i == 0 else "data")
            pen.raw("</g>")
        pen.raw("</svg>")
        return "\n".join(pen.out) + "\n"
