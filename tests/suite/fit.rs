//! Kits, slots and the fit solver, against a brute-force twin.
