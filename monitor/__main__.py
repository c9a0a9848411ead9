"""``python -m monitor`` is the same as ``dewkeep``."""

from monitor.cli import main

if __name__ == "__main__":
    main()
