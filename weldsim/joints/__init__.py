"""Kinds of joints: what each asks for, its seams, its mesh."""
