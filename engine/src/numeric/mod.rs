//! Small dense numerics of the fits: tall-skinny QR, exchange minimax, algebraic starting values, robust scale, tails of distributions, seeded choice, ordered parallel sums, wide vectors.

pub(crate) mod algebraic;
pub(crate) mod distribution;
pub(crate) mod exchange;
pub(crate) mod ordered;
pub(crate) mod qr;
pub(crate) mod random;
pub(crate) mod robust;
pub(crate) mod wide;
