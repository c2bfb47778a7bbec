//! Does the speed hold against the supply voltage, or does it go with it? A
//! governor that works lets next to nothing of it through; on tired cells or a
//! governor that does not hold the speed falls with the volts (common practice,
//! no source).

use crate::units::Percent;

/// Supplies this near to each other count as the same, in volts. A choice.
pub const SAME_SUPPLY: f64 = 0.05;

/// Lowest and highest voltage lie at least this part of the highest apart: less
/// asks nothing of a governor, cells fall by more (common practice, no source).
const LEAST_SPAN: f64 = 0.1;

/// What it takes to matter, as a share of the tolerance. A choice.
const MATTERS: f64 = 0.5;

/// The speed at one voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupplyPoint {
    /// Of the supply.
    pub volts: f64,
    /// From right speed.
    pub deviation: Percent,
    /// 95 % of it, the reference's own error left out: that is common to all.
    pub uncertainty: Percent,
}

/// What two or more voltages tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SupplyVerdict {
    /// Between no two of them does the speed change by what matters.
    Holds,
    /// It is faster at the highest than at the lowest, beyond the ± and by what
    /// matters.
    Follows,
    /// Neither can be said.
    NotTold,
}

/// The verdict with its figures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupplyJudgement {
    /// See there.
    pub verdict: SupplyVerdict,
    /// Lowest and highest voltage.
    pub between_volts: [f64; 2],
    /// Speed at the highest minus that at the lowest.
    pub change: Percent,
    /// 95 % of it.
    pub uncertainty: Percent,
    /// Slope of the line through all of them.
    pub percent_per_volt: f64,
    /// 95 % of it.
    pub uncertainty_percent_per_volt: f64,
}

impl SupplyJudgement {
    /// Of these, in any order, with the half width of the tolerance band; `None`
    /// where no two voltages differ.
    pub fn of(points: &[SupplyPoint], tolerance: Percent) -> Option<Self> {
        let by_volts = |a: &&SupplyPoint, b: &&SupplyPoint| a.volts.total_cmp(&b.volts);
        let lowest = points.iter().min_by(by_volts)?;
        let highest = points.iter().max_by(by_volts)?;
        if highest.volts - lowest.volts < SAME_SUPPLY {
            return None;
        }
        let (change, uncertainty) = apart(lowest, highest);
        let matters = MATTERS * tolerance.0;
        let holds = points.iter().enumerate().all(|(at, one)| {
            points[at + 1..].iter().all(|other| {
                let (change, uncertainty) = apart(one, other);
                change.abs() + uncertainty < matters
            })
        });
        let between_volts = [lowest.volts, highest.volts];
        let verdict = if are_too_near(between_volts) {
            SupplyVerdict::NotTold
        } else if holds {
            SupplyVerdict::Holds
        } else if change > uncertainty && change > matters {
            SupplyVerdict::Follows
        } else {
            SupplyVerdict::NotTold
        };
        let (percent_per_volt, uncertainty_percent_per_volt) = slope(points);
        Some(Self {
            verdict,
            between_volts,
            change: Percent(change),
            uncertainty: Percent(uncertainty),
            percent_per_volt,
            uncertainty_percent_per_volt,
        })
    }

    /// The voltages lie too near to each other to tell anything.
    pub fn is_too_near(&self) -> bool {
        are_too_near(self.between_volts)
    }
}

/// Voltages as near as these tell nothing, whatever the speed does.
fn are_too_near([lowest, highest]: [f64; 2]) -> bool {
    // 6.0 and 5.4 V are a tenth apart, and rounding must not deny it.
    highest - lowest < LEAST_SPAN * highest - 1e-9
}

/// How much faster the second is, and 95 % of that.
fn apart(one: &SupplyPoint, other: &SupplyPoint) -> (f64, f64) {
    (
        other.deviation.0 - one.deviation.0,
        one.uncertainty.0.hypot(other.uncertainty.0),
    )
}

