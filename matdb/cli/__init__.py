"""The command line: one file a group of commands; the only place that knows the screen."""
