"""The machine: libraries, signals, files, threads; no physics."""
