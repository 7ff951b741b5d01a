"""What several answers say: parts of their documents, with their words."""
