"""The cross book: what the grower wrote down."""
