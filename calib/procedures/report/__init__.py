"""A job's report: what it says, its issue, what was issued, amendments."""
