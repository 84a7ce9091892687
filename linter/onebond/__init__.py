"""onebond: is the neutral of every live system tied to earth exactly once, in every operating state?

The public door.  Names are imported when they are asked for, so that ``import onebond`` costs nothing; and nothing at
all is imported here, because ``python -m onebond`` runs this file before the current folder has left ``sys.path``.
"""

__version__ = "0.1.0"

TYPE_CHECKING = False
if TYPE_CHECKING:
    from onebond.door import Report, inspect
    from onebond.loading import load_rules
    from onebond.result import Result, Site
    from onebond.survey import inspect_file

__all__ = ["Report", "Result", "Site", "__version__", "inspect", "inspect_file", "load_rules"]

_HOMES = {
    "Report": "onebond.door",
    "Result": "onebond.result",
    "Site": "onebond.result",
    "inspect": "onebond.door",
    "inspect_file": "onebond.survey",
    "load_rules": "onebond.loading",
}


def __getattr__(name: str) -> object:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(home), name)
