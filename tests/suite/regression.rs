//! One test per fault that was found in use.
