"""Many runs for one question: sequences, next weld, preset, clamps, correction, causes."""
