//! A reel whose rate follows the pack of tape on it.
//!
//! What is wound on a hub of diameter d₀ covers π/4 (d² − d₀²) = thickness ×
//! length; the reel turns v/(π d) times a second.

use std::f64::consts::PI;

/// A reel with some of the tape on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pack {
    /// The reel that takes the tape up; else the one that gives it off.
    pub takes_up: bool,
    /// Diameter of the empty hub in millimetres.
    pub hub_mm: f64,
    /// Thickness of the tape in micrometres.
    pub tape_um: f64,
    /// Length of the whole tape in metres.
    pub length_m: f64,
    /// Nominal speed of the tape in centimetres a second.
    pub speed_cm_s: f64,
    /// Share of the tape that had passed when the machine began, 0 to 1.
    pub passed: f64,
}

impl Pack {
    /// Turns a second at nominal speed once this many seconds of tape, counted
    /// at nominal speed, have run. Beyond the ends of the tape nothing changes.
    pub fn turns_per_second(&self, tape_s: f64) -> f64 {
        let speed_mm_s = self.speed_cm_s * 10.0;
        let length_mm = self.length_m * 1000.0;
        let passed = (self.passed * length_mm + tape_s * speed_mm_s).clamp(0.0, length_mm);
        let wound = if self.takes_up {
            passed
        } else {
            length_mm - passed
        };
        let tape_mm = self.tape_um / 1000.0;
        let diameter = (self.hub_mm.powi(2) + 4.0 * tape_mm * wound / PI).sqrt();
        speed_mm_s / (PI * diameter)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn c60(takes_up: bool, passed: f64) -> Pack {
        Pack {
            takes_up,
            hub_mm: 22.0,
            tape_um: 18.0,
            length_m: 86.0,
            speed_cm_s: 4.7625,
            passed,
        }
    }

    /// Turn by turn: each lays one thickness on both sides of the diameter.
    #[test]
    fn the_rate_is_what_winding_turn_by_turn_gives() {
        let pack = c60(true, 0.0);
        let (mut diameter, mut length_mm, mut turns) = (22.018, 0.0, 0);
        while length_mm < 86_000.0 {
            length_mm += PI * diameter;
            diameter += 0.036;
            turns += 1;
            let expected = 47.625 / (PI * (diameter - 0.018));
            let got = pack.turns_per_second(length_mm / 47.625);
            assert!(
                (got / expected - 1.0).abs() < 1e-3,
                "{turns}: {got} {expected}"
            );
        }
        // A full cassette of 60 minutes measures about 50 mm (common practice,
        // no source).
        assert!((49.0..51.0).contains(&diameter), "{diameter}");
    }

    #[test]
    fn one_reel_slows_as_the_other_quickens_and_both_end_with_the_tape() {
        let (up, off) = (c60(true, 0.5), c60(false, 0.5));
        let begin = up.turns_per_second(0.0);
        assert!((begin - off.turns_per_second(0.0)).abs() < 1e-12);
        assert!(up.turns_per_second(60.0) < begin && off.turns_per_second(60.0) > begin);
        for pack in [up, off] {
            let end = pack.turns_per_second(86.0 / 0.047_625);
            assert!((end - pack.turns_per_second(1e9)).abs() < 1e-12);
        }
    }
}
