"""From placed notes to tracks: messages put in, moved and left out, channels brought into agreement."""
