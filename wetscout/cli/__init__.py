"""The command line: `main` runs it; one command stands in one module."""

from __future__ import annotations


def main() -> None:
    """Run the command line and leave with its exit code.

    Raises
    ------
    SystemExit
        0 done, 1 could not, 2 wrong usage, 130 interrupted.
    """
    from wetscout.cli.app import run  # noqa: PLC0415  the package is imported for its commands' names alone

    raise SystemExit(run())
