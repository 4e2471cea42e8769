"""The start page: the program without a command."""
