"""A job's report: one content (`faces/document.py`), laid out once as blocks, written in each form from those."""
