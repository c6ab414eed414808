"""Where the program begins: an interrupt while it is still being loaded ends it without a trace."""

import signal


def main() -> int:
    """Load the command line and run it; return its exit status."""
    heard = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if heard:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from retune.cli.main import main as run

    if heard:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    return run()
