"""The whole list of what can wake, tell or note: one file a rule, one line here.

A rule is pure: it looks at the picture of the farm at one event time and says what it finds about one
subject. Thresholds and hold times come from the farm file; wording lives with the rule.
"""
