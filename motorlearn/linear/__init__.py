"""The general linear model on arrays: least squares, adjusted means, sums of squares."""
