"""How well a value is known (JCGM 100, JCGM 101)."""
