//! The command line `fitwright`.
fn main() {}
