"""The commands of the cross book and of the collection around it."""
