"""``python -m skeleton``: the same as the program ``skeleton``."""

from skeleton.cli.app import main

if __name__ == "__main__":
    main()
