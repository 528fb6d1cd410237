//! The case file: TOML text in, a checked [`crate::module::Module`] or a list of diagnostics out.
