"""The nursery on a phone: pages over a collection, and one page to carry into the greenhouse."""
