//! What speaks for a followed line being a test tone, and what against.
//!
//! A line that holds most of the power for a fifth of a second can be a tone,
//! and can be a sung note, a band of noise or a siren on its way through the
//! range. Over a longer time they differ: a tone holds its level, stays where
//! it is but for flutter and a hand at the trimmer, and stands alone but for
//! its harmonics. Limits without a formula are tuned; judged by `--bench refusal`.

use std::collections::VecDeque;

use super::check::Beside;
use super::finder::Line;
use super::piece::{BLOCK_S, MOST_GLIDE, MOST_GLIDE_OUT, Piece, PieceSums, Witness, goes_one_way};

/// The frequency is averaged this long for what follows: noise is gone, wow
/// and vibrato are not.
const FINE_S: f64 = 0.01;

/// Such means in a block.
const FINE_IN_BLOCK: f64 = 20.0;
const _: () = assert!(FINE_IN_BLOCK * FINE_S == BLOCK_S);

/// The level is held against its mean over about this time.
const LEVEL_S: f64 = 1.5;

/// The level may vary by this much between its tenth and ninetieth of a
/// hundred parts, as a ratio of powers: 30 % of amplitude modulation makes
/// 5.1 dB, a narrow band of noise 13.4 dB (Rayleigh distribution).
const MOST_UNSTEADY_DB: f64 = 6.8;

/// The most glide of what goes one way nearly all of the time, which wow does
/// not, as a part of the speed in a second.
const MOST_GLIDE_ONE_WAY: f64 = 0.045;

/// Half of the blocks have a smaller standard deviation than this, as a part
/// of the frequency: 2 % of wow and flutter (peak), as of a ruin.
const MOST_SPREAD: f64 = 0.015;

/// Part of the power that stands in the tone with its harmonics, and in the
/// tone alone (a square wave: 0.81; a train of pulses: little).
const LEAST_PURITY: f64 = 0.85;
const LEAST_FUNDAMENTAL: f64 = 0.5;

/// Part of the time that a tone is there, dropouts taken out.
const LEAST_PRESENCE: f64 = 0.75;

/// Shortest stretch that anything is said about.
const LEAST_S: f64 = 0.06;

/// What is longer ago says nothing of what is heard now: looks that count,
/// which come each second, and the time after which what was counted before
/// counts by half.
const LOOKS: usize = 10;
const HALVED_AFTER_S: f64 = 10.0;

/// Counts of values by size, in equal steps.
#[derive(Clone, Debug)]
struct Counts {
    step: f64,
    counts: Vec<u64>,
}

impl Counts {
    fn new(step: f64, places: usize) -> Self {
        Self {
            step,
            counts: vec![0; places],
        }
    }

    fn push(&mut self, value: f64) {
        let place = ((value / self.step) as usize).min(self.counts.len() - 1);
        self.counts[place] += 1;
    }

    fn halve(&mut self) {
        for count in &mut self.counts {
            *count /= 2;
        }
    }

    fn total(&self) -> u64 {
        self.counts.iter().sum()
    }

    /// The value that `part` of all lie below, to within a step.
    fn quantile(&self, part: f64) -> Option<f64> {
        let total = self.total();
        let wanted = part * total as f64;
        let mut below = 0.0;
        for (place, &count) in self.counts.iter().enumerate() {
            let count = count as f64;
            if count > 0.0 && below + count >= wanted {
                return Some((place as f64 + (wanted - below) / count) * self.step);
            }
            below += count;
        }
        None
    }
}

/// One tick of what is followed.
#[derive(Clone, Copy, Debug)]
pub struct Newest {
    /// Frequency in hertz.
    pub hz: f64,
    /// Squared magnitude in the best channel.
    pub power: f64,
    /// Which that is.
    pub channel: usize,
}

/// Why a line is not believed to be a test tone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// Too short to say.
    TooShort,
    /// Too much stands beside it.
    Impure,
    /// Its level comes and goes.
    Unsteady,
    /// It is away too often.
    Broken,
    /// Its frequency glides.
    Gliding,
    /// Its frequency swings too far.
    Swinging,
}

