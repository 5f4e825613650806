"""The grower's working folder: settings, tree, traits and records, read together and checked together."""
