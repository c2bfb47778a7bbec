//! What a tone looks like, and which troubles a signal has. Suggestions only:
//! nothing here changes what is measured.

use super::conditions::USUAL_TONES;
use super::values::{Likely, Problem, WrongTone};
use crate::units::{Decibels, Hertz};

/// Tones are followed from −20 to +25 % of the nominal.
pub const CAPTURE: [f64; 2] = [0.80, 1.25];

/// A machine that comes to the bench is off by this much at most, or by little
/// more. Common practice, no source. Each usual tone that would explain what is
/// heard so could be meant.
const AS_FAR_OFF_AS_MACHINES_ARE: f64 = 0.10;

/// Half, double and mains ratios are recognised to within this.
const RATIO_TOLERANCE: f64 = 0.04;
const MAINS_TOLERANCE: f64 = 0.012;

/// Levels at which a trouble is named.
pub const NO_SIGNAL: Decibels = Decibels(-70.0);
pub const LOW_LEVEL: Decibels = Decibels(-40.0);
pub const LOW_SNR: Decibels = Decibels(30.0);
pub const LOUD_HUM: Decibels = Decibels(-40.0);

/// The nearest usual tone, by ratio.
pub fn nearest_usual(heard: Hertz) -> Hertz {
    let distance = |tone: &Hertz| (heard.0 / tone.0).ln().abs();
    USUAL_TONES
        .into_iter()
        .min_by(|a, b| distance(a).total_cmp(&distance(b)))
        .unwrap_or(USUAL_TONES[0])
}

/// What a steady tone outside the range looks like.
pub fn likely(heard: Hertz, nominal: Option<Hertz>) -> Likely {
    let near = |ratio: f64, target: f64| (ratio / target - 1.0).abs() < RATIO_TOLERANCE;
    let hum = [50.0, 60.0, 100.0, 120.0]
        .into_iter()
        .find(|hum| (heard.0 - hum).abs() < 2.0);
    if let Some(hum) = hum {
        return Likely::Hum(Hertz(hum));
    }
    if let Some(nominal) = nominal {
        let ratio = heard.0 / nominal.0;
        if near(ratio, 0.5) {
            return Likely::HalfSpeed;
        }
        if near(ratio, 2.0) {
            return Likely::DoubleSpeed;
        }
    }
    let usual = nearest_usual(heard);
    if near(heard.0 / usual.0, 1.0) {
        return Likely::OtherTone(usual);
    }
    Likely::Unknown
}

/// × 1.2 or ÷ 1.2: a synchronous motor on the other mains frequency.
pub fn mains_mismatch(measured: Hertz, nominal: Hertz) -> Option<Likely> {
    let ratio = measured.0 / nominal.0;
    let near = |target: f64| (ratio / target - 1.0).abs() < MAINS_TOLERANCE;
    if near(1.2) {
        Some(Likely::MainsHigh)
    } else if near(1.0 / 1.2) {
        Some(Likely::MainsLow)
    } else {
        None
    }
}

/// Another usual tone that could be meant as well as the one taken, where nobody
/// has said which it is.
pub fn ambiguous(measured: Hertz, taken: Hertz) -> Option<Problem> {
    let off = |tone: &Hertz| (measured.0 / tone.0 - 1.0).abs();
    let other = USUAL_TONES
        .into_iter()
        .filter(|tone| (tone.0 / taken.0 - 1.0).abs() > 1e-3)
        .min_by(|a, b| off(a).total_cmp(&off(b)))?;
    (off(&other) <= AS_FAR_OFF_AS_MACHINES_ARE).then_some(Problem::Ambiguous { taken, other })
}

/// A steady tone on the wrong mains or out of range, as a problem.
pub fn wrong(heard: Hertz, likely: Likely) -> Problem {
    Problem::WrongTone(WrongTone { heard, likely })
}

#[cfg(test)]
mod tests {
    use super::*;

    const T3150: Hertz = Hertz(3150.0);

    #[test]
    fn half_double_and_mains_are_named() {
        assert_eq!(likely(Hertz(1570.0), Some(T3150)), Likely::HalfSpeed);
        assert_eq!(likely(Hertz(6200.0), Some(T3150)), Likely::DoubleSpeed);
        assert_eq!(
            likely(Hertz(1010.0), Some(T3150)),
            Likely::OtherTone(Hertz(1000.0))
        );
        assert_eq!(likely(Hertz(50.3), Some(T3150)), Likely::Hum(Hertz(50.0)));
        assert_eq!(
            mains_mismatch(Hertz(3780.0), T3150),
            Some(Likely::MainsHigh)
        );
        assert_eq!(mains_mismatch(Hertz(2625.0), T3150), Some(Likely::MainsLow));
        assert_eq!(mains_mismatch(Hertz(3600.0), T3150), None);
    }

    #[test]
    fn wherever_two_usual_tones_would_do_both_are_named() {
        let t3000 = Hertz(3000.0);
        // 3150 Hz that are 3 % slow and right, 3000 Hz that are 2.5 % slow,
        // right, and 5 % fast.
        for heard in [3055.5, 3150.0, 2925.0, 3000.0, 3149.9] {
            for (taken, other) in [(T3150, t3000), (t3000, T3150)] {
                let asked = Some(Problem::Ambiguous { taken, other });
                assert_eq!(ambiguous(Hertz(heard), taken), asked, "{heard}");
            }
        }
        // Beyond 10 % no machine explains it.
        assert_eq!(ambiguous(Hertz(3310.0), T3150), None);
        assert_eq!(ambiguous(Hertz(2690.0), T3150), None);
        for alone in [1001.0, 315.0, 6250.0] {
            let taken = nearest_usual(Hertz(alone));
            assert_eq!(ambiguous(Hertz(alone), taken), None, "{alone}");
        }
        assert!(ambiguous(Hertz(418.0), Hertz(400.0)).is_some());
    }
}
