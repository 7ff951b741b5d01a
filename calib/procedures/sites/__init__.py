"""Several sites of a company, each with records of its own: what a group asks of them, and what goes from one to another."""
