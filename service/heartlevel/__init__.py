"""heartlevel: judges blood-pressure readings by declarative rules and averages them by published protocols."""

__version__ = "0.1.0"
