"""What the records hold and what of it counts, read as it is asked for."""
