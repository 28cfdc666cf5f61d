"""Measurements: curves and readings taken on a bench, read and checked."""
