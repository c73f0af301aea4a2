"""Power and precision of a plan.

analyses          The planned analysis of many simulated studies at once
closed_form       Closed forms of power and sample size: a sanity check beside the simulation
effects           Which effects power is computed for: none, the smallest of interest, and
free_covariance   A free covariance of people's tests in many studies, tests by Kenward and Roger
grid              A grid of simulations, in chunks that do not depend on who computes them
hit_models        The binomial mixed model of the mixed route, fitted to many studies at once
latent            From the mean that a reader reads to that of the normal scores drawn, and back
planned           From a plan to the numbers its power rests on
power             Power and precision of a plan by simulating and analysing it many times
prior_effects     Effects of practice order in published syntheses: where to start, never where
scenario          What power is computed for: the planned comparison, its tests and its
score_models      The linear mixed model of the mixed route, fitted to many studies at once
simulated_scores  Many simulated studies at once: scores of people at tests, with attrition
summaries         From many analysed studies to rates with their Monte-Carlo error, and
variability       Trials against participants where the question is about variability
workers           Processes that share work: started afresh, deaf to Ctrl-C, and gone when the
"""
