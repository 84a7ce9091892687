"""The conductor-level circuit of one operating state: what is known of its parts, and its complex nodal analysis.

Knows no rule, no rulebook and no verdict; numpy is loaded only for large circuits, and only where it is installed.
"""
