"""From evidence to windows: stretches and candidates, the best path through them, names for what it found."""
