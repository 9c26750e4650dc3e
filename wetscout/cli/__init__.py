"""The command line."""


def main() -> None:
    """Run the command line."""
    raise SystemExit("not built yet")
