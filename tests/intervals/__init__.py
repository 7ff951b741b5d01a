"""Whether reviews of intervals hold what they state: fleets of known drift are drawn, reviewed, and found at the due day."""
