"""Published data of the parts of an installation: one formula or one table, one pure function.

The modules know no rule, no rulebook verdict and nothing else of the package.  Every function says its limits of use, where
its figures come from and how far that was checked: *seen* (a public text was read), *second-hand* (quoted elsewhere),
*recomputed* (from the formula), *from memory* (to be checked against the document before it becomes binding).  What lies
outside the limits is refused with ``ValueError`` in words of the trade, never moved to the nearest value.

Units stand in the names: ``_ohm _ohm_km _ohm_m _a _v _m _mm2 _s _f _w _va _c`` (degree Celsius) ``_hz _cmil`` (circular mils)
``_pu`` (per unit), ``_factor`` and ``_ratio`` (no unit).
"""
