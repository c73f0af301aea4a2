"""Assumptions of mixed models.

consequences How far the rate of false positives moves with the residual covariance
counts     Assumptions of binomial mixed models: dispersion, zeros, outliers, separation
families   Assumptions of mixed models of ratings, counts, scattering hits and amounts
leave_out  Every coefficient of a mixed model without each participant in turn
linear     Assumptions of linear mixed models: shape of residuals, few participants
model      A fitted mixed model as arrays: conditional modes of many data sets, simulated outcomes
refits     A mixed model fitted again in another way: other scale, more quadrature, further
shared     Assumptions that linear and binomial mixed models share
simulated  Simulated residuals of a mixed model, and how often the model itself gives numbers as
"""
