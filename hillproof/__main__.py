"""`python -m hillproof`."""

from hillproof.cli import run

if __name__ == "__main__":
    run()
