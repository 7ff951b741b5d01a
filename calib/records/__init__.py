"""What was said, by whom, when; never changed."""
