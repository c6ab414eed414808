"""The command line: one thin module per command; a command parses, calls the library and prints."""
