//! Facts rounded and said for a person; the one place that rounds.
