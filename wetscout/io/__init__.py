"""The only rooms that open files."""
