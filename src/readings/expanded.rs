//! A 95 % uncertainty, how well it is known itself, and how several make one
//! (JCGM 100:2008, clause 5 and annex G).

use super::conditions::Conditions;
use super::values::{SpeedFigures, UncertaintyParts};
use crate::signal::statistics::student_95;
use crate::units::{Hertz, Percent};

/// Beyond this many degrees of freedom Student's t is the normal 1.96 to five
/// digits (derived).
const AS_GOOD_AS_NORMAL: f64 = 1e6;

/// Half of an interval that holds the truth 95 times in 100.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expanded {
    /// Half width, in the unit of what it belongs to.
    pub half_width: f64,
    /// Degrees of freedom behind it; infinite where it is a model or a limit
    /// that somebody stated.
    pub freedom: f64,
}

impl Expanded {
    /// A 95 % limit stated by somebody, or following from a model: taken as
    /// normal, k = 1.96.
    pub fn of_limit(half_width: f64) -> Self {
        Self {
            half_width,
            freedom: f64::INFINITY,
        }
    }

    /// Degrees of freedom; `None` where they are as good as without limit.
    pub fn told_freedom(self) -> Option<f64> {
        Some(self.freedom).filter(|freedom| *freedom < AS_GOOD_AS_NORMAL)
    }

    /// Standard uncertainty.
    pub fn standard(self) -> f64 {
        self.half_width / student_95(self.freedom)
    }

    /// The same of a quantity that is `factor` times as large.
    pub fn scaled(self, factor: f64) -> Self {
        Self {
            half_width: self.half_width * factor.abs(),
            ..self
        }
    }

    /// Independent parts as one: variances add, the degrees of freedom follow
    /// from the formula of Welch and Satterthwaite (JCGM 100:2008, G.4.1), k
    /// from Student's t.
    pub fn together(parts: impl IntoIterator<Item = Self>) -> Self {
        let (mut square, mut spread) = (0.0, 0.0);
        for part in parts {
            let variance = part.standard().powi(2);
            square += variance;
            spread += variance * variance / part.freedom;
        }
        let freedom = if spread > 0.0 {
            square * square / spread
        } else {
            f64::INFINITY
        };
        Self {
            half_width: student_95(freedom) * square.sqrt(),
            freedom,
        }
    }
}

impl UncertaintyParts {
    /// Noise and wow as they were found, in percent of speed; clock and
    /// reference as the conditions say.
    pub fn of(noise: Option<Percent>, wow: Option<Expanded>, conditions: &Conditions) -> Self {
        Self {
            noise,
            wow: wow.map(|wow| Percent(wow.half_width)),
            wow_freedom: wow.and_then(Expanded::told_freedom),
            partials: None,
            clock: conditions.clock.uncertainty.percent(),
            reference: conditions.reference.uncertainty,
        }
    }

    /// What wow and flutter leave, with its freedom.
    pub fn fluctuation(&self) -> Option<Expanded> {
        Some(Expanded {
            half_width: self.wow?.0,
            freedom: self.wow_freedom.unwrap_or(f64::INFINITY),
        })
    }

    /// All but the reference's own error as one, in percent; `None` while the
    /// noise or the fluctuation is not known. What somebody stated, and what
    /// follows from a model, is taken as normal.
    pub fn sum(&self) -> Option<Expanded> {
        let wow = self.fluctuation()?;
        let partials = self.partials.unwrap_or(Percent(0.0));
        let limits = [self.noise?, self.clock, partials].map(|limit| Expanded::of_limit(limit.0));
        Some(Expanded::together([wow].into_iter().chain(limits)))
    }

    /// The same with the reference's own error; `None` also while that is not
    /// known.
    pub fn sum_with_reference(&self) -> Option<Expanded> {
        let reference = Expanded::of_limit(self.reference?.0);
        Some(Expanded::together([self.sum()?, reference]))
    }
}

impl SpeedFigures {
    /// A speed with the sums of its parts. `measured` is the frequency, where
    /// the reference has one.
    pub fn of(measured: Option<Hertz>, deviation: Percent, parts: UncertaintyParts) -> Self {
        let percent = |sum: Option<Expanded>| sum.map(|sum| Percent(sum.half_width));
        Self {
            measured,
            deviation,
            uncertainty: percent(parts.sum()),
            uncertainty_with_reference: percent(parts.sum_with_reference()),
            parts,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_known_is_not_taken_for_nothing() {
        let parts = UncertaintyParts {
            noise: Some(Percent(0.003)),
            wow: Some(Percent(0.004)),
            wow_freedom: None,
            partials: None,
            clock: Percent(0.012),
            reference: None,
        };
        let sum = parts.sum().expect("all is known");
        assert!((sum.half_width - 0.013).abs() < 1e-12);
        assert_eq!(parts.sum_with_reference(), None);
        let without_noise = UncertaintyParts {
            noise: None,
            ..parts
        };
        assert_eq!(without_noise.sum(), None);
        let without_wow = UncertaintyParts { wow: None, ..parts };
        assert_eq!(without_wow.sum(), None);
        let with_tape = UncertaintyParts {
            reference: Some(Percent(0.084)),
            ..parts
        };
        let sum = with_tape.sum_with_reference().expect("all is known");
        assert!((sum.half_width - 0.085).abs() < 1e-12);
    }

    #[test]
    fn parts_add_as_the_guide_says() {
        // JCGM 100:2008, H.1.6: u = 25, 9.7, 2.9 and 16.6 nm with 18, 25.6, 50
        // and 2 degrees of freedom make 32 nm with 16 (there rounded down).
        let parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)];
        let all = Expanded::together(parts.map(|(standard, freedom)| Expanded {
            half_width: standard * student_95(freedom),
            freedom,
        }));
        assert!((all.standard() - 31.7).abs() < 0.1, "{all:?}");
        assert!((16.0..17.5).contains(&all.freedom), "{all:?}");
    }

    #[test]
    fn a_single_part_stays_what_it_is() {
        let part = Expanded {
            half_width: 3.0,
            freedom: 4.0,
        };
        let all = Expanded::together([part, Expanded::of_limit(0.0)]);
        assert!((all.half_width - 3.0).abs() < 1e-9 && (all.freedom - 4.0).abs() < 1e-9);
        let limits = Expanded::together([Expanded::of_limit(3.0), Expanded::of_limit(4.0)]);
        assert!((limits.half_width - 5.0).abs() < 1e-9 && limits.freedom.is_infinite());
        assert!((part.scaled(-2.0).half_width - 6.0).abs() < 1e-12);
    }
}
