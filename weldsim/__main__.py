"""`python -m weldsim`."""

from weldsim.cli.main import main

if __name__ == "__main__":
    main()
