"""From rows of numbers to a chance with its uncertainty: priors, fit, forecast and the saved form."""
