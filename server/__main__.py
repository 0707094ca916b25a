"""The console script `slowcorner`; `python -m server` is the same."""

from server.cli import app


def main() -> None:
    """Run the command line."""
    app(prog_name="slowcorner")


if __name__ == "__main__":
    main()
