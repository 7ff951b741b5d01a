"""Every file that may be typed, a module for each subject: a command imports what it types, and the tables of that."""
