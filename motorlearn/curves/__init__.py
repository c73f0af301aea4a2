"""Learning curves: one learner, millions, a population."""
