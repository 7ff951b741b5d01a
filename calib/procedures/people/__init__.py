"""Who may write, and the one door to the ledger (ISO/IEC 17025:2017, 6.2)."""