/// See the module: sums over one stretch that was followed, of constant size.
#[derive(Clone, Debug)]
pub struct Evidence {
    sums: PieceSums,
    mean_power: f64,
    level_ticks: u64,
    longest_memory: u64,
    halved_after: u64,
    /// By this part the newest moves the mean power.
    newest_part: f64,
    channel: usize,
    level_db: Counts,
    fine: (f64, u32),
    fine_ticks: u32,
    per_fine: u32,
    glide: Counts,
    rises: u64,
    spread: Counts,
    line: Line,
    /// Ticks of the last time, halved now and then, and those of them with a
    /// tone.
    lately: [u64; 2],
    /// Of the newest looks: what stands in the tone, and with its harmonics.
    looks: VecDeque<[f64; 2]>,
}

/// Levels are counted from this far below their mean.
const LEVEL_FLOOR_DB: f64 = 30.0;

impl Evidence {
    /// Begins, for `rate_hz` values a second, with what was found.
    pub fn new(rate_hz: f64, line: Line) -> Self {
        Self {
            sums: PieceSums::new(rate_hz, FINE_IN_BLOCK),
            mean_power: 0.0,
            level_ticks: 0,
            longest_memory: (LEVEL_S * rate_hz) as u64,
            halved_after: (2.0 * HALVED_AFTER_S * rate_hz) as u64,
            newest_part: 1.0,
            channel: 0,
            level_db: Counts::new(0.5, 90),
            fine: (0.0, 0),
            fine_ticks: 0,
            per_fine: (FINE_S * rate_hz).round() as u32,
            glide: Counts::new(0.005, 100),
            rises: 0,
            spread: Counts::new(0.001, 100),
            line,
            lately: [0; 2],
            looks: VecDeque::with_capacity(LOOKS + 1),
        }
    }

    /// The newest tick; `None` while nothing can be believed.
    #[inline]
    pub fn push(&mut self, newest: Option<Newest>) {
        self.sums.ticks += 1;
        self.fine_ticks += 1;
        self.lately[0] += 1;
        if let Some(Newest { hz, power, channel }) = newest {
            self.sums.present += 1;
            self.lately[1] += 1;
            self.sums.present_until = self.sums.ticks;
            self.fine.0 += hz;
            self.fine.1 += 1;
            if channel != self.channel {
                // The other channel has its own level.
                self.channel = channel;
                self.level_ticks = 0;
            }
            self.level_ticks += 1;
            if self.level_ticks <= self.longest_memory {
                self.newest_part = 1.0 / self.level_ticks as f64;
            }
            self.mean_power += self.newest_part * (power - self.mean_power);
            // Every fourth will do: neighbours are much the same.
            if self.sums.present.is_multiple_of(4) {
                let db = 10.0 * (power / self.mean_power.max(1e-20)).max(1e-9).log10();
                self.level_db.push((db + LEVEL_FLOOR_DB).max(0.0));
            }
        }
        if self.fine_ticks == self.per_fine {
            self.end_fine();
        }
        if self.lately[0] >= self.halved_after {
            self.halve();
        }
    }

    /// What was counted so far counts by half from here on.
    fn halve(&mut self) {
        self.lately = self.lately.map(|ticks| ticks / 2);
        self.level_db.halve();
        self.glide.halve();
        self.spread.halve();
        self.rises /= 2;
    }

    fn end_fine(&mut self) {
        self.fine_ticks = 0;
        let (sum, count) = std::mem::take(&mut self.fine);
        if 2 * count < self.per_fine {
            return;
        }
        let Some(block) = self.sums.push(sum / f64::from(count)) else {
            return;
        };
        self.spread.push(block.spread / block.ratio);
        if let Some(change) = block.change {
            self.rises += u64::from(change > 0.0);
            self.glide.push(change.abs() / (2.0 * BLOCK_S));
        }
    }

