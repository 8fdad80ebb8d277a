"""The command line: one file a command, thin: parse, call the library, print, exit code."""
