//! Numerical kernels shared by the layers above: least squares, robust statistics, ordered parallel sums.
