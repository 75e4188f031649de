"""Quantiles of the standard normal distribution, in standard deviations from its middle: their one home.

Source: JCGM 100:2008, table G.1, to the digits of a double. `static/inspections/verdict.js` holds the same
numbers for a device without network; a test holds them together.

>>> from scipy.stats import norm
>>> [round(float(norm.sf(away)), 6) for away in (EIGHT_IN_TEN, NINE_IN_TEN, NEARLY_ALL)]
[0.1, 0.05, 0.0015]
"""

EIGHT_IN_TEN = 1.2815515655446004  # 8 in 10 lie within so many to either side: 1 in 10 above
NINE_IN_TEN = 1.6448536269514722  # 9 in 10 within to either side: 1 in 20 above, one-sided 95 %
NEARLY_ALL = 2.967737925342168  # 99.7 % within to either side
