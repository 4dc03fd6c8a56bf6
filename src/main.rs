//! Builds the real edge and turns the outcome of a command into an exit code.
fn main() {}
