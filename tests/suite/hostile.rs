//! Bad and hostile input: no panic, no hang, an error that says why.
