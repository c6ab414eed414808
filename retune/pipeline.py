"""The whole job in one screen: bytes → score → harmony → ratios → tuning → encode → check."""
