"""Answers an assessor's questions on an instrument, a job or an issued report from the records."""
