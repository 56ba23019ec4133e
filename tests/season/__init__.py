"""Years of invented athletes, morning after morning, under the newest baseline.

Invented figures throughout; no study is claimed for them.
"""
