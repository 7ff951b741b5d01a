"""Exchange calibration certificates as XML: DCC, the open schema of digital calibration certificates, with units of D-SI."""
