"""The invented nursery: a small collection whose plants, crosses and outcomes are all made up."""
