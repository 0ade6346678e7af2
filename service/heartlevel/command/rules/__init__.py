"""The subcommands that look after rule files."""
