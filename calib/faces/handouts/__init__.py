"""An answer as a file to hand on: a page, a sheet of labels, a calendar."""