    /// A look at the spectrum of every channel.
    pub fn check(&mut self, beside: &[Beside]) {
        let parts = |beside: &Beside| {
            let all = beside.tone + beside.harmonics + beside.noise();
            (all > 0.0).then(|| {
                let pure = (beside.tone + beside.harmonics) / all;
                (beside.tone / all, pure)
            })
        };
        let best = beside
            .iter()
            .filter_map(parts)
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((alone, pure)) = best {
            self.looks.push_back([alone, pure]);
            if self.looks.len() > LOOKS {
                self.looks.pop_front();
            }
        }
    }

    /// How often the frequency has leapt.
    pub fn leaps(&self) -> u32 {
        self.sums.leaps
    }

    /// Why it is not believed, if so.
    pub fn doubt(&self) -> Option<Doubt> {
        if self.piece().present_s < LEAST_S {
            return Some(Doubt::TooShort);
        }
        let [alone, pure] = match self.looks.len() {
            0 => [self.line.alone, self.line.share],
            looks => [0, 1]
                .map(|part| self.looks.iter().map(|look| look[part]).sum::<f64>() / looks as f64),
        };
        if pure < LEAST_PURITY || alone < LEAST_FUNDAMENTAL {
            return Some(Doubt::Impure);
        }
        let away = self.sums.ticks - self.sums.present_until;
        let [lately, present] = self.lately;
        if (present as f64) < LEAST_PRESENCE * lately.saturating_sub(away) as f64 {
            return Some(Doubt::Broken);
        }
        let range_db =
            |low, high| Some(self.level_db.quantile(high)? - self.level_db.quantile(low)?);
        if range_db(0.1, 0.9).is_some_and(|db| db > MOST_UNSTEADY_DB) {
            return Some(Doubt::Unsteady);
        }
        let most = if self.goes_one_way() {
            MOST_GLIDE_ONE_WAY
        } else {
            MOST_GLIDE
        };
        if self.glide() > most {
            return Some(Doubt::Gliding);
        }
        if self
            .spread
            .quantile(0.5)
            .is_some_and(|spread| spread > MOST_SPREAD)
        {
            return Some(Doubt::Swinging);
        }
        None
    }

    fn glide(&self) -> f64 {
        self.glide.quantile(0.5).unwrap_or(0.0)
    }

    fn goes_one_way(&self) -> bool {
        goes_one_way(self.rises as f64, self.glide.total() as f64)
    }
}

impl Witness for Evidence {
    fn piece(&self) -> Piece {
        self.sums.piece()
    }

    fn is_doubted(&self) -> bool {
        self.doubt().is_some()
    }

