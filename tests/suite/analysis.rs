//! Key, pitch set, phrases, harmony.
