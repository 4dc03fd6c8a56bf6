//! The integration tests, one binary.
fn main() {}
