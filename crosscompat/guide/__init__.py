"""The pages of the guide, one Markdown file a topic."""
