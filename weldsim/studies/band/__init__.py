"""An interval for every gauge: how far a welded part scatters about its prediction."""
