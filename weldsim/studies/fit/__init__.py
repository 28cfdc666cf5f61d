"""Learn from measurements: what a shop does not know, from curves it has measured."""
