"""A job's report: one content (`faces/report/content.py`), laid out once as blocks, written in each form from those."""
