"""The input made plain, score for score: its zones, steps and tables said so that any channel can follow."""
