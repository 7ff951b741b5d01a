"""A job's report: one content (`faces/report/content.py`), laid out once as blocks, written in each form from those.

Decision (2026-11). No form has a number that another lacks, and typed text is escaped at one place a form. Cost: no form has its
own layout.

Decision (2026-11-30). One family, Libertinus Serif, for text, tables, signs, digests and pictures; formulas are set by New Computer
Modern Math, since the former has no mathematics. Both come with the typesetter and are embedded in the PDF; DejaVu Sans shows typed
letters that they lack. Options: digests in signs of equal widths and larger marks of conformity (two families more), Libertinus
Math (a file to ship), the family within the page (some 100 kB each). Cost: a browser that has not the family shows page and mail
in a serif of its own.
"""