    fn was_on_its_way(&self) -> bool {
        self.goes_one_way() && self.glide() > MOST_GLIDE_OUT
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 2000.0;

    /// What is thought of `seconds` of a frequency and a power that are
    /// functions of time, each look at the spectrum showing `beside`.
    fn judged(
        seconds: f64,
        beside: Beside,
        newest: impl Fn(f64) -> Option<(f64, f64)>,
    ) -> Evidence {
        let line = Line {
            hz: 3150.0,
            power: [0.5, 0.0],
            quality: [100.0, 0.0],
            alone: 0.99,
            share: 0.99,
            confirmations: 4,
        };
        let mut evidence = Evidence::new(RATE_HZ, line);
        for tick in 0..(seconds * RATE_HZ) as u64 {
            let newest = newest(tick as f64 / RATE_HZ);
            evidence.push(newest.map(|(hz, power)| Newest {
                hz,
                power,
                channel: 0,
            }));
            if tick % 2000 == 1000 {
                evidence.check(&[beside]);
            }
        }
        evidence
    }

    fn pure() -> Beside {
        Beside {
            tone: 0.5,
            rest: 0.005,
            ..Beside::default()
        }
    }

    fn doubt(newest: impl Fn(f64) -> Option<(f64, f64)>) -> Option<Doubt> {
        judged(6.0, pure(), newest).doubt()
    }

    #[test]
    fn wow_a_hand_and_uneven_level_are_no_doubt() {
        let wow = |t: f64| 3150.0 * (1.0 + 0.005 * (TAU * 0.7 * t).sin());
        assert_eq!(doubt(|t| Some((wow(t), 0.5))), None);
        // 3 % a second for two seconds.
        let hand = |t: f64| 1.0 + 0.03 * (t - 1.0).clamp(0.0, 2.0);
        assert_eq!(doubt(|t| Some((wow(t) * hand(t), 0.5))), None);
        // All the time.
        assert_eq!(doubt(|t| Some((wow(t) * (1.0 - 0.03 * t), 0.5))), None);
        // 30 % of amplitude modulation.
        let swells = |t: f64| 0.5 * (1.0 + 0.3 * (TAU * 2.0 * t).sin()).powi(2);
        assert_eq!(doubt(|t| Some((wow(t), swells(t)))), None);
        // A dropout of 50 ms in each half second.
        assert_eq!(doubt(|t| (t % 0.5 > 0.05).then_some((wow(t), 0.5))), None);
    }

    #[test]
    fn glides_are_doubted_the_sooner_the_straighter_they_go() {
        let gliding = Some(Doubt::Gliding);
        assert_eq!(doubt(|t| Some((3150.0 * (0.06 * t).exp(), 0.5))), gliding);
        assert_eq!(doubt(|t| Some((3150.0 * (-0.06 * t).exp(), 0.5))), gliding);
        // Up and down, 24 % a second.
        let siren = |t: f64| 3150.0 * (1.0 + 0.12 * (2.0 * (t % 2.0) - 2.0).abs());
        assert_eq!(doubt(|t| Some((siren(t), 0.5))), gliding);
    }

    #[test]
    fn only_what_goes_one_way_was_on_its_way() {
        let slow = judged(6.0, pure(), |t| Some((3150.0 * (1.0 + 0.02 * t), 0.5)));
        assert!(slow.was_on_its_way());
        let wow = judged(6.0, pure(), |t| {
            Some((3150.0 * (1.0 + 0.005 * (TAU * 0.8 * t).sin()), 0.5))
        });
        assert!(!wow.was_on_its_way());
    }

    #[test]
    fn vibrato_bursts_and_narrow_noise_are_doubted() {
        let deep = |t: f64| 3150.0 * (1.0 + 0.03 * (TAU * 6.0 * t).sin());
        assert_eq!(doubt(|t| Some((deep(t), 0.5))), Some(Doubt::Swinging));
        assert_eq!(
            doubt(|t| (t % 0.6 < 0.3).then_some((3150.0, 0.5))),
            Some(Doubt::Broken)
        );
        // The level of two lines 2 Hz apart, the one half as strong.
        let beats = |t: f64| 0.5 * (1.25 + (TAU * 2.0 * t).cos());
        assert_eq!(doubt(|t| Some((3150.0, beats(t)))), Some(Doubt::Unsteady));
    }

    #[test]
    fn what_stands_beside_it_counts_and_its_harmonics_do_not() {
        let steady = |_: f64| Some((3150.0, 0.5));
        let square = Beside {
            tone: 0.81,
            harmonics: 0.19,
            ..Beside::default()
        };
        assert_eq!(judged(3.0, square, steady).doubt(), None);
        let chord = Beside {
            tone: 0.8,
            rest: 0.2,
            ..Beside::default()
        };
        assert_eq!(judged(3.0, chord, steady).doubt(), Some(Doubt::Impure));
        let pulses = Beside {
            tone: 0.2,
            harmonics: 0.8,
            ..Beside::default()
        };
        assert_eq!(judged(3.0, pulses, steady).doubt(), Some(Doubt::Impure));
    }

    #[test]
    fn each_step_of_a_scale_is_one_leap() {
        let scale = |t: f64| 3150.0 * 1.06f64.powi(t as i32);
        assert_eq!(judged(4.0, pure(), |t| Some((scale(t), 0.5))).leaps(), 3);
        assert_eq!(judged(4.0, pure(), |_| Some((3150.0, 0.5))).leaps(), 0);
    }
}
