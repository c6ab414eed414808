"""The input as the encoders see it: order of events, instruments, what channels were told, what notes want."""
