//! Bytes of little-endian PCM to samples of full scale ±1.
//!
//! Plain loops over exact chunks: the compiler turns them into vector code,
//! and a thousand times real time needs that.

/// How a sample is coded in a WAV file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Coding {
    Unsigned8,
    Signed16,
    Signed24,
    Signed32,
    Float32,
    Float64,
}

impl Coding {
    pub(super) fn bytes(self) -> usize {
        match self {
            Self::Unsigned8 => 1,
            Self::Signed16 => 2,
            Self::Signed24 => 3,
            Self::Signed32 | Self::Float32 => 4,
            Self::Float64 => 8,
        }
    }

    /// Appends the samples of whole `bytes` and says how many were no number
    /// and became 0.
    pub(super) fn decode(self, bytes: &[u8], samples: &mut Vec<f32>) -> u64 {
        match self {
            Self::Unsigned8 => {
                samples.extend(bytes.iter().map(|&b| (f32::from(b) - 128.0) / 128.0));
            }
            Self::Signed16 => samples
                .extend(chunks(bytes).map(|b| f32::from(i16::from_le_bytes(b)) * (1.0 / 32_768.0))),
            Self::Signed24 => samples.extend(
                // In the upper three bytes of 32, which keeps the sign.
                chunks(bytes).map(|[a, b, c]| full_scale(i32::from_le_bytes([0, a, b, c]))),
            ),
            Self::Signed32 => {
                samples.extend(chunks(bytes).map(|b| full_scale(i32::from_le_bytes(b))));
            }
            Self::Float32 => {
                let start = samples.len();
                samples.extend(chunks(bytes).map(f32::from_le_bytes));
                return replace_no_numbers(&mut samples[start..]);
            }
            Self::Float64 => {
                let start = samples.len();
                samples.extend(chunks(bytes).map(|b| f64::from_le_bytes(b) as f32));
                return replace_no_numbers(&mut samples[start..]);
            }
        }
        0
    }
}

/// Puts 0 for NaN and infinity; says how many there were.
pub(super) fn replace_no_numbers(samples: &mut [f32]) -> u64 {
    let mut replaced = 0;
    for sample in samples {
        if !sample.is_finite() {
            *sample = 0.0;
            replaced += 1;
        }
    }
    replaced
}

fn full_scale(value: i32) -> f32 {
    value as f32 * (1.0 / 2_147_483_648.0)
}

fn chunks<const N: usize>(bytes: &[u8]) -> impl Iterator<Item = [u8; N]> {
    bytes.as_chunks::<N>().0.iter().copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(coding: Coding, bytes: &[u8]) -> (Vec<f32>, u64) {
        let mut samples = Vec::new();
        let replaced = coding.decode(bytes, &mut samples);
        (samples, replaced)
    }

    #[test]
    fn lowest_middle_and_highest_come_out_right() {
        // Two's complement little-endian; 8 bit is offset binary.
        let top16 = 32_767.0 / 32_768.0;
        let top24 = 8_388_607.0 / 8_388_608.0;
        for (coding, bytes, highest) in [
            (Coding::Unsigned8, &[0, 128, 255][..], 127.0 / 128.0),
            (Coding::Signed16, &[0, 0x80, 0, 0, 0xff, 0x7f], top16),
            (
                Coding::Signed24,
                &[0, 0, 0x80, 0, 0, 0, 0xff, 0xff, 0x7f],
                top24,
            ),
            (
                Coding::Signed32,
                &[0, 0, 0, 0x80, 0, 0, 0, 0, 0xff, 0xff, 0xff, 0x7f],
                1.0,
            ),
        ] {
            let (samples, replaced) = decoded(coding, bytes);
            assert_eq!(samples, [-1.0, 0.0, highest], "{coding:?}");
            assert_eq!(replaced, 0);
            assert_eq!(bytes.len(), 3 * coding.bytes());
        }
    }

    #[test]
    fn what_is_no_number_becomes_zero_and_is_counted() {
        let values = [0.5f32, f32::NAN, f32::INFINITY, f32::NEG_INFINITY, -0.25];
        let bytes: Vec<u8> = values.iter().flat_map(|v| v.to_le_bytes()).collect();
        assert_eq!(
            decoded(Coding::Float32, &bytes),
            (vec![0.5, 0.0, 0.0, 0.0, -0.25], 3)
        );
        // Too large for 32 bits is no number either.
        let bytes: Vec<u8> = [0.5f64, 1e300, f64::NAN]
            .iter()
            .flat_map(|v| v.to_le_bytes())
            .collect();
        assert_eq!(decoded(Coding::Float64, &bytes), (vec![0.5, 0.0, 0.0], 2));
    }
}
