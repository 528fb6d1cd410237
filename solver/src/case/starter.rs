//! The commented case that `new` writes.

/// A complete, commented case: two processors and a memory on ceramic.
pub fn starter() -> &'static str {
    include_str!("starter.toml")
}
