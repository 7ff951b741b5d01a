"""Before a job: which instruments in calibration can prove which tolerance."""
