//! Small dense numerics of the fits: tall-skinny QR, algebraic starting values, robust scale, seeded choice, ordered parallel sums.

pub(crate) mod algebraic;
pub(crate) mod ordered;
pub(crate) mod qr;
pub(crate) mod random;
pub(crate) mod robust;
