"""A job's report: one content (`faces/report/content.py`), laid out once as blocks, written in each form from those.

Decision (2026-11). No form has a number that another lacks, and typed text is escaped at one place a form. Cost: no form has its
own layout.
"""
