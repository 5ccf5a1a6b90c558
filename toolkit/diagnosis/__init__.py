"""From what a technician reads to what may be wrong: symptoms of a trace, likelihoods, suspects."""
