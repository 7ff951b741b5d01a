"""What all pages stand in: the application, a visit, who it is, what was typed, and what a browser is told to allow."""
