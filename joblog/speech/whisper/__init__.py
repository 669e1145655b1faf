"""The neural recogniser: weights, log-mel features, encoder, decoder (Radford et al. 2022)."""
