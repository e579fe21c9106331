//! The pack's pages.
