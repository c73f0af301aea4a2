"""Likelihoods of mixed models and the search for their maximum.

blocks          Many small symmetric matrices at once
covariance      Covariance of the random effects of one grouping factor, Ψ = Λ Λ', and its free
criterion       The (restricted) likelihood criterion of a linear mixed model, put together
engine          What the searches share: cells, working scales and the shape of a solution
factors         Grouping factors as the engine sees them, and the matrices their designs lead to
kinds           The kind of outcome of each family
likelihoods     Hits, counts and amounts: log likelihood of each row and its derivatives
linear          Profiled (restricted) likelihood of a linear mixed model with one grouping
linear_crossed  Profiled (restricted) likelihood of a linear mixed model with several grouping
links           Links: binomial log likelihood and its derivatives, and inverses
many_factors    Laplace likelihood of other outcomes with several grouping factors
one_factor      Likelihood of other outcomes with one grouping factor, by quadrature
optimise        Quasi-Newton minimisation of many small smooth problems side by side, and its
ratings         Ratings: log likelihood of each row and its derivatives
search_general  Search for the maximum likelihood of a model whose outcome is not normal
search_linear   Search for the (restricted) maximum likelihood of a linear mixed model
"""
