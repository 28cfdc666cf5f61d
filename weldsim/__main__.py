"""`python -m weldsim`."""

from weldsim.cli import main

if __name__ == "__main__":
    main()
