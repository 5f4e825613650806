"""The nursery on a phone: pages over a collection, served on this machine, and one page to carry into the greenhouse."""
