"""Which channel each note takes, so that every note has its own tuning as far as channels go."""
