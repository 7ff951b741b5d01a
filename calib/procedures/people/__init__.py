"""Who may write, and the one door to the ledger (ISO/IEC 17025:2017, 6.2).

Decision (2026-11). What is written says which act it is: one table for the program, for the roles that are shown and for the
GRANTs, and one door (`authorise.append`). A revision may be one of two acts by what it changes (`Written.same`). Cost: two queries
for each append; a function on a server.

Decision (2026-11). A login is corrected by a record of its own; the owner of the tables may do it where no QA's login is on the
server.
"""
