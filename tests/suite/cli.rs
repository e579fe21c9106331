//! The program as scripts call it.
