"""What the two kinds of a user's own part share: keys, names, outer faces, seams, checks."""
