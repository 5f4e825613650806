"""The command line: read a request, call one thing below, print it. Nothing else prints."""
