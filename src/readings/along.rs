//! Speed at the start, the middle and the end of a tape: does it go with the
//! place? Pack torque changes from end to end, and a machine whose capstan
//! does not hold the tape lets it show.

use serde::{Deserialize, Serialize};

use super::blocks::BlockSeries;
use super::expanded::Expanded;
use super::fluctuation::{Fluctuation, Weighing};
use super::values::SpeedFigures;
use crate::units::Percent;

/// A shorter record says nothing about the tape. A choice.
const LEAST_S: f64 = 60.0;

/// Blocks of a third are joined to about this many: more would say no more.
const BLOCKS_OF_A_THIRD: usize = 120;

/// A place on the tape.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Position {
    /// The full pack is on the supply side.
    Start,
    /// Both packs are about as large.
    Middle,
    /// The full pack is on the take-up side.
    End,
}

impl Position {
    /// In the order of the tape.
    pub const ALL: [Self; 3] = [Self::Start, Self::Middle, Self::End];

    /// The word for it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Middle => "middle",
            Self::End => "end",
        }
    }
}

/// A mean speed at one place.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// Deviation from right speed.
    pub deviation: Percent,
    /// 95 % of it without what is the same at every place: the sample clock
    /// and the reference's own error.
    pub uncertainty: Percent,
    /// Degrees of freedom behind that; `None` where they are as good as
    /// without limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub freedom: Option<f64>,
}

/// Speed along the tape.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Along {
    /// At the start.
    pub start: Place,
    /// In the middle; `None` where nobody looked.
    pub middle: Option<Place>,
    /// At the end.
    pub end: Place,
    /// From the start to the end: positive is faster at the end.
    pub change: Percent,
    /// 95 % of it.
    pub change_uncertainty: Percent,
}

impl Place {
    /// From the figures of a stretch; `None` where its ± is not known.
    pub fn of(speed: &SpeedFigures) -> Option<Self> {
        let wow = speed.parts.fluctuation()?;
        let noise = Expanded::of_limit(speed.parts.noise?.0);
        Some(Self::new(speed.deviation, Expanded::together([wow, noise])))
    }

    fn new(deviation: Percent, known: Expanded) -> Self {
        Self {
            deviation,
            uncertainty: Percent(known.half_width),
            freedom: known.told_freedom(),
        }
    }

    fn expanded(self) -> Expanded {
        Expanded {
            half_width: self.uncertainty.0,
            freedom: self.freedom.unwrap_or(f64::INFINITY),
        }
    }
}

impl Along {
    /// From places that were measured one by one. The middle one lies halfway:
    /// it moves the level of a line through all three, not its slope.
    pub fn of(start: Place, middle: Option<Place>, end: Place) -> Self {
        let change = Expanded::together([start.expanded(), end.expanded()]);
        Self {
            start,
            middle,
            end,
            change: Percent(end.deviation.0 - start.deviation.0),
            change_uncertainty: Percent(change.half_width),
        }
    }

    /// The speed goes with the place, beyond what chance does.
    pub fn is_sloping(&self) -> bool {
        self.change.0.abs() > self.change_uncertainty.0
    }

    /// From a long record without a break: its first, middle and last third.
    /// `deviation` turns a value of the series into percent; `None` when the
    /// record is too short to say.
    pub(super) fn of_series(
        series: &BlockSeries,
        deviation: impl Fn(f64) -> Percent,
    ) -> Option<Self> {
        if series.length_s() < LEAST_S {
            return None;
        }
        let third = series.blocks().len() / 3;
        let mut thirds = series
            .blocks()
            .chunks_exact(third.max(1))
            .map(|blocks| place_of(blocks, &deviation));
        let [start, middle, end] = [thirds.next()??, thirds.next()??, thirds.next()??];
        Some(Self::of(start, Some(middle), end))
    }
}

fn place_of(blocks: &[f64], deviation: &impl Fn(f64) -> Percent) -> Option<Place> {
    let joined = (blocks.len() / BLOCKS_OF_A_THIRD).max(1);
    let means: Vec<f64> = blocks
        .chunks_exact(joined)
        .map(|some| deviation(some.iter().sum::<f64>() / some.len() as f64).0)
        .collect();
    let mean = means.iter().sum::<f64>() / means.len() as f64;
    let known = Fluctuation::of(&means)?.of_figure(Weighing::Even);
    Some(Place::new(Percent(mean), known))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// Two minutes of a machine in percent: wow with a turn of its own for
    /// each seed, noise with a correlation time of some seconds, and a slope from
    /// one end to the other.
    fn record(seed: u64, slope: f64) -> Along {
        let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
        let mut uniform = move || {
            // xorshift64* (Vigna 2016).
            state ^= state >> 12;
            state ^= state << 25;
            state ^= state >> 27;
            (state.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / 2f64.powi(53)
        };
        let (rate_hz, length_s) = (20.0, 120.0);
        let wow_hz = 0.45 + 0.4 * uniform();
        let phase = uniform();
        let mut slow = 0.0;
        let mut series = BlockSeries::new(0.05, rate_hz);
        for n in 0..(length_s * rate_hz) as usize {
            let t = n as f64 / rate_hz;
            slow += (uniform() - 0.5) * 0.02 - slow * 0.02;
            let wow = 0.1 * (TAU * (wow_hz * t + phase)).sin();
            series.push(wow + slow + slope * (t / length_s - 0.5));
        }
        Along::of_series(&series, Percent).expect("long enough")
    }

    #[test]
    fn a_level_tape_is_rarely_called_sloping() {
        let false_ones = (1..=400).filter(|&seed| record(seed, 0.0).is_sloping());
        let count = false_ones.count();
        // 5 % of 400 are 20, and two standard deviations of that 9.
        assert!(count <= 29, "{count} of 400");
    }

    #[test]
    fn a_slope_is_found_and_has_its_sign() {
        for slope in [0.3, -0.3] {
            let found = (1..=100).filter(|&seed| {
                let along = record(seed, slope);
                along.is_sloping() && along.change.0 * slope > 0.0
            });
            let count = found.count();
            assert!(count >= 90, "{slope}: {count} of 100");
        }
    }

    #[test]
    fn a_short_record_says_nothing_of_the_tape() {
        let mut series = BlockSeries::new(0.05, 20.0);
        for _ in 0..20 * 59 {
            series.push(0.0);
        }
        assert_eq!(Along::of_series(&series, Percent), None);
    }
}
