"""What was typed: sheets of rows, their columns and cells, observations; nothing of the records."""