/// Least squares with the weights of the ±, and 95 % of it; points that do not
/// lie on a line by their own ± widen it.
fn slope(points: &[SupplyPoint]) -> (f64, f64) {
    // A ± of 0 would weigh without limit.
    let weight = |point: &SupplyPoint| point.uncertainty.0.max(1e-6).powi(-2);
    let mean = |of: fn(&SupplyPoint) -> f64| {
        let sum: f64 = points.iter().map(|it| weight(it) * of(it)).sum();
        sum / points.iter().map(weight).sum::<f64>()
    };
    let (volts, deviation) = (mean(|it| it.volts), mean(|it| it.deviation.0));
    let off = |it: &SupplyPoint| (it.volts - volts, it.deviation.0 - deviation);
    let square: f64 = points.iter().map(|it| weight(it) * off(it).0.powi(2)).sum();
    let product: f64 = points
        .iter()
        .map(|it| weight(it) * off(it).0 * off(it).1)
        .sum();
    let slope = product / square;
    let misfit: f64 = points
        .iter()
        .map(|it| weight(it) * (off(it).1 - slope * off(it).0).powi(2))
        .sum();
    // The ± is of 95 %, twice the standard deviation.
    let free = points.len().saturating_sub(2).max(1) as f64;
    let widened = (4.0 * misfit / free).sqrt().max(1.0);
    (slope, widened / square.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judged(points: &[(f64, f64)]) -> SupplyJudgement {
        let points: Vec<SupplyPoint> = points
            .iter()
            .map(|&(volts, deviation)| SupplyPoint {
                volts,
                deviation: Percent(deviation),
                uncertainty: Percent(0.02),
            })
            .collect();
        SupplyJudgement::of(&points, Percent(0.5)).expect("unlike voltages")
    }

    #[test]
    fn what_holds_follows_or_cannot_be_told_is_said() {
        use SupplyVerdict::{Follows, Holds, NotTold};
        for (points, verdict) in [
            (&[(6.0, 0.1), (4.0, 0.08)][..], Holds),
            (&[(4.0, -1.9), (6.0, 0.1), (5.0, -0.9)], Follows),
            // Held until the governor has nothing left to hold with.
            (&[(6.0, 0.1), (5.0, 0.1), (4.0, -3.0)], Follows),
            // Within the ± of half the tolerance.
            (&[(6.0, 0.1), (4.0, -0.14)], NotTold),
            // Slower with more volts: warming, or something else was touched.
            (&[(6.0, -0.6), (4.0, 0.1)], NotTold),
            // The ends agree, what lies between does not.
            (&[(6.0, 0.1), (5.0, 0.9), (4.0, 0.1)], NotTold),
        ] {
            assert_eq!(judged(points).verdict, verdict, "{points:?}");
        }
    }

    #[test]
    fn the_slope_is_that_of_the_line_and_its_uncertainty_that_of_the_points() {
        let two = judged(&[(4.0, -1.0), (6.0, 1.0)]);
        assert!((two.percent_per_volt - 1.0).abs() < 1e-12);
        // 0.02 × √2 over two volts.
        assert!((two.uncertainty_percent_per_volt - 0.014_142).abs() < 1e-5);
        assert!((two.change.0 - 2.0).abs() < 1e-12);
        let [low, high] = two.between_volts;
        assert!((low - 4.0).abs() < 1e-12 && (high - 6.0).abs() < 1e-12);
        let bent = judged(&[(4.0, -1.0), (5.0, 1.0), (6.0, 1.0)]);
        assert!((bent.percent_per_volt - 1.0).abs() < 1e-12);
        assert!(bent.uncertainty_percent_per_volt > 0.5, "{bent:?}");
    }

    #[test]
    fn one_voltage_tells_nothing() {
        let point = |volts| SupplyPoint {
            volts,
            deviation: Percent(0.0),
            uncertainty: Percent(0.02),
        };
        for points in [&[][..], &[point(6.0)], &[point(6.0), point(6.01)]] {
            assert_eq!(SupplyJudgement::of(points, Percent(0.5)), None);
        }
    }

    #[test]
    fn voltages_that_are_nearly_alike_tell_nothing() {
        for points in [[(6.0, 0.1), (5.5, 0.1)], [(6.0, 0.1), (5.5, -0.9)]] {
            let judged = judged(&points);
            assert_eq!(judged.verdict, SupplyVerdict::NotTold);
            assert!(judged.is_too_near());
        }
        assert_eq!(
            judged(&[(6.0, 0.1), (5.4, 0.1)]).verdict,
            SupplyVerdict::Holds
        );
    }
}
