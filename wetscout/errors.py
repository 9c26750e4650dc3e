"""What can go wrong, in words a user can act on.

WetscoutError
├── InputError        (ValueError)   a DEM, layer or argument that cannot be used as it is
│   └── UnitError                    a unit is missing or contradicts itself
├── SettingsError     (ValueError)   a settings file with an unknown key or a value out of range
├── OutputError       (OSError)      a result that cannot be written, or exists already
└── MissingPartError  (ImportError)  an optional part is not installed

Every message says what was found, where, what was wanted and what to do next.
"""

from __future__ import annotations


class WetscoutError(Exception):
    """Root of all expected failures: one plain message, no traceback needed."""


class InputError(WetscoutError, ValueError):
    """A DEM, layer or argument cannot be used as it is."""


class UnitError(InputError):
    """A unit is missing, or two statements of it contradict each other."""


class SettingsError(WetscoutError, ValueError):
    """A settings file names an unknown key or a value out of its range."""


class OutputError(WetscoutError, OSError):
    """A result cannot be written where it was asked for."""


class MissingPartError(WetscoutError, ImportError):
    """An optional part of wetscout is not installed."""
