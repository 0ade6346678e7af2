"""`python -m heartlevel` is `heartlevel`."""

from heartlevel.command.main import main

main(prog_name="heartlevel")
