"""Run the command line with ``python -m motorlearn``."""

from motorlearn.commands import main

main()
