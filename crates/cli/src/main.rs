//! tightfit
fn main() {}
