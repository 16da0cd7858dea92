//! Simulated machines and scans of them with their exact truth: the demo, tests and benchmarks stand on it.
