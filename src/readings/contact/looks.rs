//! How much a dip in music looks like a break of contact.
//!
//! Notes that begin or end have one side only; what is left of low voices
//! comes in pulses, so that the middle and the lowest of the pieces do not
//! fall with the mean; a player's fall takes longer than a contact's; and a
//! drum may come in just as a break ends. No single bound tells all of these
//! apart, so each property is weighed: a logistic regression on these and
//! their squares, fitted once to breaks of 4 to 10 ms and 6 to 20 dB in
//! invented music (calibration seeds) and in recorded music with tape hiss,
//! and to what looked like breaks there but was not.

/// Below these a dip is not looked at any further: logarithms of power that
/// both sides are higher, of the likelihood of the worse side, and part of the
/// fall next to the edge.
pub(super) const LEAST_FALL: f64 = 0.6;
const LEAST_EVIDENCE: f64 = 10.0;
const LEAST_SHARPNESS: f64 = 0.2;
/// The fall may be so much deeper than the rise, and the rise so much higher.
const DEEPER: f64 = 1.6;
const HIGHER: f64 = 9.0;
/// The middle and the lowest fifth fell at least so much.
const LEAST_OF_THE_MIDDLE: f64 = 0.4;
const LEAST_OF_THE_LOWEST: f64 = 0.1;

/// What each property and its square weigh, and how much is asked in all.
const WEIGHTS: [[f64; 2]; 9] = [
    [-0.97, 0.24],
    [19.93, -6.70],
    [-0.82, -0.20],
    [5.82, -1.69],
    [-3.61, 1.31],
    [23.01, -10.68],
    [4.32, -1.19],
    [0.27, 0.12],
    [5.06, -6.86],
];
const ASKED: f64 = 25.61;

/// What is known of a dip. Falls are logarithms of power.
#[derive(Clone, Copy, Debug)]
pub(super) struct Looks {
    /// In pieces of a quarter of a millisecond.
    pub(super) length: usize,
    /// Logarithm of how much likelier the worse side is with a dip than
    /// without.
    pub(super) evidence: f64,
    /// How much higher the side before and the one behind is.
    pub(super) falls: [f64; 2],
    /// The same within a millisecond of the edges.
    pub(super) steps: [f64; 2],
    /// How far the middle and the lowest fifth of the pieces fell.
    pub(super) of_the_middle: f64,
    pub(super) of_the_lowest: f64,
}

impl Looks {
    fn fall(&self) -> f64 {
        self.falls[0].min(self.falls[1])
    }

    /// Whether it is worth working out how the pieces are spread.
    pub(super) fn may_be_a_break(&self) -> bool {
        let [before, behind] = self.falls;
        self.fall() > LEAST_FALL
            && self.evidence > LEAST_EVIDENCE
            && before - behind < DEEPER
            && behind - before < HIGHER
            && self.steps[0].min(self.steps[1]) > LEAST_SHARPNESS * self.fall()
    }

    /// Logarithm of the odds that it is a break rather than music, with the
    /// bound at 0; `None` when the pieces did not fall.
    pub(super) fn score(&self) -> Option<f64> {
        if self.of_the_middle < LEAST_OF_THE_MIDDLE || self.of_the_lowest < LEAST_OF_THE_LOWEST {
            return None;
        }
        let [before, behind] = self.falls;
        let fall = self.fall();
        let properties = [
            self.evidence.ln(),
            fall.min(1.6),
            (before - behind).abs().min(4.0),
            (self.steps[0].min(self.steps[1]) / fall).clamp(0.0, 1.0),
            (self.steps[0] / before).clamp(0.0, 1.2),
            (self.of_the_middle / fall).clamp(0.0, 1.3),
            (self.of_the_lowest / fall).clamp(0.0, 1.3),
            (fall - 1.9).clamp(0.0, 3.0),
            (self.length as f64 / 16.0).ln(),
        ];
        let weighed = properties.iter().zip(WEIGHTS);
        let sum: f64 = weighed.map(|(it, [a, b])| a * it + b * it * it).sum();
        Some(sum - ASKED)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 6 dB for 5 ms in what is left of steady music.
    const BREAK: Looks = Looks {
        length: 20,
        evidence: 40.0,
        falls: [1.4, 1.35],
        steps: [1.4, 1.3],
        of_the_middle: 1.3,
        of_the_lowest: 1.25,
    };

    #[test]
    fn a_break_is_taken_and_a_drum_at_its_end_does_not_hide_it() {
        assert!(BREAK.may_be_a_break());
        assert!(BREAK.score() > Some(2.0), "{:?}", BREAK.score());
        let drum = Looks {
            falls: [1.4, 3.0],
            steps: [1.4, 2.8],
            ..BREAK
        };
        assert!(drum.score() > Some(0.0), "{:?}", drum.score());
    }

    #[test]
    fn what_music_does_is_left() {
        let note_ends_before_a_drum = Looks {
            falls: [0.8, 5.0],
            steps: [0.3, 4.0],
            of_the_middle: 0.7,
            of_the_lowest: 0.5,
            ..BREAK
        };
        assert!(note_ends_before_a_drum.score() < Some(0.0));
        let pulses = Looks {
            of_the_middle: 0.45,
            of_the_lowest: 0.15,
            ..BREAK
        };
        assert!(pulses.score() < Some(0.0), "{:?}", pulses.score());
        let steady = Looks {
            of_the_middle: 0.2,
            ..BREAK
        };
        assert_eq!(steady.score(), None);
        let slow = Looks {
            steps: [0.2, 0.2],
            ..BREAK
        };
        assert!(!slow.may_be_a_break());
    }
}
