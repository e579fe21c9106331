//! Keys, order and changeovers of a set.
