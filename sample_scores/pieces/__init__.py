"""The pieces, one module each, with a function `build() -> bytes`.

Music and names are our own: the Evening Choir, the string players and the night market of Larkwater, a town
that does not exist.
"""
