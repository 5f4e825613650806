"""What a grower asks: is it worth the flowers, which first, what did the season teach."""
