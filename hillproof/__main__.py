"""`python -m hillproof`."""

from hillproof.cli import main

if __name__ == "__main__":
    main()
