"""`python -m wetscout` is the command `wetscout`."""

from wetscout.cli import main

if __name__ == "__main__":
    main()
