"""What every other room stands on: errors, words, names, synonyms and tables of text."""
