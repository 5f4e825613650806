"""Pictures, text and paper: the only rooms that draw."""
