"""`python -m reasoner`."""

from reasoner.cli.main import main

main()
