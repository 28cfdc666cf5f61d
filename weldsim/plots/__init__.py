"""Pictures made from a run folder: the part in 3D, histories, cuts, prints."""
