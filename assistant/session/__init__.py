"""The cutting session as two pure functions: `decide(state, event)` and `apply(state, record)`."""
