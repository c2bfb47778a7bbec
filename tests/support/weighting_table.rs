//! The weighting curve of the standards.

/// The weighting curve: hertz, decibels against 4 Hz. IEC 60386:1972 with
/// Amendment 1:1988, DIN 45507, AES6-2008; table from memory. Its slopes
/// (6 dB an octave on both sides of 4 Hz, steeper below 0.5 Hz) are published
/// in extracts of AES6.
pub const WEIGHTING_DB: [(f64, f64); 17] = [
    (0.1, -48.0),
    (0.2, -30.6),
    (0.315, -19.7),
    (0.4, -15.0),
    (0.63, -8.4),
    (0.8, -6.0),
    (1.0, -4.2),
    (1.6, -1.8),
    (2.0, -0.9),
    (4.0, 0.0),
    (6.3, -0.9),
    (10.0, -2.1),
    (20.0, -5.9),
    (40.0, -10.4),
    (63.0, -14.2),
    (100.0, -17.3),
    (200.0, -23.0),
];
