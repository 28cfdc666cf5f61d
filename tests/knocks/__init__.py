"""Attacks on the program: what is broken, hostile or cut off in the middle."""
