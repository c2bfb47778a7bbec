//! Intervals for what was counted.

/// Wilson's interval at 95 % for a share, from `hits` of `of` (Wilson 1927).
pub fn wilson(hits: f64, of: f64) -> [f64; 2] {
    let (p, z2) = (hits / of, 1.96f64 * 1.96);
    let middle = (p + z2 / (2.0 * of)) / (1.0 + z2 / of);
    let half = (z2 * (p * (1.0 - p) / of + z2 / (4.0 * of * of))).sqrt() / (1.0 + z2 / of);
    [(middle - half).max(0.0), (middle + half).min(1.0)]
}
