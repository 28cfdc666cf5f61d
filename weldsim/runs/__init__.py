"""A case into a run folder and back: loop, checkpoints, summary, error estimate."""
