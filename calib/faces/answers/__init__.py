"""What is said: each answer as a document for machines and as text for people."""
