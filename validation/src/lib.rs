//! Validation.
