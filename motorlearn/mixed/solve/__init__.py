"""Likelihoods of mixed models and the search for their maximum.

binomial          Likelihood of a binomial mixed model with one grouping factor, by quadrature
binomial_crossed  Laplace likelihood of a binomial mixed model with several grouping factors
blocks            Many small symmetric matrices at once
covariance        Covariance of the random effects of one grouping factor, Ψ = Λ Λ', and its free
criterion         The (restricted) likelihood criterion of a linear mixed model, put together
engine            What linear and binomial searches share: cells, working scales and the shape of
factors           Grouping factors as the engine sees them, and the matrices their designs lead to
linear            Profiled (restricted) likelihood of a linear mixed model with one grouping
linear_crossed    Profiled (restricted) likelihood of a linear mixed model with several grouping
links             Binomial log likelihood and its derivatives in the linear predictor, for three
optimise          Quasi-Newton minimisation of many small smooth problems side by side, and its
search_binomial   Search for the maximum likelihood of a binomial mixed model
search_linear     Search for the (restricted) maximum likelihood of a linear mixed model
"""
