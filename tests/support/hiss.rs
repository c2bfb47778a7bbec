//! Noise that is a function of its counter.

/// Bell-shaped noise of standard deviation 1 for each counter (the finaliser
/// of `SplitMix64`: Steele, Lea and Flood, 2014).
pub fn hiss(n: u64) -> f64 {
    let mut z = n.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^= z >> 31;
    let sum: u64 = (0..4).map(|k| (z >> (16 * k)) & 0xffff).sum();
    (sum as f64 - 131_070.0) * 3f64.sqrt() / 65_536.0
}
