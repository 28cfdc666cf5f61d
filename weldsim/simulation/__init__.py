"""From a case to its history: state, activation, load history, gauges, steps."""
