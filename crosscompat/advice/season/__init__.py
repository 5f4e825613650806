"""What a grower does in the season: who can be crossed, what is due, and what is written of it."""
