"""Run the command line with `python -m logger`."""

from logger.cli import main

if __name__ == "__main__":
    main()
