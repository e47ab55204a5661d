"""Over all cases: a case under other rules, its story, the review, learning, cases alike, cases from tables."""
