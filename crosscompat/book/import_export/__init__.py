"""Spreadsheets of the grower read in, the whole book written out and read back."""
