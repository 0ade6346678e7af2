"""Rules: what they say, how their files are read, how they are run, what their findings do, and tools to look after them.

Each room says in its docstring which of the others it may import; a test reads that.
"""
