"""What a grower writes down, corrects or takes back, judged before it holds."""
