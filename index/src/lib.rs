//! Exact nearest motion curves under dynamic time warping: slices in, ids and numbers out.
