"""`python -m heartlevel.compiling`: answers the question on standard input, on standard output."""

import sys

from heartlevel.compiling.program import answer

answer(sys.stdin.buffer, sys.stdout.buffer)
