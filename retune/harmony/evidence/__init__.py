"""What speaks for the harmony, step by step: which pitch classes sound, how they move, where the beats lie."""
