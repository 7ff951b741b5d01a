"""A reading: the gate, the air, stability, flows with their uncertainty, totals, budgets."""
