"""What people and machines see: no arithmetic, no SQL."""
