"""Spreadsheets, in and out: the whole book without loss, and a grower's own tables by a mapping."""
