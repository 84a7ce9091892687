"""The stylesheet of a drawing.  A page embeds it once; a drawing that stands alone carries it itself.

Conductor colours after IEC 60445:2021 as harmonised in Europe: L1 brown, L2 black, L3 grey, N blue, PE green-yellow, PEN
green-yellow with blue ends (from memory).  Nothing rests on colour alone: N is dashed, PE dash-dotted, PEN dash-dot-dotted, and what is
not part of the live island is thin.
"""

STYLE = """\
.obd{--ob-fg:#1b1d1f;--ob-bg:#ffffff;--ob-dim:#6d7174;--ob-n:#0a5fb4;--ob-pe:#23782b;--ob-ye:#e3c000;--ob-l1:#8a4b14;--ob-l2:#1b1d1f;\
--ob-l3:#4f5356;--ob-bad:#b3261e;--ob-warn:#8a5a00;color:var(--ob-fg);background:var(--ob-bg);\
font-family:"Liberation Sans",Arial,Helvetica,sans-serif;max-width:100%;height:auto}
@media (prefers-color-scheme:dark){.obd{--ob-fg:#e9ebec;--ob-bg:#14171a;--ob-dim:#868b8f;--ob-n:#69b1f7;--ob-pe:#6cc472;--ob-ye:#e3c000;\
--ob-l1:#d08b52;--ob-l2:#e9ebec;--ob-l3:#a9adb0;--ob-bad:#ff8a80;--ob-warn:#f0b74a}}
@media print{.obd{--ob-fg:#000;--ob-bg:#fff;--ob-dim:#6d7174;--ob-n:#0a5fb4;--ob-pe:#23782b;--ob-ye:#e3c000;--ob-l1:#8a4b14;--ob-l2:#000;\
--ob-l3:#4f5356;--ob-bad:#b3261e;--ob-warn:#8a5a00}}
.obd path,.obd line,.obd circle,.obd rect,.obd ellipse{fill:none;stroke:currentColor;stroke-width:1.4;stroke-linecap:butt;\
stroke-linejoin:miter}
.obd .back{fill:var(--ob-bg);stroke:none}
.obd .body{fill:var(--ob-bg)}
.obd .dot,.obd .solid{fill:currentColor;stroke:none}
.obd .w{stroke-width:1.6}
.obd .l1{color:var(--ob-l1)}.obd .l2{color:var(--ob-l2)}.obd .l3{color:var(--ob-l3)}
.obd .n{color:var(--ob-n)}.obd .pe,.obd .pen{color:var(--ob-pe)}.obd .metal{color:var(--ob-fg)}
.obd path.n{stroke-dasharray:7 3}
.obd path.pe{stroke-dasharray:10 2.5 2 2.5;stroke-width:2.2}
.obd path.pen{stroke-dasharray:10 2.5 2 2.5 2 2.5;stroke-width:2.2}
.obd path.metal{stroke-dasharray:2 3}
.obd path.ye{stroke:var(--ob-ye);stroke-width:.9;stroke-dasharray:4 5}
.obd path.bar{stroke-width:4.5}.obd path.bar.n{stroke-width:3;stroke-dasharray:none}
.obd path.bar.pe{stroke-width:3.4;stroke-dasharray:none}.obd path.bar.ye{stroke-width:1.2;stroke-dasharray:6 6}
.obd .on>path.w,.obd path.w.on{stroke-width:2.6}
.obd .off,.obd .off .n:not(.on){color:var(--ob-dim)}.obd .off>path,.obd path.w.off{stroke-width:1;stroke-opacity:.7}
.obd path.bar.off{stroke-width:2.2}
.obd path.ye.off{stroke:none}
.obd text{fill:currentColor;font-size:10px;stroke:none}
.obd text.id{font-size:11px;font-weight:600}.obd text.pos{font-size:9px}
.obd text.state{font-style:italic}.obd text.in{font-size:11px;text-anchor:middle}
.obd .label{color:var(--ob-fg)}.obd .off>.label,.obd .label.off{color:var(--ob-dim)}
.obd .ret{color:var(--ob-n)}.obd path.ret{stroke-width:1.1;stroke-dasharray:4 2.5}
.obd .stray{color:var(--ob-bad)}.obd path.stray{stroke-width:1.1;stroke-dasharray:1.5 2}
.obd .ref{color:var(--ob-fg)}.obd circle.ref{stroke-width:1.2}
.obd .flag rect{fill:var(--ob-bad);stroke:none}.obd .flag text{fill:var(--ob-bg);font-size:9px;font-weight:700;text-anchor:middle}
.obd .flag.note rect,.obd .flag.waived rect{fill:var(--ob-bg);stroke:currentColor;stroke-width:1}
.obd .flag.note text,.obd .flag.waived text{fill:currentColor}
.obd .flag.waived rect{stroke-dasharray:2 1.5}
.obd .flag.warning rect{fill:var(--ob-warn)}
.obd :target>path,.obd :target path.w{stroke-width:4}
.obd :target>.label text{text-decoration:underline}
"""
