//! Parts, hands and checks.
